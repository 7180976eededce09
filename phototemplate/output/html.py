"""Pages from the templates beside this module: without scripts or requests, whatever is put in escaped."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup


def page(template: str, **context: Any) -> str:
    """The text of a page; ``style`` is the sheet that all but the quote share. A name that is not given is an error."""
    return str(_environment().get_template(template).render(style=_style(), **context))


@cache
def _environment() -> Any:
    import jinja2  # late: only those who write a page pay

    return jinja2.Environment(
        loader=jinja2.PackageLoader("phototemplate.output"), autoescape=True, trim_blocks=True, lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )  # fmt: skip


@cache
def _style() -> Markup:
    return Markup(files("phototemplate.output").joinpath("templates/report.css").read_text(encoding="utf-8"))
