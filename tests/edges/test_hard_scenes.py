"""Tracing where something else runs along the edge: film, tape, drawers, doors, plies, shadow, gloss, white on white.

Pictures of ``box_scene`` with the rival painted or built into it, four photos each, the true edge known exactly. In every one
of them the rival is straight, parallel, several millimetres off and often the stronger step. Three outcomes are honest: the
true edge is measured within its stated U; or it is not, and the finding names how far apart the two lie; or nothing is
measured, and a serious finding says that the edge was not found. A wrong edge without a word is the one outcome that costs a
slab.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.shapes.evaluate import offset_at, offset_u, to_chord
from phototemplate.errors import FINDINGS, Finding
from phototemplate.model import Array, EdgeHint, IntArray
from phototemplate.settings import EdgeSettings
from phototemplate.studies.verdict import OPEN_QUESTIONS
from tests.edges.box_scene import DEPTH_MM, LENGTH_MM, Box, BoxScene, Coat, kitchen

SHARP = EdgeSettings(arris_mm=0.0, arris_u_mm=0.2)
FRONT = EdgeHint("front", "front", anchor="work", path=np.array([[8.0, -3.0], [412.0, 3.0]]))
END = EdgeHint("end", "end", anchor="work", path=np.array([[4.0, 250.0], [-4.0, 30.0]]))
TOP = 2
"""Axis of faces that look up"""


@dataclass(frozen=True)
class Verdict:
    """What became of the edge."""

    edge_id: str
    error_mm: float
    """Largest over the places compared, signed towards the room; nan where nothing was measured"""
    expanded_mm: float
    """U there; nan where nothing was measured"""
    findings: tuple[Finding, ...]

    @property
    def codes(self) -> set[str]:
        return {f.code for f in self.findings}

    @property
    def right(self) -> bool:
        return bool(abs(self.error_mm) <= self.expanded_mm)

    def names(self, apart_mm: float) -> bool:
        """Whether a finding says that another edge runs about this far away."""
        for f in self.findings:
            if f.code in OPEN_QUESTIONS:
                said = f.facts["apart_mm"]
                assert isinstance(said, float)
                if abs(said - abs(apart_mm)) < max(1.0, 0.25 * abs(apart_mm)):
                    return True
        return False

    @property
    def measured(self) -> bool:
        return not np.isnan(self.error_mm)

    @property
    def lost(self) -> bool:
        """Whether nothing was measured and a serious finding says that this edge could not be."""
        kinds = [FINDINGS[f.code] for f in self.findings if f.where == self.edge_id]
        return not self.measured and any(kind.lost and kind.severity == "serious" for kind in kinds)

    @property
    def honest(self) -> bool:
        return self.right or (self.measured and self.names(self.error_mm)) or self.lost


def look(scene: BoxScene, hint: EdgeHint = FRONT) -> Verdict:
    """Trace and fit an edge whose truth is y = 0 (fronts) or x = 0 (ends)."""
    network = scene.network()
    plane = scene.plane(network, type_b_terms([hint], SHARP))
    points, _, findings = measure_edges(scene.gray, network, plane, [hint], SHARP)
    if not points:
        return Verdict(hint.edge_id, float("nan"), float("nan"), findings)
    segment = fit_segment(points[0], hint, SHARP, plane.influences)
    along = np.linspace(30.0, (LENGTH_MM if hint is not END else DEPTH_MM) - 30.0, 9)
    axis = 0 if hint.kind == "end" else 1
    true = np.zeros((9, 2))
    true[:, 1 - axis] = along
    s, across = to_chord(segment, true)
    miss = offset_at(segment, s) - across
    # towards the room is the side away from the sheets
    (ax, ay), (bx, by) = segment.chord_mm[1] - segment.chord_mm[0], np.array([200.0, 120.0]) - segment.chord_mm[0]
    sign = np.sign(ax * by - ay * bx)
    expanded = 2.0 * offset_u(segment, s, plane.influences.cov)
    assert np.isfinite(miss).all()
    assert np.isfinite(expanded).all()
    assert (expanded > 0).all()
    k = int(np.argmax(np.abs(miss) - expanded))
    return Verdict(hint.edge_id, float(-sign * miss[k]), float(expanded[k]), (*findings, *segment.findings))


# --------------------------------------------------------------------------------------------- rivals


def coated(coat: Coat, scene: BoxScene | None = None) -> BoxScene:
    """The kitchen with every box's surface painted over."""
    scene = scene or kitchen()
    return BoxScene([b if b.clear else replace(b, coat=coat) for b in scene.boxes], scene.views, scene.heights)


def with_boxes(*boxes: Box, scene: BoxScene | None = None) -> BoxScene:
    scene = scene or kitchen()
    return BoxScene([*scene.boxes, *boxes], scene.views, scene.heights)


def soft(x: Array, width: float) -> Array:
    """From 0 at x << 0 to 1 at x >> 0 over about ``width``."""
    return np.asarray(0.5 + 0.5 * np.tanh(2.0 * x / width))


def band(x: Array, middle: float | Array, width: float) -> Array:
    """1 within ``width`` about ``middle``, 0 elsewhere, with edges 0.1 mm soft."""
    return soft(x - middle + width / 2, 0.1) * soft(middle + width / 2 - x, 0.1)


def film(reach_mm: float, opacity: float, rim: float) -> Box:
    """Film over the front of the tops that hangs ``reach_mm`` over the edge, a little wavy, with a glossy rim."""

    def coat(xyz: Array, axis: IntArray, eye: Array, behind: Array) -> Array:
        x, y = xyz[:, 0], xyz[:, 1]
        end = -reach_mm - 0.8 * np.sin(x / 23.0) - 0.4 * np.sin(x / 7.0 + 1.0)
        wrinkles = 12.0 * np.sin(x / 9.0 + y / 13.0) * np.sin(y / 5.0 - x / 31.0)
        covered = behind + opacity * (215.0 + wrinkles - behind)
        shine = rim * (0.6 + 0.4 * np.sin(x / 17.0 + eye[0] / 300.0))
        value = np.where(y > end, covered, behind) + shine * band(y, end + 0.4, 0.8)
        return np.asarray(np.where(axis == TOP, np.minimum(value, 255.0), behind))

    return Box((-2.0, -reach_mm - 3.0, 0.2), (LENGTH_MM + 2.0, 150.0, 0.3), 0.0, 0.0, 0.0, coat=coat, clear=True)


def tape(first_mm: float, grey: float) -> Coat:
    """Masking tape 25 mm wide on the tops, its near side ``first_mm`` from the front edge and not quite straight."""

    def coat(xyz: Array, axis: IntArray, eye: Array, own: Array) -> Array:
        x, y = xyz[:, 0], xyz[:, 1]
        near = first_mm + 0.3 * np.sin(x / 60.0)
        crinkled = grey + 4.0 * np.sin(x / 3.0) * np.sin(y / 2.0)
        return np.asarray(np.where((axis == TOP) & (xyz[:, 2] > -1.0) & (y > near) & (y < near + 25.0), crinkled, own))

    return coat


def shadow(at_mm: float, width_mm: float, share: float) -> Coat:
    """The front ``at_mm`` of the tops lies in the shadow of something, penumbra ``width_mm``; fronts too."""

    def coat(xyz: Array, axis: IntArray, eye: Array, own: Array) -> Array:
        dark = 1.0 - share * soft(at_mm - xyz[:, 1], width_mm)
        return np.asarray(own * np.where(xyz[:, 2] > -1.0, dark, 1.0 - share))

    return coat


def streak(strength: float) -> Coat:
    """A glossy rounding: a bright line on the tops just behind the edge, at another place in every photo."""

    def coat(xyz: Array, axis: IntArray, eye: Array, own: Array) -> Array:
        flat = float(np.arctan2(-eye[1], eye[2]))
        place = 0.6 + 2.0 * flat + 0.05 * np.sin(xyz[:, 0] / 40.0)
        shine = strength * band(xyz[:, 1], place, 0.7)
        return np.asarray(np.minimum(own + np.where(axis == TOP, shine, 0.0), 255.0))

    return coat


def plies(grey: tuple[float, ...], thick_mm: float = 3.0) -> Coat:
    """Front rails of laminations ``thick_mm`` thick with these grey values from the outside in."""

    def coat(xyz: Array, axis: IntArray, eye: Array, own: Array) -> Array:
        layer = np.clip(np.floor(xyz[:, 1] / thick_mm).astype(int), 0, len(grey) - 1)
        shown = (axis == TOP) & (xyz[:, 2] > -1.0) & (xyz[:, 1] >= 0) & (xyz[:, 1] < thick_mm * len(grey))
        return np.asarray(np.where(shown, np.array(grey)[layer], own))

    return coat


def drawer(open_mm: float, low_mm: float = 12.0) -> tuple[Box, ...]:
    """A drawer over the whole width, pulled out by so much: its front 19 mm thick, box behind it lower."""
    y1 = -open_mm
    return (
        Box((8.0, y1 - 19.0, -160.0), (LENGTH_MM - 8.0, y1, -low_mm), 78.0, 60.0, 50.0),
        Box((20.0, y1, -150.0), (32.0, 20.0, -40.0), 190.0, 150.0, 120.0),
        Box((LENGTH_MM - 32.0, y1, -150.0), (LENGTH_MM - 20.0, 20.0, -40.0), 190.0, 150.0, 120.0),
        Box((32.0, y1, -150.0), (LENGTH_MM - 32.0, 20.0, -140.0), 150.0, 120.0, 100.0),
    )


def door(turned: bool) -> tuple[Box, ...]:
    """A door 12 mm lower than the tops, opened to a right angle, or right round until it lies before its neighbour."""
    if turned:
        return (Box((-0.0, -42.0, -780.0), (190.0, -23.0, -12.0), 80.0, 60.0, 50.0),)
    return (Box((172.0, -400.0, -780.0), (191.0, -20.0, -12.0), 80.0, 60.0, 50.0),)


def white(top: float, face: float, floor: float) -> BoxScene:
    """Cabinets of white melamine before a wall and floor that are nearly as white."""
    plain = kitchen()
    boxes = [
        Box((0.0, 0.0, -800.0), (LENGTH_MM, DEPTH_MM, 0.0), top, face, face),
        Box((-3000.0, -3000.0, -830.0), (3000.0, 900.0, -800.0), floor, floor, floor),
        Box((-3000.0, 560.0, -800.0), (3000.0, 600.0, 1200.0), floor, floor, floor + 2.0),
    ]
    return BoxScene(boxes, plain.views, plain.heights)


# ---------------------------------------------------------------------------------------------- cases

Case = Callable[[], BoxScene]
CASES: dict[str, tuple[Case, EdgeHint]] = {
    "film 3 mm over": (lambda: with_boxes(film(3.0, 0.25, 40.0)), FRONT),
    "film 6 mm over, glossy": (lambda: with_boxes(film(6.0, 0.35, 110.0)), FRONT),
    "tape 2 mm behind": (lambda: coated(tape(2.0, 175.0)), FRONT),
    "tape 5 mm behind": (lambda: coated(tape(5.0, 175.0)), FRONT),
    "drawer 25 mm open": (lambda: with_boxes(*drawer(25.0)), FRONT),
    "drawer 250 mm open": (lambda: with_boxes(*drawer(250.0)), FRONT),
    "drawer shut, 3 mm low": (lambda: with_boxes(*drawer(1.0, 3.0)), FRONT),
    "door at a right angle": (lambda: with_boxes(*door(False)), FRONT),
    "door turned right round": (lambda: with_boxes(*door(True)), FRONT),
    "white on white, front": (lambda: white(214.0, 204.0, 209.0), FRONT),
    "white on white, end": (lambda: white(214.0, 204.0, 209.0), END),
    "white on white, face as the top": (lambda: white(212.0, 212.0, 205.0), FRONT),
    "plies of 3 mm, light outside": (lambda: coated(plies((170.0, 120.0, 175.0, 115.0, 172.0, 118.0))), FRONT),
    "plies of 3 mm, dark outside": (lambda: coated(plies((70.0, 165.0, 110.0, 170.0, 112.0, 168.0))), FRONT),
    "shadow 4 mm behind": (lambda: coated(shadow(4.0, 1.5, 0.5)), FRONT),
    "shadow 3 mm behind, hard": (lambda: coated(shadow(3.0, 0.3, 0.6)), FRONT),
    "streak": (lambda: coated(streak(150.0)), FRONT),
}


MEASURED = (
    "film 6 mm over, glossy", "drawer 25 mm open", "drawer 250 mm open", "door at a right angle", "door turned right round",
    "white on white, front", "white on white, end", "plies of 3 mm, light outside", "streak",
)  # fmt: skip
"""Cases in which nothing excuses another edge: the true one is measured"""
PLAIN = ("drawer 25 mm open", "drawer 250 mm open", "door at a right angle", "door turned right round", "streak")
"""Of these, the ones in which no line at the level of the tops runs within 8 mm: nothing is to be doubted"""

QUICK = (
    "film 6 mm over, glossy", "tape 2 mm behind", "drawer 25 mm open", "door at a right angle", "white on white, front",
    "plies of 3 mm, dark outside", "shadow 4 mm behind", "streak",
)  # fmt: skip
"""One of each kind; the others are marked slow"""


@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in CASES])
def test_never_a_wrong_edge_without_a_word(name: str) -> None:
    make, hint = CASES[name]
    verdict = look(make(), hint)
    said = f"{verdict.error_mm:+.2f} mm with U = {verdict.expanded_mm:.2f} mm and only {sorted(verdict.codes)}"
    assert verdict.right if name in MEASURED else verdict.honest, said
    if name in PLAIN:
        assert "edge-ambiguous" not in verdict.codes
