"""A kitchen under construction: what every family of kitchens does with its cabinets once they stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .constants import HEADROOM_MM, MAIN_F_PX, STAND_OFF, STAND_OFF_POWER, SWAY_MM, TAPE_READING_MM, TAPE_U_MM
from .furniture import door_line
from .kitchen import add_bar, strip_pieces, tape_strips, wall_edge
from .lights import LIGHTS
from .paper import target_point
from .phone import Phone
from .prints import Printer
from .scene import Cabinet, Clutter, KnownLength, OtherLine, Prism, Scene, Sheet, TrueEdge, Wall

Plan = tuple[float, float]


@dataclass(frozen=True)
class Look:
    """How a kitchen is printed for, lit and photographed."""

    phones: tuple[Phone, ...]
    """Photo i is taken with phone i modulo their number."""
    board_mm: float = 1.5
    """Thickness under the printed face: paper alone (0.1) up to foam board"""
    print_scale: tuple[float, float] = (0.998, 0.999)
    paper: str = "Letter"
    light: str = "panels"
    """A key of ``lights.LIGHTS``"""


def stand_off(phone: Phone) -> float:
    """How much farther than with a main camera people stand: nearer with an ultra-wide lens, farther with a tele lens."""
    low, high = MAIN_F_PX
    if low <= phone.f_px <= high:
        return 1.0
    return float(np.clip((2 * phone.f_px / (low + high)) ** STAND_OFF_POWER, *STAND_OFF))


class Site:
    """Collects a scene; numbers sheets and strips in the order in which they are laid."""

    def __init__(self, name: str, seed: int, prints: Path | None, look: Look) -> None:
        self.scene, self.look = Scene(name, seed=seed), look
        self.rng = np.random.default_rng([seed, 5])
        feed, cross = look.print_scale
        self.printer = Printer(prints or Path(), paper=look.paper, feed=feed, cross=cross, seed=seed, draw=prints is not None)
        self._sheets, self._strips = 0, 1

    # ------------------------------------------------------------------------------------------ furniture

    def cabinet(self, cabinet_id: str, x: float, y: float, width: float, rot: float = 0.0, **more: object) -> Cabinet:
        """A cabinet, a little off its height and out of level as fitters leave them."""
        given: dict[str, object] = {
            "dz": float(self.rng.normal(0, 0.6)),
            "tilt_w": float(self.rng.normal(0, 0.5)),
            "tilt_d": float(self.rng.normal(0, 0.4)),
        } | more
        c = Cabinet(cabinet_id, x, y, width, rot_deg=rot, **given)  # type: ignore[arg-type]
        self.scene.cabinets.append(c)
        return c

    def row(self, prefix: str, at: Plan, rot: float, widths: Sequence[float], **more: object) -> list[Cabinet]:
        """Cabinets side by side from the left, seen from their front; ``at`` is the back left corner of the first."""
        a = math.radians(rot)
        out, along = [], 0.0
        for i, w in enumerate(widths):
            x, y = at[0] + along * math.cos(a), at[1] + along * math.sin(a)
            out.append(self.cabinet(f"{prefix}{i + 1}", x, y, w, rot, **more))
            along += w
        return out

    def thing(self, kind: str, x: float, y: float, turn: float = 0.0, **more: object) -> None:
        """Something that stands or lies about."""
        self.scene.clutter.append(Clutter(kind, x, y, turn, **more))  # type: ignore[arg-type]

    def box(self, x: float, y: float, turn: float, size: Sequence[float], z: float, mat: str) -> None:
        """A box by its middle, size (along, across, height) and underside."""
        self.scene.clutter.append(Clutter("box", x, y, turn, [float(v) for v in size], z, mat))

    def wall(
        self, wall_id: str, points: list[list[float]], side: str = "right", lean: float = 0.0, mat: str = "drywall"
    ) -> None:
        self.scene.walls.append(Wall(wall_id, points, side=side, lean_mm_per_m=lean, mat=mat))

    # ------------------------------------------------------------------------------------------ paper

    def sheet(
        self, on: Cabinet | Prism | None, x: float, y: float, turn: float, board: float | None = None, z: float = 0.0
    ) -> Sheet:
        """The next sheet, its middle at plan (x, y); on a cabinet it follows the tilted top."""
        self._sheets += 1
        thick = (self.look.board_mm if board is None else board) * float(1 + self.rng.normal(0, 0.01))
        turn = turn + float(self.rng.normal(0, 4))
        cabinet = on.id if isinstance(on, Cabinet) else None
        sheet = self.printer.sheet(f"S{self._sheets:02d}", x, y, turn, cabinet, thick)
        sheet.z = on.z1 if isinstance(on, Prism) else z
        self.scene.sheets.append(sheet)
        return sheet

    def lay(self, on: Cabinet, share: float, back: float, turn: float = 0.0, board: float | None = None) -> Sheet:
        """The next sheet at a share of a cabinet's width and ``back`` mm from its back; turned with the cabinet."""
        x, y, _ = on.world(np.array([share * on.width, back, 0.0]))
        return self.sheet(on, float(x), float(y), on.rot_deg + turn, board)

    def strips(self, wall: str, start: float, end: float) -> list[str]:
        """As many strip pieces as fit along a wall between two arc lengths; returns the strips' numbers."""
        count = int((end - start) // 275)
        pieces = strip_pieces(self._strips, count)
        tape_strips(self.scene, self.printer, wall, pieces, start, end, int(self.rng.integers(1 << 16)))
        self._strips += (count + 1) // 2
        return sorted({p[:3] for p in pieces})

    # ------------------------------------------------------------------------------------------ lengths

    def bar(self, at: Plan, turn: float, length: float) -> None:
        add_bar(self.scene, self.printer, at, turn, length, round(length + float(self.rng.normal(0, 0.05)), 2))

    def tape(self, a: str, b: str) -> None:
        """A tape between the marks B of two sheets, read to half a millimetre."""
        by_id = {s.id: s for s in self.scene.sheets}
        p, q = (target_point(by_id[k], self.scene, [0.0, 0.0]) for k in (a, b))
        read = float(np.linalg.norm(p - q)) + float(self.rng.normal(0, TAPE_READING_MM))
        self.scene.lengths.append(KnownLength(f"tape {a} {b}", "tape", [a, b], round(2 * read) / 2, TAPE_U_MM))

    # ------------------------------------------------------------------------------------------ the truth

    def edge_of(self, edge_id: str, kind: str, sides: Sequence[tuple[Cabinet | Prism, str | int]]) -> None:
        """A traced edge along the tops' sides, one after the other; of cabinets' fronts the doors' line is noted too."""
        points: list[list[float]] = []
        arris = 0.0
        for thing, side in sides:
            line = thing.edge(str(side)) if isinstance(thing, Cabinet) else thing.side(int(side))
            points += line.tolist()
            arris = 0.0 if isinstance(thing, Prism) and thing.joined else thing.arris_mm  # as ``build_prism`` makes them
            if isinstance(thing, Cabinet) and side == "front" and (thing.doors or thing.drawers) and not thing.inset:
                self.scene.other_lines.append(OtherLine("door", edge_id, door_line(thing)))
        self.scene.outline.append(TrueEdge(edge_id, kind, points, arris_mm=arris))

    def arc_edge(self, edge_id: str, points: list[list[float]], z: float, arris: float) -> None:
        """A round edge; points that come back to their start are those of a whole circle."""
        shape = "circle" if np.allclose(points[0], points[-1]) else "arc"
        self.scene.outline.append(TrueEdge(edge_id, "front", [[x, y, z] for x, y in points], shape=shape, arris_mm=arris))

    def wall_edge(self, edge_id: str, wall: str, strips: list[str], reach: float = math.inf) -> None:
        """A wall's profile from its start to arc length ``reach``, seen by these strips."""
        self.scene.outline.append(wall_edge(self.scene, wall, edge_id, reach, strips))

    def loop(self, name: str, *edges: str) -> None:
        self.scene.loops[name] = list(edges)

    # ------------------------------------------------------------------------------------------ photos

    def shoot(self, views: Sequence[tuple[Plan, float, float, float, float]]) -> Scene:
        """Photos; a view is where it looks in plan, azimuth from there to the camera (0: +x, -90: -y), distance in plan, height
        and roll. Returns the finished scene."""
        for i, (aim, azimuth, distance, height, roll) in enumerate(views):
            rng = np.random.default_rng([self.scene.seed, 7, i])
            phone, a = self.look.phones[i % len(self.look.phones)], math.radians(azimuth)
            off = stand_off(phone) * np.array([distance * math.cos(a), distance * math.sin(a), height])
            eye = np.array([*aim, 0.0]) + off + rng.normal(0, SWAY_MM, 3)
            eye[2] = min(eye[2], self.scene.ceiling_z - HEADROOM_MM)
            target = [float(v) for v in np.array([*aim, 0.0]) + rng.normal(0, SWAY_MM, 3) * (1, 1, 0)]
            self.scene.cameras.append(phone.photo(i, [float(v) for v in eye], target, roll + float(rng.normal(0, 2)), rng))
        self.scene.lights = LIGHTS[self.look.light](self.scene)
        return self.scene
