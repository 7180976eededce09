"""What changed since the drawings were last handed out, piece by piece, from two states of ``pieces.json``."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phototemplate.errors import InputError
from phototemplate.output.constants import CHANGED_MM
from phototemplate.output.pieces_json import PIECES_FORMAT
from phototemplate.template.lengths import LengthWords


@dataclass(frozen=True)
class HandedOut:
    """A state of the pieces that somebody has in hand."""

    revision: str
    """A, B, C ..."""
    date: str
    to: str
    pieces: Mapping[str, Any]
    """As in ``pieces.json``"""


def read_handed_out(path: Path) -> HandedOut:
    """Read a state that was handed out. Raises ``InputError`` where the file cannot be understood."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["pieces"]["format"] != PIECES_FORMAT:
            raise ValueError
        return HandedOut(data["revision"], data["date"], data["to"], data["pieces"])
    except (OSError, ValueError, KeyError, TypeError) as exc:
        raise InputError(f"{path} does not hold a state that was handed out; take it away, or put the right one back.") from exc


def next_revision(handed: Sequence[HandedOut]) -> str:
    """A, B, ... Z, AA, ... after those there are."""
    k = len(handed)
    letters = ""
    while True:
        letters = chr(ord("A") + k % 26) + letters
        k = k // 26 - 1
        if k < 0:
            return letters


def changes(before: Mapping[str, Any], after: Mapping[str, Any], words: LengthWords) -> list[tuple[str, str]]:
    """(piece, what changed) of everything a saw or an installer would notice; differences under ``CHANGED_MM`` are none."""
    out: list[tuple[str, str]] = []
    old, new = (dict(before["material"]), dict(after["material"]))
    if old != new:
        said = (f"{m['name']} {words.short(m['thickness_mm'])}" for m in (old, new))
        out.append(("material", " -> ".join(said)))
    for group in ("pieces", "upright"):
        olds, news = ({p["id"]: p for p in data[group]} for data in (before, after))
        out += [(name, "no longer there") for name in olds if name not in news]
        for name, piece in news.items():
            if name not in olds:
                out.append((name, "new"))
            else:
                out += [(name, text) for text in _of_piece(olds[name], piece, words)]
    seams = [{s["id"]: s for s in data["seams"]} for data in (before, after)]
    out += [(name, "seam no longer there") for name in seams[0] if name not in seams[1]]
    for name, seam in seams[1].items():
        if name not in seams[0]:
            out.append((name, "seam new"))
        elif (off := max(math.dist(seam[k], seams[0][name][k]) for k in ("start", "end"))) > CHANGED_MM:
            out.append((name, f"seam moved by {words.short(off)}"))
    return out


def _of_piece(a: Mapping[str, Any], b: Mapping[str, Any], words: LengthWords) -> list[str]:
    out: list[str] = []

    def compared(what: str, x: float, y: float) -> None:
        if abs(y - x) > CHANGED_MM:
            out.append(f"{what} {words.short(x)} -> {words.short(y)}")

    if "edges" in b:
        old = {e["id"]: e for e in a["edges"]}
        out += [f"side {name} no longer there" for name in old if name not in {e["id"] for e in b["edges"]}]
        for e in b["edges"]:
            was = old.get(e["id"])
            if was is None:
                out.append(f"side {e['id']} new")
                continue
            compared(f"{e['id']} length", was["length"]["value"], e["length"]["value"])
            compared(f"{e['id']} offset", was["outward_mm"], e["outward_mm"])
            for key in ("finish", "profile", "mitred_to"):
                if was.get(key, "") != e[key]:
                    out.append(f"{e['id']} {key.replace('_', ' ')} {was.get(key) or 'none'} -> {e[key] or 'none'}")
        made = {"/".join(c["between"]): c for c in a["corners"]}
        for c in b["corners"]:
            earlier = made.get("/".join(c["between"]))
            if earlier is not None and (earlier["made"], earlier["size_mm"]) != (c["made"], c["size_mm"]):
                out.append(f"corner {'/'.join(c['between'])} {earlier['made']} {words.short(earlier['size_mm'])} -> "
                           f"{c['made']} {words.short(c['size_mm'])}")
    else:
        compared("length", a["length"]["value"], b["length"]["value"])
        compared("height", a["height_mm"], b["height_mm"])
        compared("thickness", a["thickness_mm"], b["thickness_mm"])
    out += _cut(a, b, words)
    if not out and _moved(a["outline"], b["outline"]):
        out.append("shape of a measured side")
    return out


def _cut(a: Mapping[str, Any], b: Mapping[str, Any], words: LengthWords) -> list[str]:
    """Cut-outs and drilled holes that came, went, moved or changed their size."""
    out = []
    olds, news = ({c["id"]: c for c in [*p["cutouts"], *p.get("holes", [])]} for p in (a, b))
    out += [f"{name} no longer there" for name in olds if name not in news]
    for name, c in news.items():
        was = olds.get(name)
        if was is None:
            out.append(f"{name} new")
            continue
        off = math.dist(was["centre"], c["centre"])
        if off > CHANGED_MM:
            out.append(f"{name} moved by {words.short(off)}")
        shifted = [[x + c["centre"][0] - was["centre"][0], y + c["centre"][1] - was["centre"][1], w]
                   for x, y, w in was.get("outline", [])]
        if _moved(shifted, c.get("outline", [])) or abs(was.get("diameter_mm", 0.0) - c.get("diameter_mm", 0.0)) > CHANGED_MM:
            out.append(f"{name} has another size or shape")
    return out


def _moved(a: Sequence[Sequence[float]], b: Sequence[Sequence[float]]) -> bool:
    return len(a) != len(b) or any(math.dist(p[:2], q[:2]) > CHANGED_MM for p, q in zip(a, b, strict=True))
