"""What is printed, recomputed from the DXF alone, and the files that are cut read by three programs.

Only ezdxf, shapely, GDAL (pyogrio) and LibreCAD (headless, where it is installed) look at the files; nothing of ours does.
"""

from __future__ import annotations

import ctypes
import io
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


def printed_off_mm(doc: Any, factor: float, denominator: int) -> tuple[int, float]:
    """How many dimensions print a length, and the largest difference from the distance of the points they dimension, beyond
    what the printed digits round away."""
    count, worst = 0, 0.0
    for dim in doc.modelspace().query("DIMENSION"):
        metric = METRIC.search(dim.dxf.text)
        a, b = dim.dxf.defpoint2, dim.dxf.defpoint3
        d = (b.x - a.x) * factor, (b.y - a.y) * factor
        found = math.hypot(*d)
        if dim.dimtype == 0:  # linear: along its own direction
            t = math.radians(dim.dxf.get("angle", 0.0))
            found = abs(d[0] * math.cos(t) + d[1] * math.sin(t))
        if metric is None:
            continue
        count += 1
        round_ = re.search(r"R (?:.*?\()?(\d+\.\d) mm", dim.dxf.text)
        if dim.dxf.text.startswith("arc"):  # a chord c of a circle R: 2 R asin(c / 2 R), or the rest of the circle
            if round_ is None:  # its radius in inches alone is too coarse for that
                continue
            r = float(round_[1])
            way = 2.0 * r * math.asin(min(found / (2.0 * r), 1.0))
            # both R and c are printed or drawn to 0.05 mm
            worst = max(worst, min(abs(way - float(metric[1])), abs(2 * math.pi * r - way - float(metric[1]))) - ARC_SLACK_MM)
            continue
        worst = max(worst, abs(found - float(metric[1])) - 0.05)
        imperial = inches(dim.dxf.text)
        if imperial is not None:
            worst = max(worst, abs(found - imperial) - 25.4 / denominator / 2.0)
    return count, worst


def areas_off_m2(doc: Any, factor: float) -> tuple[int, float]:
    """How many areas are printed, and the largest difference from that of the nearest contour without what is cut out of it."""
    cut = [*rings(doc, "STONE-CUTOUT", factor), *rings(doc, "STONE-HOLE", factor)]
    found = []
    for ring in rings(doc, "STONE-SHAPE", factor):
        inside = [c for c in cut if ring.contains(c.representative_point())]
        found.append((ring.area - sum(c.area for c in inside)) / 1e6)
    count, worst = 0, 0.0
    for text in doc.modelspace().query("TEXT"):
        printed = re.search(r"(\d+\.\d\d) m2", text.dxf.text)
        if printed:
            count += 1
            worst = max(worst, min(abs(float(printed[1]) - a) for a in found) - 0.005)
    return count, worst


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
    """Areas of the same as LibreCAD prints them; None where it is not installed."""
    program = shutil.which("librecad")
    if program is None:
        return None
    # all of it has to lie on its page of A3: what is outside is not drawn
    box = np.vstack([p.bounds for layer in ("CUT-OUTSIDE", "CUT-INSIDE") for p in rings(ezdxf.readfile(path), layer, factor)])
    size = box[:, 2:].max(axis=0) - box[:, :2].min(axis=0)
    scale = float(min(380.0 / size[0], 260.0 / size[1]))
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "HOME": folder}
        shutil.copy(path, Path(folder) / "a.dxf")
        subprocess.run([program, "dxf2pdf", "-s", f"{scale:.9f}", "-c", "-r", "9600", "a.dxf"], cwd=folder, env=env, check=True,
                       capture_output=True, timeout=60)
        page = pypdfium2.PdfDocument(Path(folder) / "a.pdf")[0]
        lines = [points for item in page.get_objects() if (points := _points(item)) is not None]
    mm = 25.4 / 72.0 / scale
    # ends agree to the printer's dots only: drawn with a pen of 0.4 mm, what a pen encloses is a contour
    inked = shapely.union_all([shapely.LineString(p * mm).buffer(0.2) for p in lines if len(p) > 1])
    return sorted(shapely.Polygon(hole).buffer(0.2).area for part in shapely.get_parts(inked) for hole in part.interiors)


def _points(item: Any) -> np.ndarray | None:
    """(n, 2) points of a path of a PDF page."""
    count = raw.FPDFPath_CountSegments(item.raw)
    if count < 2:
        return None
    matrix = raw.FS_MATRIX()
    raw.FPDFPageObj_GetMatrix(item.raw, matrix)
    out = []
    for k in range(count):
        x, y = ctypes.c_float(), ctypes.c_float()
        raw.FPDFPathSegment_GetPoint(raw.FPDFPath_GetPathSegment(item.raw, k), x, y)
        out.append((matrix.a * x.value + matrix.c * y.value + matrix.e, matrix.b * x.value + matrix.d * y.value + matrix.f))
    return np.array(out)


def apart(wanted: list[tuple[float, float]], found: list[float] | None, slack_mm: float) -> bool:
    """Whether two readings of the same contours differ in number, or in area by more than a slack along their lines."""
    if found is None:
        return False
    if len(wanted) != len(found):
        return True
    return any(abs(a - b) > slack_mm * length for (a, length), b in zip(wanted, found, strict=True))
