"""The demo kitchen: an L of 3.0 x 2.2 m with a gap for a 30 in range. Every name and number in it is invented.

Seen from the room: the left wall (out of square) with two painted cabinets, the bowed back wall with a dark blind-corner
cabinet and a dark narrow one, the gap, a dark double-door cabinet, and a tall panel at the right end. The range has been
pulled out. One cabinet stands 2.6 mm low, one is out of level. Sheets are mounted on grey board of 1.5 mm, two on 3 mm.

The numbers of :class:`KitchenPlan` are those of the demo; ``variants`` draws others at random.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from .constants import BACK_GAP_MM, BAR_HEIGHT_MM, COUNTER_Z_MM, DEPTH_MM, LEFT_GAP_MM, PHOTO_BYTES, Z_ON_BOARD_MM
from .phone import Phone
from .prints import Printer, butt
from .scene import Cabinet, Clutter, KnownLength, Scene, TrueEdge, Wall, bowed_line
from .truth import resample


@dataclass(frozen=True)
class KitchenPlan:
    """What differs from one such kitchen to the next. Lengths in mm."""

    name: str = "demo kitchen"
    seed: int = 11
    bow_back: float = 7.5
    """Positive: into the room"""
    bow_left: float = -4.5
    mud: tuple[float, float] = (5.0, 4.0)
    """Swelling of the corner on the back and on the left wall"""
    out_of_square: float = -24.0
    """How far the left wall's end at 2500 mm leaves the square"""
    lean_left: float = 1.0
    """mm per metre of height"""
    corner: float = 1000.0
    narrow: float = 402.0
    gap: float = 763.0
    right: float = 820.0
    middle: float = 762.0
    end: float = 838.0
    low: float = -2.6
    """Height of the low cabinet"""
    end_dz: float = -2.4
    end_tilt: tuple[float, float] = (2.5, 1.2)
    """Rise of the last cabinet over its width and depth"""
    finish_back: str = "wood_dark"
    finish_left: str = "painted"
    arris: tuple[float, float] = (0.7, 0.9)
    """Rounding of the edges of the back and the left run"""
    board: float = 1.5
    thick_board: float = 3.0
    print_scale: tuple[float, float] = (0.9975, 0.9985)
    bar_20c: float = 1187.34
    bar_reading: float = 1187.40
    phone: Phone = field(default_factory=Phone)
    sway: float = 25.0
    """Standard deviation of the camera places about the drawn ones"""

    @property
    def gap_x(self) -> tuple[float, float]:
        """Left and right side of the range gap."""
        left = LEFT_GAP_MM + self.corner + self.narrow
        return left, left + self.gap

    @property
    def panel_line(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Plan line of the tall end panel's face, from the back to the front: 2 mm out of square."""
        x = self.gap_x[1] + self.right
        return (x + 4.0, -12.0), (x + 1.9, -662.0)

    def printer(self, prints: Path | None) -> Printer:
        """The printer, which writes pictures to ``prints`` or, for geometry alone, none."""
        feed, cross = self.print_scale
        return Printer(prints or Path(), feed=feed, cross=cross, seed=self.seed, draw=prints is not None)

    @property
    def left_end_y(self) -> float:
        """Where the left run ends."""
        return -BACK_GAP_MM - DEPTH_MM - self.middle - self.end


def demo_scene(prints: Path | None, phone: Phone | None = None) -> Scene:
    """The demo kitchen; pictures of the printed targets are written to the folder ``prints`` (None: geometry only)."""
    return build_kitchen(replace(KitchenPlan(), phone=phone or Phone(max_bytes=PHOTO_BYTES)), prints)


def build_kitchen(plan: KitchenPlan, prints: Path | None) -> Scene:
    """A kitchen with everything in it, photographed twelve times."""
    s = Scene(plan.name, seed=plan.seed)
    printer = plan.printer(prints)
    _walls_and_cabinets(s, plan)
    _sheets(s, plan, printer)
    add_bar(s, printer, (95.0, -312.0), 0.6, plan.bar_20c, plan.bar_reading)
    _strips(s, plan, printer)
    _clutter(s, plan)
    _outline(s, plan)
    _cameras(s, plan)
    return s


def _walls_and_cabinets(s: Scene, p: KitchenPlan) -> None:
    k = p.seed
    back = bowed_line(
        (0, 0), (3400, 0), bow_mm=p.bow_back, mud0=p.mud[0], mud1=3.0, mud_len=170, wave_mm=0.5, seed=k, into="right"
    )
    left = bowed_line(
        (0, 0), (p.out_of_square, -2500), bow_mm=p.bow_left, mud0=p.mud[1], mud_len=150, wave_mm=0.4, seed=k + 1, into="left"
    )
    back.append([4400.0, 2.0])  # the room goes on beyond the run
    left.append([p.out_of_square * 1.38, -3450.0])
    s.walls = [Wall("back", back, side="right"), Wall("left", left, side="left", lean_mm_per_m=p.lean_left)]
    x0, y0 = LEFT_GAP_MM, -BACK_GAP_MM
    y1 = y0 - DEPTH_MM - p.middle
    dark, light = (p.finish_back, p.arris[0]), (p.finish_left, p.arris[1])

    def cabinet(cabinet_id: str, x: float, y: float, w: float, look: tuple[str, float], rot: float = 0.0) -> Cabinet:
        return Cabinet(cabinet_id, x, y, w, rot_deg=rot, depth=DEPTH_MM, mat_front=look[0], arris_mm=look[1])

    s.cabinets = [
        cabinet("corner", x0, y0, p.corner, dark),
        cabinet("narrow", x0 + p.corner, y0, p.narrow, dark),
        cabinet("right", p.gap_x[1], y0, p.right, dark),
        cabinet("middle", x0, y1, p.middle, light, 90),
        cabinet("end", x0, y1 - p.end, p.end, light, 90),
    ]
    corner, narrow, right, middle, end = s.cabinets
    corner.blind, corner.dz = 650.0, 0.2
    narrow.dz, narrow.tilt_w = p.low, 0.4
    right.doors, right.top, right.sag, right.dz = 2, "open", 0.6, -0.1
    middle.doors, middle.dz = 2, 0.1
    end.doors, end.top, end.dz, (end.tilt_w, end.tilt_d) = 2, "open", p.end_dz, p.end_tilt


def _sheets(s: Scene, p: KitchenPlan, printer: Printer) -> None:
    """Twelve sheets lie about; two are held flush with the panel at the range gap, two are butted against the tall panel."""
    lay = [  # sheet, cabinet, share of the width, distance from the back, turn, on thick board
        ("S01", "corner", 0.171, 133, 4, False), ("S02", "corner", 0.531, 138, -5, False),
        ("S03", "corner", 0.786, 445, 3, True), ("S04", "narrow", 0.5, 131, -6, False),
        ("S05", "narrow", 0.453, 448, 178, False), ("S06", "middle", 0.752, 154, 94, False),
        ("S07", "middle", 0.463, 441, 87, False), ("S08", "middle", 0.194, 151, 91, False),
        ("S09", "end", 0.80, 434, 93, True), ("S10", "end", 0.55, 154, -88, False),
        ("S11", "end", 0.222, 426, 95, False), ("S16", "right", 0.479, 298, 2, False),
    ]  # fmt: skip
    rng = np.random.default_rng(p.seed + 10)
    for target_id, on, share, v, rot, thick in lay:
        c = s.cabinet(on)
        x, y, _ = c.world(np.array([share * c.width, float(v), 0.0]))
        board = (p.thick_board if thick else p.board) + float(rng.normal(0, 0.03))
        s.sheets.append(printer.sheet(target_id, float(x), float(y), float(rot), on, board))
    side = s.cabinet("right").edge("left")
    gap_side = ((float(side[-1, 0]), float(side[-1, 1])), (float(side[0, 0]), float(side[0, 1])))  # sheets to its right
    for target_id, edge, along, gaps in (
        ("S12", gap_side, DEPTH_MM - 150, (0.12, 0.05)),
        ("S13", gap_side, 146.0, (0.06, 0.10)),
        ("S14", p.panel_line, 152.0, (0.04, 0.15)),
        ("S15", p.panel_line, 440.0, (0.11, 0.08)),
    ):
        s.sheets.append(butt(printer, target_id, s, "right", edge, along, p.board + float(rng.normal(0, 0.03)), gaps))


def add_bar(s: Scene, printer: Printer, at: tuple[float, float], turn_deg: float, length_20c: float, reading: float) -> None:
    """A square aluminium tube at 24 degC with a target glued to either end; ``reading`` is its length as somebody read it."""
    temperature_c, expansion_per_k = 24.0, 23.1e-6
    length = length_20c * (1 + expansion_per_k * (temperature_c - 20))
    a = np.radians(turn_deg)
    d, first, z = np.array([np.cos(a), np.sin(a)]), np.array(at), 0.6  # it rests on the cabinets' sides
    middle = first + d * length / 2
    size = [length + 70, 40.0, BAR_HEIGHT_MM]
    s.clutter.append(Clutter("box", float(middle[0]), float(middle[1]), turn_deg, size, z, "aluminium"))
    for target_id, end, rot in (("B01", first, turn_deg - 0.6), ("B02", first + d * length, turn_deg + 0.9)):
        sheet = printer.sheet(target_id, 0.0, 0.0, rot, None, 0.9, kind="bar_end")
        sheet.z = z + BAR_HEIGHT_MM
        # the centre of the pattern, not that of the paper, is the end of the known length
        off = [(sheet.region[k] + sheet.region[k + 2]) / 2 * sheet.scale[k] for k in (0, 1)]
        r = np.radians(rot)
        sheet.x = float(end[0] + np.cos(r) * off[0] - np.sin(r) * off[1])
        sheet.y = float(end[1] + np.sin(r) * off[0] + np.cos(r) * off[1])
        s.sheets.append(sheet)
    s.lengths.append(KnownLength("bar", "bar", ["B01", "B02"], reading, 0.10))


def tape_strips(s: Scene, printer: Printer, wall: str, pieces: list[str], start: float, end: float, seed: int) -> None:
    """Strip pieces evenly along a wall's arc length, in the order in which they are read from the room.

    Some are taped at their ends only and stand off the wall by 0.3 mm in the middle.
    """
    rng = np.random.default_rng(seed)
    starts = np.linspace(start, end - 268 * printer.feed, len(pieces))
    if s.wall(wall).side == "left":  # seen from the room such a wall runs towards its start
        starts = starts[::-1]
    for piece, s0 in zip(pieces, starts, strict=True):
        loose = float(rng.choice([0.0, 0.0, 0.3]))
        s.strips.append(printer.strip(piece, wall, float(s0), 0.2 + float(rng.normal(0, 0.05)), loose))


def strip_pieces(first: int, count: int) -> list[str]:
    """``count`` piece names from strip number ``first`` on."""
    return [f"W{first + k // 2:02d}{'ab'[k % 2]}" for k in range(count)]


def _strips(s: Scene, p: KitchenPlan, printer: Printer) -> None:
    """17 pieces: from the left wall's near end to the corner, then along the back wall to the tall panel."""
    tape_strips(s, printer, "left", strip_pieces(1, 7), 10.0, -p.left_end_y - 5.0, p.seed + 20)
    tape_strips(s, printer, "back", strip_pieces(5, 10), 10.0, p.panel_line[0][0] - 7.0, p.seed + 30)


def _clutter(s: Scene, p: KitchenPlan) -> None:
    (xa, ya), (xb, yb) = p.panel_line
    turn = float(np.degrees(np.arctan2(xb - xa, ya - yb)))
    out = 12.5 * np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    x, y = (xa + xb) / 2 + float(out[0]), (ya + yb) / 2 + float(out[1])
    r = p.gap_x[1]
    s.clutter += [
        Clutter("box", x, y, turn, [25, 650, 2100], -876, p.finish_back),
        Clutter("cup", 655, -70, 40, [82, 82, 95], Z_ON_BOARD_MM, "ceramic"),
        Clutter("hammer", 300, -1395, 62, z=0.0),
        Clutter("tape", 330, -700, 20, z=0.0),
        Clutter("box", 190, -2045, 12, [180, 130, 85], 0.0, "cardboard"),
        Clutter("pencil", 560, -1250, 80, z=0.5),
        Clutter("level", r + 578, -306, 90, [560, 24, 50], 0.3),
        Clutter("pencil", r + 291, -520, 10, z=0.3),
        Clutter("cup", r + 381, -95, -60, [76, 76, 88], 0.5, "blue"),
        Clutter("cylinder", p.gap_x[0] - 406, -250, 0, [60, 60, 100], 0.3, "yellow"),
    ]


def wall_edge(s: Scene, wall: str, edge_id: str, reach: float, strips: list[str]) -> TrueEdge:
    """The true profile of a wall from its start to arc length ``reach``, at the height of a counter."""
    w = s.wall(wall)
    pts, nrm = w.line()
    arc = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(pts, axis=0), axis=1))])
    pts = pts + nrm * (w.lean_mm_per_m * COUNTER_Z_MM / 1000)
    s_end = min(reach, float(arc[-1]))
    last = [np.interp(s_end, arc, pts[:, k]) for k in (0, 1)]
    line = [[float(x), float(y), COUNTER_Z_MM] for x, y in [*pts[arc < s_end - 1e-6], last]]
    return TrueEdge(edge_id, "wall", line, shape="profile", source="strip", targets=strips)


def _outline(s: Scene, p: KitchenPlan) -> None:
    c = {k.id: k for k in s.cabinets}
    inner_x, inner_y = float(c["middle"].edge("front")[0, 0]), float(c["corner"].edge("front")[0, 1])
    corner_front, middle_front = c["corner"].edge("front", 60), c["middle"].edge("front", 60)
    corner_front = corner_front[corner_front[:, 0] >= inner_x]  # the rest is hidden behind the neighbour
    middle_front = middle_front[middle_front[:, 1] <= inner_y]
    (xa, ya), (xb, yb) = p.panel_line
    at_front = xa + (xb - xa) * (inner_y - ya) / (yb - ya)
    s.outline = [
        wall_edge(s, "left", "wall-left", -p.left_end_y + 40, ["W01", "W02", "W03", "W04"]),
        TrueEdge("end-left", "end", c["end"].edge("left").tolist()),
        TrueEdge("front-left", "front", np.vstack([c["end"].edge("front"), middle_front]).tolist()),
        TrueEdge("front-back", "front", np.vstack([corner_front, c["narrow"].edge("front")]).tolist()),
        TrueEdge("gap-left", "end", c["narrow"].edge("right").tolist()),
        wall_edge(s, "back", "wall-back", xa + 40, ["W05", "W06", "W07", "W08", "W09"]),
        TrueEdge("gap-right", "end", c["right"].edge("left").tolist(), source="contact", targets=["S12", "S13"]),
        TrueEdge("front-right", "front", c["right"].edge("front").tolist(), drawn_on="S16"),
        TrueEdge(
            "panel-right", "panel", resample([[xa, ya, 0.0], [at_front, inner_y, 0.0]], 5).tolist(),
            source="contact", targets=["S14", "S15"],
        ),
    ]  # fmt: skip
    s.loops = {
        "left run": ["wall-left", "end-left", "front-left", "front-back", "gap-left", "wall-back"],
        "right run": ["gap-right", "front-right", "panel-right", "wall-back"],
    }


def _cameras(s: Scene, p: KitchenPlan) -> None:
    """Twelve photos by somebody of middle height, three of them with the phone upright."""
    views = [  # from, to, roll
        ((820, -1500, 1150), (720, -330, 0), 2), ((1350, -1350, 1050), (1230, -290, 0), -2),
        ((1880, -1650, 1230), (1850, -330, 0), 2), ((2430, -1450, 1080), (2330, -310, 0), 1),
        ((2800, -1150, 980), (2430, -330, 0), -4), ((2250, -1180, 1280), (2600, -340, 0), 88),
        ((1380, -1150, 1150), (400, -870, 0), -3), ((1600, -1950, 1120), (370, -1600, 0), 92),
        ((1250, -2250, 930), (330, -1720, 0), 3), ((1880, -2080, 1400), (860, -850, 0), -1),
        ((1150, -1250, 1400), (420, -480, 0), -89), ((820, -2750, 1080), (390, -1650, 0), 1),
    ]  # fmt: skip
    for i, (eye, target, roll) in enumerate(views):
        rng = np.random.default_rng([p.seed, i])
        moved = [float(v + d) for v, d in zip(eye, rng.normal(0, p.sway, 3), strict=True)]
        s.cameras.append(p.phone.photo(i, moved, [float(v) for v in target], float(roll), rng))
