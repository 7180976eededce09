"""The part of a new job file that explains pieces, openings, appliances and the shop: every key with what it means.

The text is made from the models of ``spec`` themselves, from the docstring under each field, so that no key is forgotten and
none explained that does not exist.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from typing import Any, get_args

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from phototemplate.settings import Section
from phototemplate.template import spec
from phototemplate.template.constants import LINE
from phototemplate.units import INCH_MM, format_length

EXAMPLE = '''\
# ---- Pieces: all of it is optional. Take the # away from what is wanted and put your own names and values in.
#
# [[pieces]]
# id = "left top"
# loop = "left run"
# edges = { front = { overhang = "1 1/2 in" }, back = { clearance = "1/8 in" } }
# corners = { "front/end" = { kind = "rounded", radius = "1 in" } }
#
# [[pieces.cutouts]]
# id = "sink"
# run = "front"
# along = { edge = "end", distance = "32 in" }
# setback = "3 in"
# width = "30 in"
# depth = "16 in"
# radius = "1/2 in"
#
# [[pieces.splashes]]
# id = "back splash"
# edge = "back"
#
# [[openings]]
# id = "range"
# run = "front"
# width = "30 in"
# along = { edge = "end", distance = "70 in" }
#
# [shop]
# overhang = "1 1/2 in"'''
"""A job's pieces as they are usually wanted"""
TABLES: tuple[tuple[str, type[Section]], ...] = (
    ("[[pieces]]", spec.PieceSpec),
    ("[pieces.edges.NAME]", spec.PieceEdgeSpec),
    ("[pieces.edges.NAME.align]", spec.AlignSpec),
    ("[pieces.edges.NAME.build_up]", spec.BuildUpSpec),
    ('[pieces.corners."NAME/NAME"]', spec.CornerSpec),
    ("[[pieces.cutouts]]", spec.CutoutSpec),
    ("[[pieces.cutouts.holes]]", spec.HoleSpec),
    ("[[pieces.posts]]", spec.PostSpec),
    ("[[pieces.seams]]", spec.SeamSpec),
    ("[[pieces.splashes]]", spec.SplashSpec),
    ("[[pieces.splashes.receptacles]]", spec.ReceptacleSpec),
    ("[[drawn]]", spec.DrawnSpec),
    ("[[centre_lines]]", spec.CentreLineSpec),
    ("[[openings]]", spec.OpeningSpec),
    ("[[appliances]]", spec.ApplianceSpec),
    ("[[maker_sheets]]", spec.MakerSheetSpec),
    ("along = { ... } of openings, appliances, centre lines, cut-outs, posts and seams", spec.AlongSpec),
    ("[[site_photos]]", spec.SitePhotoSpec),
    ("[shop]", spec.ShopSpec),
    ("[shop.material]", spec.MaterialSpec),
    ("[shop.rules]", spec.RulesSpec),
)
"""Tables of the job file in the order in which they are explained"""
SHOWN_BELOW = {"edges", "corners", "cutouts", "holes", "posts", "seams", "splashes", "receptacles", "align", "build_up",
               "material", "rules"}  # fmt: skip
"""Keys that have a table of their own"""


def commented_keys() -> str:
    """Comment lines for every table and key of pieces, openings, appliances and shop."""
    out = [*EXAMPLE.splitlines(), "#", "# ---- Every key of these tables, and what it means", "#"]
    for title, model in TABLES:
        out += [f"# {title}", *textwrap.wrap(f"#     {_plain(inspect.getdoc(model) or '')}", LINE, subsequent_indent="#     ")]
        meanings = field_meanings(model)
        for name, field in model.model_fields.items():
            if name in SHOWN_BELOW:
                continue
            words = "; ".join(w for w in (meanings.get(name, ""), _value(field)) if w)
            out += textwrap.wrap(f"#   {name}: {words}.", LINE, subsequent_indent="#       ")
        out.append("#")
    return "\n".join(out) + "\n"


def field_meanings(model: type[Section]) -> dict[str, str]:
    """Field -> the docstring under it."""
    body = ast.parse(textwrap.dedent(inspect.getsource(model))).body[0]
    assert isinstance(body, ast.ClassDef)
    out = {}
    for node, after in zip(body.body, body.body[1:], strict=False):
        said = after.value.value if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) else None
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and isinstance(said, str):
            out[node.target.id] = _plain(said).rstrip(".")
    return out


def _plain(text: str) -> str:
    return " ".join(text.replace("``", "").split())


def _value(field: FieldInfo) -> str:
    """What may be written, and what holds where nothing is."""
    choices = _choices(field.annotation)
    words = f"one of {', '.join(choices)}" if choices else ""
    default: Any = field.default
    if default is PydanticUndefined or default is None or default in ((), [], {}):
        return words
    if isinstance(default, bool):
        usual = "true" if default else "false"
    elif isinstance(default, float):
        usual = f"{default:g} mm ({format_length(default, 'fraction', 32)})" if default > INCH_MM / 32 else f"{default:g}"
    else:
        usual = str(default)
    return f"{words + ', ' if words else ''}{usual} unless given"


def _choices(annotation: Any) -> list[str]:
    """Literal values of an annotation, however deep."""
    out = []
    for part in get_args(annotation):
        out += [str(part)] if isinstance(part, str | int) and not isinstance(part, bool) else _choices(part)
    return out
