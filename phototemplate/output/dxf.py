"""``Drawing`` -> DXF, R2010 or R12, in mm or inch.

What stands in the file
-----------------------
* Entities: LINE, ARC, CIRCLE, TEXT, DIMENSION; a ``Polyline`` becomes LWPOLYLINE (R2010) or POLYLINE (R12) with its
  true bulges, tan(included angle / 4), and its closed flag. Coordinates are the plan's, z = 0.
* Unit: header ``$INSUNITS`` (4 mm, 1 inch, 0 where no length was known) and ``$MEASUREMENT``, and once more in a text,
  since some programs ignore the header. 1 in = 25.4 mm exactly.
* Layers as :data:`phototemplate.template.drawing.LAYERS` has them, with their meaning as description.
* Named values of an item (``Primitive.data``) as XDATA of the registered application :data:`APP_ID`: for each value a
  string 1000 with its name, followed by 1040 (number) or 1000 (text). Names carry units (``_mm``, ``_deg``); the
  numbers are in the unit their name says, whatever the drawing's unit.
* Statements below the drawing: scale, unit, meaning of U, tolerance of curves, the drawing's own notes, warnings.

The finished text is read back and audited before it replaces an earlier file. Two runs give the same bytes apart from
dates: the GUIDs that a DXF needs are derived from the content.
"""

from __future__ import annotations

import contextlib
import io
import logging
import math
import re
import uuid
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from phototemplate.atomic import write_bytes_atomic
from phototemplate.errors import OutputError
from phototemplate.output.constants import (
    DARK_LUMINANCE,
    FLARE,
    INK,
    INSUNITS,
    LEAST_CONTRAST,
    LINETYPES,
    LINEWEIGHTS,
    NOTE_RANGE_MM,
    NOTE_SHARE,
    PATTERN_SCALE,
    SRGB_TOE,
    TEXT_HEIGHT_MM,
    XDATA_TEXT_BYTES,
)
from phototemplate.output.text import cp1252
from phototemplate.template.constants import TEXT_OVER_LINE, UPRIGHT_RAD
from phototemplate.template.dimension_parts import take_apart
from phototemplate.template.drawing import Arc, Circle, Data, Dimension, Drawing, Item, Layer, Line, Polyline, Text

if TYPE_CHECKING:
    from ezdxf.document import Drawing as DxfDocument

__all__ = ["APP_ID", "DXF_VERSIONS", "DxfVersion", "Unit", "dxf_bytes", "write_dxf"]

DxfVersion = Literal["R2010", "R12"]
Unit = Literal["mm", "in"]
DXF_VERSIONS: tuple[DxfVersion, ...] = ("R2010", "R12")
APP_ID = "PHOTOTEMPLATE"
"""Application name under which XDATA is registered."""

_UNIT_TEXT = {"mm": "millimetres (1 drawing unit = 1 mm)", "in": "inches (1 drawing unit = 1 in = 25.4 mm)"}


def write_dxf(
    drawing: Drawing,
    path: str | Path,
    *,
    version: DxfVersion = "R2010",
    unit: Unit = "mm",
    unscaled: bool = False,
    warnings: Sequence[str] = (),
    bare: bool = False,
) -> Path:
    """Write a drawing as DXF; see the module's text for what the file holds.

    Parameters
    ----------
    drawing
        In mm; scaled by exactly 1/25.4 where ``unit`` is ``"in"``.
    unscaled
        No length was known: the header says unitless, and a text on layer NOT-SCALED says not to cut from it.
    warnings
        Sentences to print below the drawing on the caution layer.
    bare
        The drawing alone, for a machine: no text below it; its notes stand in a comment at the head of the file.

    Raises
    ------
    OutputError
        When the file cannot be written; the earlier file stays.
    """
    data = dxf_bytes(drawing, version=version, unit=unit, unscaled=unscaled, warnings=warnings, bare=bare)
    write_bytes_atomic(path, data)
    return Path(path)


def dxf_bytes(
    drawing: Drawing,
    *,
    version: DxfVersion = "R2010",
    unit: Unit = "mm",
    unscaled: bool = False,
    warnings: Sequence[str] = (),
    bare: bool = False,
) -> bytes:
    """The DXF file of :func:`write_dxf` in memory.

    Raises
    ------
    OutputError
        When the audit of the written text finds a fault (a bug of this program, never written to disk).
    """
    from ezdxf.filemanagement import new  # takes a third of a second: only those who write DXF pay

    statements = () if bare else _statements(drawing, unit, unscaled, warnings)
    everything = drawing.with_items(statements)
    insunits = 0 if unscaled else INSUNITS[unit]
    measurement = 0 if unit == "in" else 1
    with _no_remark_on_r12_units():
        doc = new(version, units=insunits)
    doc.header["$MEASUREMENT"] = measurement
    doc.header["$LUNITS"] = 2
    doc.header["$LUPREC"] = 4 if unit == "in" else 2
    writer = _Writer(doc, version, 1.0 / 25.4 if unit == "in" else 1.0)
    writer.tables(everything.layers)
    for item in everything.items:
        writer.add(item)
    writer.finish(everything, statements, unit, insunits)
    text = _finished_text(doc, insunits, measurement)
    if bare:
        said = (drawing.title, f"unit {unit}", "outside anticlockwise, inside clockwise", *drawing.notes)
        text = f"999\n{cp1252('; '.join(said))}\n{text}"
    data = text.encode(doc.output_encoding, errors="dxfreplace")
    _check(data, doc.output_encoding, [e.dxftype() for e in doc.modelspace()])
    return data


@contextlib.contextmanager
def _no_remark_on_r12_units() -> Iterator[None]:
    """The library logs that it leaves $INSUNITS out of R12; ``_finished_text`` puts it in."""
    log = logging.getLogger("ezdxf")
    log.addFilter(_other_than_units)
    try:
        yield
    finally:
        log.removeFilter(_other_than_units)


def _other_than_units(record: logging.LogRecord) -> bool:
    return "$INSUNITS" not in record.getMessage()


class _Writer:
    """Turns items into entities of one document."""

    def __init__(self, doc: DxfDocument, version: DxfVersion, factor: float) -> None:
        self.doc, self.msp, self.r12, self.factor = doc, doc.modelspace(), version == "R12", factor

    def at(self, point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] * self.factor, point[1] * self.factor)

    def tables(self, layers: Iterable[Layer]) -> None:
        """Application name, text style, line types and layers."""
        self.doc.appids.add(APP_ID)
        self.style = "PT-PLAIN"
        self.doc.styles.add(self.style, font="txt" if self.r12 else "arial.ttf")
        for name, pattern in LINETYPES.values():
            scaled = [PATTERN_SCALE * self.factor * p for p in pattern]
            self.doc.linetypes.add(name, [sum(abs(p) for p in scaled), *scaled], description=name)
        for layer in layers:
            shown = readable_rgb(layer.rgb)
            entry = self.doc.layers.add(layer.name, color=_aci(shown))
            if layer.stroke != "solid":
                entry.dxf.linetype = LINETYPES[layer.stroke][0]
            if not self.r12:
                if max(shown) >= INK:  # (nearly) black stays colour 7, which turns white on a dark screen
                    entry.rgb = shown
                entry.dxf.lineweight = min(LINEWEIGHTS, key=lambda w: abs(w - 100 * layer.width_mm))
                entry.description = layer.meaning

    def add(self, item: Item) -> None:
        """One item; its named values go along as XDATA."""
        attribs = {"layer": item.layer}
        entity: Any
        match item:
            case Line():
                entity = self.msp.add_line(self.at(item.start), self.at(item.end), attribs)
            case Arc():
                angles = math.degrees(item.start_rad) % 360.0, math.degrees(item.end_rad) % 360.0
                entity = self.msp.add_arc(
                    self.at(item.centre), item.radius_mm * self.factor, *angles, dxfattribs=attribs
                )
            case Circle():
                entity = self.msp.add_circle(self.at(item.centre), item.radius_mm * self.factor, attribs)
            case Polyline():
                points = [(x * self.factor, y * self.factor, b) for x, y, b in item.vertices]
                make = self.msp.add_polyline2d if self.r12 else self.msp.add_lwpolyline
                entity = make(points, format="xyb", close=item.closed, dxfattribs=attribs)
            case Text():
                entity = self._text(item)
            case Dimension():
                entity = self._dimension(item)
        name: Data = (("name", item.name),) if isinstance(item, Polyline) and item.name else ()
        xdata = _xdata((*name, *(pair for pair in item.stated if pair[0] != "name" or not name)))
        if xdata:
            entity.set_xdata(APP_ID, xdata)

    def _text(self, item: Text) -> Any:
        from ezdxf.enums import TextEntityAlignment

        entity = self.msp.add_text(
            cp1252(item.text) if self.r12 else item.text,
            height=item.height_mm * self.factor,
            rotation=math.degrees(item.rotation_rad),
            dxfattribs={"layer": item.layer, "style": self.style},
        )
        across = {"left": "LEFT", "centre": "CENTER", "right": "RIGHT"}[item.align]
        if item.valign == "bottom":  # the foot of the capitals is the base line
            align = TextEntityAlignment[across]
        else:
            align = TextEntityAlignment[f"{item.valign.upper()}_{across}"]
        entity.set_placement(self.at(item.position), align=align)
        return entity

    def _dimension(self, item: Dimension) -> Any:
        attribs = {"layer": item.layer}
        style = self._dimension_style(item)
        text = cp1252(item.text) if self.r12 else item.text
        start, end, base = self.at(item.start), self.at(item.end), self.at(item.base)
        if item.kind == "aligned":
            c, s = math.cos(item.direction_rad), math.sin(item.direction_rad)
            if c < -UPRIGHT_RAD or (abs(c) <= UPRIGHT_RAD and s < 0.0):  # the text is to be read from below or from the right
                start, end, c, s = end, start, -c, -s
            distance = (base[1] - start[1]) * c - (base[0] - start[0]) * s
            made = self.msp.add_aligned_dim(start, end, distance, text=text, dimstyle=style, dxfattribs=attribs)
        else:
            lowest = -90.0 + math.degrees(UPRIGHT_RAD)
            angle = (math.degrees(item.angle_rad) - lowest) % 180.0 + lowest  # as above
            made = self.msp.add_linear_dim(base, start, end, angle=angle, text=text, dimstyle=style, dxfattribs=attribs)
        if item.text_along_mm:
            parts, lift = take_apart(item, item.height_mm), sum(TEXT_OVER_LINE) / 2.0 * item.height_mm
            c, s = math.cos(parts.angle_rad), math.sin(parts.angle_rad)
            made.set_location(self.at((parts.text_at[0] - lift * s, parts.text_at[1] + lift * c)))
        made.render()
        return made.dimension

    def _dimension_style(self, item: Dimension) -> str:
        decimals = item.decimals if self.factor == 1.0 else max(item.decimals + 2, 3)
        height = item.height_mm * self.factor
        name = f"PT-{round(item.height_mm * 100)}-{decimals}"
        if name not in self.doc.dimstyles:
            style = self.doc.dimstyles.add(name)
            style.dxf.dimtxsty = self.style
            for key, value in {
                "dimtxt": height,
                "dimasz": 0.5 * height,
                "dimtsz": 0.35 * height,
                "dimexe": 0.5 * height,
                "dimexo": 0.5 * height,
                "dimgap": 0.4 * height,
                "dimdle": 0.35 * height,
                "dimdec": decimals,
                "dimtdec": decimals,
                "dimtad": 1,
                "dimtih": 0,
                "dimtoh": 0,
                "dimlunit": 2,
                "dimzin": 0,
                "dimdsep": ord("."),
                "dimscale": 1.0,
                "dimlfac": 1.0,
                "dimclrd": 256,
                "dimclre": 256,
                "dimclrt": 256,
            }.items():
                style.set_dxf_attrib(key, value)
        return name

    def finish(self, drawing: Drawing, statements: Sequence[Text], unit: Unit, insunits: int) -> None:
        """Extents, first view and the title."""
        from ezdxf import zoom

        x0, y0, x1, y1 = (v * self.factor for v in drawing.bounds())
        # what is dimensioned or lettered in a CAD program afterwards comes out as high as on our own drawings
        height = TEXT_HEIGHT_MM * self.factor
        for name, share in (("$TEXTSIZE", 1.0), ("$DIMTXT", 1.0), ("$DIMASZ", 0.5), ("$DIMEXE", 0.5), ("$DIMEXO", 0.5),
                            ("$DIMGAP", 0.4)):  # fmt: skip
            self.doc.header[name] = share * height
        self.doc.header["$DIMSCALE"] = 1.0
        if drawing.items:
            zoom.window(self.msp, (x0, y0), (x1, y1))
        # the library writes the header's extents and limits from those of the model space, but for a corner at (0, 0)
        self.msp.reset_extents((x0, y0, 0.0), (x1, y1, 0.0))
        self.doc.header["$EXTMIN"], self.doc.header["$EXTMAX"] = (x0, y0, 0.0), (x1, y1, 0.0)
        self.msp.reset_limits((x0, y0), (x1, y1))
        if self.r12:
            return
        self.doc.header.custom_vars.append("Title", drawing.title)
        self.doc.header.custom_vars.append("Unit", "none, shape only" if insunits == 0 else unit)
        self.doc.header.custom_vars.append("Program", "phototemplate")


def _statements(drawing: Drawing, unit: Unit, unscaled: bool, warnings: Sequence[str]) -> tuple[Text, ...]:
    """Title, unit, scale, tolerance and warnings as texts below the drawing."""
    x0, y0, x1, y1 = drawing.bounds()
    height = min(max(NOTE_SHARE * max(x1 - x0, y1 - y0), NOTE_RANGE_MM[0]), NOTE_RANGE_MM[1])
    plain = [drawing.title]
    if unscaled:
        plain.append("Unit: none. The shape is true, its size is not known.")
    else:
        plain.append(f"Unit: {_UNIT_TEXT[unit]}. Scale 1:1.")
        if unit == "in":
            plain.append("Texts of dimensions and tables are in mm where they do not say inches.")
    if drawing.chord_tolerance_mm > 0 and not any("within" in note for note in drawing.notes):
        tolerance = drawing.chord_tolerance_mm
        plain.append(f"Curves without a radius are polylines within {tolerance:g} mm ({tolerance / 25.4:.4f} in).")
    plain += drawing.notes
    lines = [("NOT-SCALED", "NOT SCALED: no length was known. Do not cut from this drawing.")] if unscaled else []
    lines += [("SHEET-CAUTION", t) for t in warnings] + [("SHEET-TEXT", t) for t in dict.fromkeys(plain) if t]
    y = y0 - 3.0 * height
    return tuple(
        Text(layer, (x0, y - i * 1.8 * height), text, height, valign="top") for i, (layer, text) in enumerate(lines)
    )


def _xdata(data: Data) -> list[tuple[int, str | float]]:
    """Named values as XDATA tags; long texts are split, since DXF allows 255 bytes in one string."""
    tags: list[tuple[int, str | float]] = []
    for name, value in data:
        if isinstance(value, str):
            pieces = [value[i : i + XDATA_TEXT_BYTES // 4] for i in range(0, len(value), XDATA_TEXT_BYTES // 4)] or [
                ""
            ]
            tags += [tag for piece in pieces for tag in ((1000, name), (1000, piece))]
        else:
            tags += [(1000, name), (1040, float(value))]
    return tags


def _aci(rgb: tuple[int, int, int]) -> int:
    """Nearest of the 255 indexed colours; 7 (black on white, white on black) for black."""
    from ezdxf.colors import DXF_DEFAULT_COLORS as TABLE
    from ezdxf.colors import int2rgb

    if max(rgb) < INK:
        return 7

    def distance(index: int) -> float:
        r, g, b = int2rgb(TABLE[index])
        return (r - rgb[0]) ** 2 + (g - rgb[1]) ** 2 + (b - rgb[2]) ** 2

    return min((k for k in range(1, 256) if _on_both(int2rgb(TABLE[k]))), key=distance)


def readable_rgb(rgb: tuple[int, int, int]) -> tuple[int, int, int]:
    """The colour, lightened or darkened until it stands out on a black and on a white screen; (nearly) black as it is, since
    CAD programs show colour 7 in black or white."""
    if max(rgb) < INK or _on_both(rgb):
        return rgb
    towards = 255 if _luminance(rgb) < DARK_LUMINANCE else 0
    shares = (k / 100.0 for k in range(1, 101))
    mixed = (tuple(round(c + s * (towards - c)) for c in rgb) for s in shares)
    return next((m[0], m[1], m[2]) for m in mixed if _on_both((m[0], m[1], m[2])))


def _on_both(rgb: tuple[int, int, int]) -> bool:
    """Contrast of 3 : 1 to black and to white (WCAG 2.1, 1.4.11)."""
    lit = _luminance(rgb) + FLARE
    return lit / FLARE >= LEAST_CONTRAST and (1.0 + FLARE) / lit >= LEAST_CONTRAST


def _luminance(rgb: tuple[int, int, int]) -> float:
    """Relative luminance (WCAG 2.1)."""
    linear = [c / 12.92 if c <= SRGB_TOE else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255.0 for v in rgb)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _finished_text(doc: DxfDocument, insunits: int, measurement: int) -> str:
    """The document's text with GUIDs that follow from the content, and the unit in an R12 header too."""
    # ezdxf registers the classes in the order of a set, another one in every process
    doc.classes.add_required_classes(doc.dxfversion)
    doc.classes.classes = OrderedDict(sorted(doc.classes.classes.items()))
    stream = io.StringIO()
    doc.write(stream)
    text = stream.getvalue()
    for name, value in (("$MEASUREMENT", measurement), ("$INSUNITS", insunits)):
        if f"\n{name}\n" not in text:
            text = text.replace("HEADER\n", f"HEADER\n  9\n{name}\n 70\n{value:6d}\n", 1)
    guid = re.compile(r"\{[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}\}")
    dates = re.compile(r"(\$TD\w+\n\s*40\n)[^\n]+")
    stamp = re.compile(r"\d{4}-\d\d-\d\dT[0-9:.+]+")
    content = stamp.sub("", dates.sub(r"\1", guid.sub("", text)))
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        own = "{" + str(uuid.uuid5(uuid.NAMESPACE_OID, name + content)).upper() + "}"
        text = re.sub(rf"({re.escape(name)}\n\s*2\n){guid.pattern}", lambda m, own=own: m[1] + own, text)  # type: ignore[misc]
    return text


def _check(data: bytes, encoding: str, expected: list[str]) -> None:
    """Read the file back as another program would, audit it and compare its entities."""
    from ezdxf.filemanagement import read

    doc = read(io.StringIO(data.decode(encoding, errors="surrogateescape")))
    audit = doc.audit()
    faults = [e.message for e in (*audit.errors, *audit.fixes)]
    found = [e.dxftype() for e in doc.modelspace()]
    if found != expected:
        faults.append(f"{len(found)} entities were read back where {len(expected)} were written, or of other types")
    if faults:
        raise OutputError(
            f"The DXF failed its check and was not written: {faults[0]}; report this with the job folder."
        )
