"""``Drawing`` -> SVG, one unit = 1 mm, y turned downward, a group per layer."""

from __future__ import annotations

import math
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from phototemplate.atomic import write_text_atomic
from phototemplate.output.constants import SVG_MARGIN_MM
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import (
    Arc,
    Circle,
    Dimension,
    Drawing,
    Item,
    Layer,
    Line,
    Point,
    Polyline,
    Text,
    arc_of_bulge,
)

__all__ = ["svg_text", "write_svg"]

_DASH = {"solid": "", "dashed": "24 12", "dotted": "3 9", "chain": "48 12 3 12"}


def write_svg(drawing: Drawing, path: str | Path, *, unscaled: bool = False) -> Path:
    """Write a drawing as SVG at true size (``width`` and ``height`` in mm), arcs as true arcs.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    write_text_atomic(path, svg_text(drawing, unscaled=unscaled))
    return Path(path)


def svg_text(drawing: Drawing, *, unscaled: bool = False, standalone: bool = True) -> str:
    """The file of :func:`write_svg`; not ``standalone``: an element to stand in a page, without size and title."""
    x0, y0, x1, y1 = drawing.bounds()
    w, h = x1 - x0 + 2 * SVG_MARGIN_MM, y1 - y0 + 2 * SVG_MARGIN_MM
    size = "" if unscaled or not standalone else f' width="{w:.2f}mm" height="{h:.2f}mm"'
    notes = [*(["NOT SCALED: no length was known. Do not cut from this drawing."] if unscaled else []), *drawing.notes]
    name = f"<title>{escape(drawing.title)}</title><desc>{escape(' '.join(notes))}</desc>" if standalone else ""
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>' if standalone else "",
        f'<svg xmlns="http://www.w3.org/2000/svg"{size} '
        f'viewBox="{x0 - SVG_MARGIN_MM:.2f} {-y1 - SVG_MARGIN_MM:.2f} {w:.2f} {h:.2f}">',
        name,
        '<g fill="none" stroke-linecap="round" stroke-linejoin="round" font-family="sans-serif">',
    ]
    for layer in drawing.layers:
        items = drawing.on(layer.name)
        colour = "#{:02x}{:02x}{:02x}".format(*layer.rgb)
        # line widths are meant for paper at about 1:10
        width = 10.0 * layer.width_mm
        dash = f' stroke-dasharray="{_DASH[layer.stroke]}"' if _DASH[layer.stroke] else ""
        name = f'{"id" if standalone else "data-layer"}="{layer.name}"'
        look = f'stroke="{colour}" color="{colour}" stroke-width="{width:g}"{dash}'
        parts.append(f"<g {name} {look}>")
        if standalone:  # a page says in its own language what it shows
            parts.append(f"<title>{escape(layer.meaning)}</title>")
        parts += [_element(item, layer) for item in items]
        parts.append("</g>")
    parts += ["</g>", "</svg>"]
    return "\n".join(part for part in parts if part) + "\n"


def _n(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _p(point: Point) -> str:
    return f"{_n(point[0])} {_n(-point[1])}"


def _element(item: Item, layer: Layer) -> str:
    data = "".join(f" data-{_attribute(k)}={quoteattr(str(v) if isinstance(v, str) else f'{v:.6g}')}" for k, v in item.stated)
    match item:
        case Line():
            return f'<path d="M{_p(item.start)}L{_p(item.end)}"{data}/>'
        case Circle():
            x, y = item.centre
            return f'<circle cx="{_n(x)}" cy="{_n(-y)}" r="{_n(item.radius_mm)}"{data}/>'
        case Arc():
            sweep = (item.end_rad - item.start_rad) % (2 * math.pi)
            ends = [(item.centre[0] + item.radius_mm * math.cos(a), item.centre[1] + item.radius_mm * math.sin(a))
                    for a in (item.start_rad, item.end_rad)]  # fmt: skip
            r = _n(item.radius_mm)
            return f'<path d="M{_p(ends[0])}A{r} {r} 0 {int(sweep > math.pi)} 0 {_p(ends[1])}"{data}/>'
        case Polyline():
            name = f" data-name={quoteattr(item.name)}" if item.name else ""
            return f'<path d="{_polyline(item)}"{name}{data}/>'
        case Text():
            return _text(item.text, item.position, item.height_mm, item.rotation_rad, item.align, item.valign, data)
        case Dimension():
            parts = take_apart(item, item.height_mm)
            lines = "".join(f"M{_p(a)}L{_p(b)}" for a, b in parts.lines)
            lift = 0.5 * item.height_mm
            at = (parts.text_at[0] - lift * math.sin(parts.angle_rad), parts.text_at[1] + lift * math.cos(parts.angle_rad))
            words = _text(item.printed(), at, item.height_mm, parts.angle_rad, "centre", "bottom", "")
            return f'<g class="dimension"{data}><path d="{lines}"/>{words}</g>'


def _attribute(name: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in name.lower()).strip("-")


def _polyline(item: Polyline) -> str:
    v = item.vertices
    out = [f"M{_p(v[0][:2])}"] if v else []
    count = len(v) if item.closed else len(v) - 1
    for i in range(count):
        x, y, bulge = v[i]
        end = v[(i + 1) % len(v)][:2]
        if abs(bulge) < 1e-12:
            out.append(f"L{_p(end)}" if i + 1 < len(v) else "")
        else:
            _, radius, _, sweep = arc_of_bulge((x, y), end, bulge)
            r = _n(radius)
            # the y axis is turned over, so an anticlockwise arc has sweep flag 0
            out.append(f"A{r} {r} 0 {int(abs(sweep) > math.pi)} {int(bulge < 0)} {_p(end)}")
    return "".join(out) + ("Z" if item.closed else "")


def _text(text: str, at: Point, height: float, rotation: float, align: str, valign: str, data: str) -> str:
    size = height / 0.72  # capitals are about 0.72 of the font size
    shift = {"bottom": 0.0, "middle": 0.5 * height, "top": height}[valign]
    anchor = {"left": "start", "centre": "middle", "right": "end"}[align]
    x, y = _n(at[0]), _n(-at[1])
    turn = f' transform="rotate({_n(-math.degrees(rotation))} {x} {y})"' if rotation else ""
    return (
        f'<text x="{x}" y="{y}" dy="{_n(shift)}" font-size="{_n(size)}" text-anchor="{anchor}" fill="currentColor" '
        f'stroke="none"{turn}{data}>{escape(text)}</text>'
    )
