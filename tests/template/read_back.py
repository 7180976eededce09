"""What is printed, recomputed from the DXF alone, and the files that are cut read by three programs.

Only ezdxf, shapely, GDAL (pyogrio) and LibreCAD (headless, where it is installed) look at the files; nothing of ours does.
"""

from __future__ import annotations

import ctypes
import io
import itertools
import math
import os
import re
import shutil
import subprocess
import tempfile
from fractions import Fraction
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pypdfium2
import shapely
from ezdxf import path as dxf_path
from pypdfium2 import raw

ARC_SLACK_MM = 8.0
"""mm. What a radius rounded to 0.1 mm leaves of an arc near half a circle"""
PRINTED_DOT_MM = 0.5
"""mm along a contour. LibreCAD is read from its print on A3, whose dots are up to half a millimetre of a kitchen"""
METRIC = re.compile(r"(-?\d+\.\d) (?:±(\d+\.\d) )?mm")
IMPERIAL = re.compile(r'(?<![\d./])(?:(\d+) )?(?:(\d+)/(\d+))?(?:(\d+))?"')


def document(data: bytes) -> Any:
    return ezdxf.read(io.StringIO(data.decode("utf-8", errors="replace").replace("\r\n", "\n")))


def rings(doc: Any, layer: str, factor: float) -> list[shapely.Polygon]:
    """Closed contours of a layer, arcs flattened by ezdxf, mm."""
    out = []
    for entity in doc.modelspace().query(f'*[layer=="{layer}"]'):
        points = np.array([(v.x, v.y) for v in dxf_path.make_path(entity).flattening(0.002 / factor)]) * factor
        if len(points) > 3:
            out.append(shapely.Polygon(points))
    return out


def inches(text: str) -> float | None:
    """The fraction of an inch that a dimension prints, in mm."""
    found = re.search(r'(?:(\d+) )?(\d+)/(\d+)"|(\d+)"', text)
    if not found:
        return None
    whole, num, den, alone = found.groups()
    value = Fraction(alone) if alone else Fraction(int(whole or 0)) + Fraction(int(num), int(den))
    return float(value) * 25.4


def lengths_off_mm(doc: Any, factor: float, denominator: int) -> list[float]:
    """Of every dimension its difference from the distance of the points it dimensions, beyond what the digits round away."""
    out = []
    for dim in doc.modelspace().query("DIMENSION"):
        metric = METRIC.search(dim.dxf.text)
        a, b = dim.dxf.defpoint2, dim.dxf.defpoint3
        d = (b.x - a.x) * factor, (b.y - a.y) * factor
        found = math.hypot(*d)
        if dim.dimtype == 0:  # linear: along its own direction
            t = math.radians(dim.dxf.get("angle", 0.0))
            found = abs(d[0] * math.cos(t) + d[1] * math.sin(t))
        if metric is None:
            imperial = inches(dim.dxf.text)
            if imperial is not None:
                out.append(abs(found - imperial) - 25.4 / denominator / 2.0)
            continue
        round_ = re.search(r"R (?:.*?\()?(\d+\.\d) mm", dim.dxf.text)
        if dim.dxf.text.startswith("arc"):  # a chord c of a circle R: 2 R asin(c / 2 R), or the rest of the circle
            if round_ is None:  # its radius in inches alone is too coarse for that
                continue
            r = float(round_[1])
            way = 2.0 * r * math.asin(min(found / (2.0 * r), 1.0))
            # both R and c are printed or drawn to 0.05 mm
            out.append(min(abs(way - float(metric[1])), abs(2 * math.pi * r - way - float(metric[1]))) - ARC_SLACK_MM)
            continue
        out.append(abs(found - float(metric[1])) - 0.05)
        imperial = inches(dim.dxf.text)
        if imperial is not None:
            out.append(abs(found - imperial) - 25.4 / denominator / 2.0)
    return out


def drawn_within_mm(doc: Any) -> float:
    """How far the drawing says that its curves may be from the measured ones."""
    for text in doc.modelspace().query("TEXT"):
        said = re.search(r"drawn within ([\d.]+) mm", text.dxf.text)
        if said:
            return float(said[1])
    return 0.0


def _pieces(doc: Any, factor: float) -> list[tuple[float, float]]:
    """(area, what it may be off) of every piece in mm2: its contour without what is cut out of it."""
    cut = [*rings(doc, "STONE-CUTOUT", factor), *rings(doc, "STONE-HOLE", factor)]
    slack = drawn_within_mm(doc)
    out = []
    for ring in rings(doc, "STONE-SHAPE", factor):
        inside = [c for c in cut if ring.contains(c.representative_point())]
        out.append((ring.area - sum(c.area for c in inside), slack * ring.length))
    return out


def _nearest_off(text: str, pattern: str, half: float, real: list[tuple[float, float]]) -> list[float]:
    """Of every number in a text its difference from the nearest real (value, slack), beyond half of its last digit."""
    return [min(abs(float(found) - value) - slack for value, slack in real) - half for found in re.findall(pattern, text)]


def areas_off_m2(doc: Any, factor: float) -> list[float]:
    """Of every printed area its difference from that of the nearest piece, beyond its digits and what the drawing says of its
    curves, m2."""
    real = [(a / 1e6, s / 1e6) for a, s in _pieces(doc, factor)]
    feet = [(a / 304.8**2, s / 304.8**2) for a, s in _pieces(doc, factor)]
    texts = [t.dxf.text for t in doc.modelspace().query("TEXT")]
    return [off for t in texts for off in [*_nearest_off(t, r"(\d+\.\d\d) m2", 0.005, real),
                                           *(0.3048**2 * f for f in _nearest_off(t, r"(\d+\.\d) sq ft", 0.05, feet))]]


def weights_off_kg(doc: Any, factor: float, density_kg_m3: float) -> list[float]:
    """The same of weights: area by the thickness that the drawing states by a density."""
    texts = [t.dxf.text for t in doc.modelspace().query("TEXT")]
    slab = next(found for t in texts if t.startswith("Material: ") and (found := re.search(r"(\d+\.\d) mm", t)))
    out = []
    for t in texts:
        own = re.search(r"([\d./ ]+\"|\d+\.\d mm) thick", t)
        said = slab[0] if own is None else own[1]
        thick = inches(said) or float(said.removesuffix(" mm"))
        # an upright piece's own thickness is printed to a sixteenth of an inch; that of the slab stands beside it in mm
        thick = float(slab[1]) if abs(thick - float(slab[1])) < 25.4 / 32.0 else thick
        real = [(a * thick * density_kg_m3 / 1e9, s * thick * density_kg_m3 / 1e9) for a, s in _pieces(doc, factor)]
        pounds = [(a / 0.45359237, s / 0.45359237) for a, s in real]
        out += [*_nearest_off(t, r"(\d+) kg", 0.5, real), *(0.45359237 * p for p in _nearest_off(t, r"(\d+) lb", 0.5, pounds))]
    return out


def corners_off_mm(doc: Any, factor: float, denominator: int) -> list[float]:
    """The same of radii and clips: arcs of the contours, and how far a short side's ends lie from where its neighbours meet."""
    radii: list[float] = []
    clips: list[float] = []
    for ring in doc.modelspace().query('LWPOLYLINE[layer=="STONE-SHAPE"]'):
        points = np.array(ring.get_points("xyb")) * (factor, factor, 1.0)
        for k in range(len(points)):
            a, b = points[k], points[(k + 1) % len(points)]
            chord = math.dist(a[:2], b[:2])
            if abs(a[2]) > 1e-9:
                radii.append(chord * (1.0 + a[2] ** 2) / (4.0 * abs(a[2])))
            else:
                clips += _legs(points[k - 1], a, b, points[(k + 2) % len(points)])
    out = []
    for text in doc.modelspace().query("TEXT"):
        said = re.fullmatch(r"(R|clip) (.*)", text.dxf.text)
        if said:
            value, half = inches(said[2]), 25.4 / denominator / 2.0
            if value is None:
                value, half = float(said[2].removesuffix(" mm")), 0.05
            out.append(min((abs(value - v) for v in (radii if said[1] == "R" else clips)), default=math.inf) - half)
    return out


def _legs(before: np.ndarray, a: np.ndarray, b: np.ndarray, after: np.ndarray) -> list[float]:
    """Distances of both ends of a side from where the straight sides beside it would meet."""
    if before[2] or b[2]:
        return []
    p, d, q, e = before[:2], a[:2] - before[:2], after[:2], b[:2] - after[:2]
    across = d[0] * e[1] - d[1] * e[0]
    if abs(across) < 1e-9:
        return []
    w = q - p
    meet = p + (w[0] * e[1] - w[1] * e[0]) / across * d
    return [math.dist(meet, a[:2]), math.dist(meet, b[:2])]


def angles_off_deg(doc: Any, factor: float, printed: dict[tuple[str, str], float]) -> list[float]:
    """Of the printed inside angles (piece, corner) their difference from that between the dimensioned sides where both are
    straight in the contour, beyond half of a hundredth of a degree."""
    sides: dict[tuple[str, str], tuple[np.ndarray, np.ndarray]] = {}
    for dim in doc.modelspace().query("DIMENSION"):
        said = [tag.value for tag in dim.get_xdata("PHOTOTEMPLATE")] if dim.has_xdata("PHOTOTEMPLATE") else []
        data = dict(zip(said[::2], said[1::2], strict=True))
        if "edge" in data:
            a, b = (np.array([p.x, p.y]) * factor for p in (dim.dxf.defpoint2, dim.dxf.defpoint3))
            length = float(data["length_mm"])
            sides[data["piece"], data["edge"]] = (a, b) if abs(math.dist(a, b) - length) < 1e-6 else (a, a)
    rims = [r.exterior for r in rings(doc, "STONE-SHAPE", factor)]
    out = []
    for (piece, corner), degrees in printed.items():
        first, second = (sides.get((piece, name)) for name in corner.split("/"))
        if first is None or second is None or not all(_straight(s, rims) for s in (first, second)):
            continue
        meets = [(i, j) for i in (0, 1) for j in (0, 1) if math.dist(first[i], second[j]) < 1e-3]
        if len(meets) == 1:
            (i, j), = meets
            u, v = first[1 - i] - first[i], second[1 - j] - second[j]
            found = math.degrees(math.acos(float(u @ v) / math.hypot(*u) / math.hypot(*v)))
            out.append(min(abs(degrees - found), abs(degrees - (360.0 - found))) - 0.005)
    return out


def _straight(side: tuple[np.ndarray, np.ndarray], rims: list[shapely.LinearRing]) -> bool:
    """Whether one straight line of a contour holds the middle of a side."""
    a, b = side
    if math.dist(a, b) < 1.0:
        return False
    for rim in rims:
        points = shapely.get_coordinates(rim)
        lines = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
        both = [shapely.distance(lines, shapely.Point(a + k * (b - a))) < 1e-4 for k in (0.45, 0.55)]
        if bool(np.any(both[0] & both[1])):
            return True
    return False


def by_ezdxf(path: Path, factor: float) -> list[tuple[float, float]]:
    """(area mm2, length mm) of every contour of a cutting file, by area."""
    doc = ezdxf.readfile(path)
    assert not doc.audit().errors
    return sorted((p.area, p.length) for layer in ("CUT-OUTSIDE", "CUT-INSIDE") for p in rings(doc, layer, factor))


def by_gdal(path: Path, factor: float) -> list[float]:
    """Areas of the same as GDAL reads them."""
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": 0.1})  # degrees; four are usual, 6 mm on a radius of 10 m
    _, _, shapes, _ = pyogrio.raw.read(path)
    lines = [shapely.from_wkb(g) for g in shapes]
    return sorted(shapely.Polygon(shapely.get_coordinates(g)).area * factor**2 for g in lines if g is not None)


def by_librecad(path: Path, factor: float) -> list[float] | None:
    """Areas of the same as LibreCAD prints them; None where it is not installed, or where contours come so close to each other
    that its print shows one line for both."""
    program = shutil.which("librecad")
    found = [p for layer in ("CUT-OUTSIDE", "CUT-INSIDE") for p in rings(ezdxf.readfile(path), layer, factor)]
    close = any(a.exterior.distance(b.exterior) < 2.0 * PRINTED_DOT_MM for a, b in itertools.combinations(found, 2))
    if program is None or close:
        return None
    # all of it has to lie on its page of A3: what is outside is not drawn
    box = np.vstack([p.bounds for p in found])
    size = box[:, 2:].max(axis=0) - box[:, :2].min(axis=0)
    scale = float(min(380.0 / size[0], 260.0 / size[1]))
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": folder}
        shutil.copy(path, Path(folder) / "a.dxf")
        subprocess.run([program, "dxf2pdf", "-s", f"{scale:.9f}", "-c", "-r", "9600", "a.dxf"], cwd=folder, env=env, check=True,
                       capture_output=True, timeout=60)
        page = pypdfium2.PdfDocument(Path(folder) / "a.pdf")[0]
        lines = [points for item in page.get_objects() for points in _strokes(item)]
    mm = 25.4 / 72.0 / scale
    # ends agree to the printer's dots only: drawn with a pen of 0.4 mm, what a pen encloses is a contour
    inked = shapely.union_all([shapely.LineString(p * mm).buffer(0.2) for p in lines if len(p) > 1])
    return sorted(shapely.Polygon(hole).buffer(0.2).area for part in shapely.get_parts(inked) for hole in part.interiors)


def _strokes(item: Any) -> list[np.ndarray]:
    """(n, 2) points of every stroke of a path of a PDF page; where the pen is lifted, another begins."""
    matrix = raw.FS_MATRIX()
    raw.FPDFPageObj_GetMatrix(item.raw, matrix)
    out: list[list[tuple[float, float]]] = []
    for k in range(raw.FPDFPath_CountSegments(item.raw)):
        segment = raw.FPDFPath_GetPathSegment(item.raw, k)
        x, y = ctypes.c_float(), ctypes.c_float()
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        if raw.FPDFPathSegment_GetType(segment) == raw.FPDF_SEGMENT_MOVETO or not out:
            out.append([])
        out[-1].append((matrix.a * x.value + matrix.c * y.value + matrix.e,
                        matrix.b * x.value + matrix.d * y.value + matrix.f))
    return [np.array(stroke) for stroke in out if len(stroke) > 1]


def apart(wanted: list[tuple[float, float]], found: list[float] | None, slack_mm: float) -> bool:
    """Whether two readings of the same contours differ in number, or in area by more than a slack along their lines."""
    if found is None:
        return False
    if len(wanted) != len(found):
        return True
    return any(abs(a - b) > slack_mm * length for (a, length), b in zip(wanted, found, strict=True))
