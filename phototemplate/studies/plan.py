"""How many photos, from where, for a wanted U: predicted before anybody drives out.

A sketch (lengths of the runs, depth, number of sheets) is laid out with sheets and photos; the sightings that those photos
would give are computed and handed to the adjustment itself, so the predicted covariance is the engine's own. The phone is one
as most are: it moves its lens for every photo, breathes, and reads its rows one after the other in a hand that is not quite
still (:mod:`phototemplate.network.photo_camera`). The lengths that the page asks for are given as a job gives them, an edge
moves in every photo as the settings of the measuring say, and is as well defined as results found edges to be. The U of a
run's length is that of the distance between its two ends, each located by the photos that see it.
"""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from phototemplate.atomic import write_bytes_atomic
from phototemplate.capture import design
from phototemplate.constants import USUAL_U_MM
from phototemplate.errors import InputError, PhototemplateError
from phototemplate.model import Array, BodyPose, Camera, Influences, Network, PhotoMeta, PhotoPose, Sightings, Target
from phototemplate.model.network import EXPOSURE
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import Bar, KnownLength, LengthEnd, Tape
from phototemplate.network.adjustment.pseudo_observations import CENTRE
from phototemplate.network.adjustment.variance_components import COMPONENTS
from phototemplate.network.further_photo import FurtherPhotos, looking
from phototemplate.network.projection import project
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import exp_rotation
from phototemplate.output.constants import PT_PER_MM
from phototemplate.output.paper import BOLD, PaperMapping, draw_items, new_canvas, paper_size, text_at
from phototemplate.settings import EdgeSettings
from phototemplate.studies.constants import (
    BAR_SHORT,
    BAR_THICK_MM,
    CLEAR_OF_FRONT_MM,
    COUNTS_TRIED,
    CROSSED,
    EDGE_DEFINITION_U_MM,
    FULL_FRAME_DIAGONAL_MM,
    LEAST_FORESHORTENING,
    LEAST_SHEETS,
    MOST_RUNS,
    PAPER_MM,
    PLANNED_FOCAL_SHARE,
    PLANNED_SIZE_PX,
    RING_APART,
    RING_DISTANCES,
    SHEET_EVERY_MM,
    SHEET_HALF_MM,
    SIGHTING_U_PX,
    STEP_BACK,
    STEP_BACK_MM,
    STILL_HELPS,
)
from phototemplate.template.drawing import Circle, Drawing, Item, Line, Polyline, Text
from phototemplate.units import format_length

_BAR_ENDS = design.bar_end_ids()[:2]


@dataclass(frozen=True)
class Sketch:
    """What is known before the visit; mm."""

    runs_mm: tuple[float, ...]
    """One: straight; two: an L, the second run going into the room at the right end; three: a U, the third at the left end"""
    depth_mm: float = 610.0
    sheets: int = 0
    """0: one about every 600 mm"""
    bar_mm: float | None = None
    """Length of a bar with two targets, beside the tape length between the outermost sheets; left out: the tape length alone"""
    bar_u_mm: float = USUAL_U_MM["bar"]
    """Standard uncertainty of the bar's length"""


@dataclass(frozen=True)
class Standpoint:
    """Where to take one photo from."""

    eye_mm: Array
    aim_mm: Array
    upright: bool


@dataclass(frozen=True)
class Plan:
    """Predicted for one number of photos."""

    sketch: Sketch
    standpoints: tuple[Standpoint, ...]
    sheets_mm: Array
    """(n, 2) centres"""
    run_U_mm: tuple[float, ...]
    """Of every run's length, k = 2"""
    trouble: str = ""
    better: tuple[tuple[str, float], ...] = ()
    """(what else would help, the worst U then in mm), where more photos no longer do"""

    @property
    def worst_U_mm(self) -> float:
        return max(self.run_U_mm, default=math.inf)


def run_frames(sketch: Sketch) -> list[tuple[Array, Array, Array]]:
    """Start at the wall, direction along the run and direction into the room, of every run."""
    first = sketch.runs_mm[0]
    frames = [(np.zeros(2), np.array([1.0, 0.0]), np.array([0.0, -1.0]))]
    if len(sketch.runs_mm) > 1:
        frames.append((np.array([first, 0.0]), np.array([0.0, -1.0]), np.array([-1.0, 0.0])))
    if len(sketch.runs_mm) > 2:
        frames.append((np.array([0.0, 0.0]), np.array([0.0, -1.0]), np.array([1.0, 0.0])))
    return frames


def plan(sketch: Sketch, wanted_U_mm: float) -> tuple[Plan, tuple[Plan, ...]]:
    """The smallest number of photos that reaches the wanted U (or the best tried), and all that were tried.

    Raises ``InputError`` for a sketch that cannot be.
    """
    if not 1 <= len(sketch.runs_mm) <= MOST_RUNS:
        raise InputError(f"A sketch has one, two or three runs, not {len(sketch.runs_mm)}; plan larger kitchens in parts.")
    if min(sketch.runs_mm) < 300 or max(sketch.runs_mm) > 12000 or not 200 <= sketch.depth_mm <= 2000:
        raise InputError("Runs are 300 mm to 12 m long and 200 mm to 2 m deep here; check the unit of the lengths.")
    if sketch.sheets and sketch.sheets < 3:
        raise InputError("Fewer than three sheets do not hold the photos together; lay three or more.")
    if sketch.bar_mm is not None and not 0 < sketch.bar_mm <= max(sketch.runs_mm):
        raise InputError(f"A bar of {sketch.bar_mm:.0f} mm does not lie on the longest run; give one no longer than it.")
    if not wanted_U_mm > 0:
        raise InputError("The wanted U must be larger than nothing.")
    tried: list[Plan] = []
    for count in COUNTS_TRIED:
        tried.append(predict(sketch, count))
        if tried[-1].worst_U_mm <= wanted_U_mm or _no_longer_helps(tried):
            break
    if tried[-1].worst_U_mm <= wanted_U_mm:
        return tried[-1], tuple(tried)
    least = min(p.worst_U_mm for p in tried)
    best = next(p for p in tried if not p.worst_U_mm > least / STILL_HELPS)
    return replace(best, better=_what_helps(best)), tuple(tried)


def _no_longer_helps(tried: Sequence[Plan]) -> bool:
    """The last two steps gained next to nothing."""
    last = [p.worst_U_mm for p in tried[-3:]]
    return len(last) == 3 and math.isfinite(last[0]) and min(last[1:]) > STILL_HELPS * last[0]


def _what_helps(best: Plan) -> tuple[tuple[str, float], ...]:
    """What would help besides photos, the most helpful first: a surer length, more sheets."""
    sketch, count = best.sketch, len(best.standpoints)
    longest = max(sketch.runs_mm)
    more = round(1.5 * len(best.sheets_mm))
    others = {f"half as many sheets again ({more})": replace(sketch, sheets=more)}
    if sketch.bar_mm is None or sketch.bar_mm < BAR_SHORT * longest:
        words = f"a bar of {format_length(longest, 'feet')} measured to {sketch.bar_u_mm:g} mm"
        others[words] = replace(sketch, bar_mm=longest)
    found = [(words, predict(other, count).worst_U_mm) for words, other in others.items()]
    return tuple(sorted((f for f in found if f[1] < STILL_HELPS * best.worst_U_mm), key=lambda f: f[1]))


def predict(sketch: Sketch, count: int) -> Plan:
    """Adjust the sightings that ``count`` photos of the sketch would give."""
    places = _sheets(sketch)
    standpoints = planned_standpoints(sketch, count)
    targets: dict[str, Target] = {}
    bodies: dict[str, BodyPose] = {}
    for k, (x, y) in enumerate(places):
        name = design.sheet_ids()[k]
        targets[name] = design.target(name)
        turn = exp_rotation(np.array([0.0, 0.0, 0.3 * (-1) ** k + (math.pi / 2 if k % 3 == 2 else 0.0)]))
        bodies[name] = BodyPose(name, turn, np.array([x, y, PAPER_MM]))
    for name, end in zip(_BAR_ENDS, _bar(sketch), strict=False):
        targets[name] = design.target(name)
        bodies[name] = BodyPose(name, np.eye(3), end)
    params = lens.start_params("brown", PLANNED_FOCAL_SHARE * PLANNED_SIZE_PX[0], PLANNED_SIZE_PX)
    truth = _network(params, standpoints, bodies, targets)
    further = FurtherPhotos(truth)
    sightings = {name: _seen(further, pose) for name, pose in truth.photos.items()}
    focal35 = params[0] * FULL_FRAME_DIAGONAL_MM / float(np.hypot(*PLANNED_SIZE_PX))
    metas = [PhotoMeta(p, Path(f"{p}.jpg"), PLANNED_SIZE_PX, camera_id="phone", focal35_mm=focal35) for p in truth.photos]
    try:
        network = adjust(sightings, metas, targets, _known_lengths(sketch, places, bodies))
    except PhototemplateError as exc:
        return Plan(sketch, standpoints, places, (), str(exc))
    out = []
    for (start, along, into), length in zip(run_frames(sketch), sketch.runs_mm, strict=True):
        edge = start + into * sketch.depth_mm
        out.append(_run_U(truth, network, edge, edge + along * length))
    return Plan(sketch, standpoints, places, tuple(out))


def _bar(sketch: Sketch) -> Array:
    """(2, 3) marks of the bar, in the middle of the longest run; (0, 3) without one."""
    if sketch.bar_mm is None:
        return np.zeros((0, 3))
    start, along, into = run_frames(sketch)[int(np.argmax(sketch.runs_mm))]
    middle = start + along * max(sketch.runs_mm) / 2 + into * sketch.depth_mm / 2
    return np.array([np.append(middle + s * along * sketch.bar_mm / 2, BAR_THICK_MM) for s in (-1.0, 1.0)])


def _known_lengths(sketch: Sketch, places: Array, bodies: Mapping[str, BodyPose]) -> list[KnownLength]:
    """The lengths that the page asks for, as a job gives them."""

    def between(a: str, b: str) -> float:
        return float(np.linalg.norm(bodies[a].translation_mm - bodies[b].translation_mm))

    a, b = (design.sheet_ids()[k] for k in _farthest(places))
    known: list[KnownLength] = [Tape("tape", LengthEnd(a), LengthEnd(b), between(a, b), USUAL_U_MM["tape"])]
    if sketch.bar_mm is not None:
        known.append(Bar("bar", LengthEnd(_BAR_ENDS[0]), LengthEnd(_BAR_ENDS[1]), sketch.bar_mm, sketch.bar_u_mm))
    return known


def _sheets(sketch: Sketch) -> Array:
    total = sum(sketch.runs_mm)
    wanted = sketch.sheets or max(math.ceil(total / SHEET_EVERY_MM), LEAST_SHEETS)
    out = []
    for k, ((start, along, into), length) in enumerate(zip(run_frames(sketch), sketch.runs_mm, strict=True)):
        free = length - (sketch.depth_mm if k else 0.0)  # the corner belongs to the first run
        begin = sketch.depth_mm if k else 0.0
        count = max(round(wanted * length / total), 2)
        for i in range(count):
            s = float(np.clip(begin + free * (i + 0.5) / count, begin + SHEET_HALF_MM, begin + free - SHEET_HALF_MM))
            out.append(start + along * s + into * sketch.depth_mm * (0.3 if i % 2 else 0.7))
    return np.array(out)[:60]


def planned_standpoints(sketch: Sketch, count: int) -> tuple[Standpoint, ...]:
    """Photos along the fronts, standing about a metre away, every fourth with the phone upright."""
    frames, total = run_frames(sketch), sum(sketch.runs_mm)
    shares = [max(round(count * length / total), 2) for length in sketch.runs_mm]
    while sum(shares) > count and max(shares) > 2:
        shares[int(np.argmax(shares))] -= 1
    out = []
    k = 0
    clear = sketch.depth_mm + CLEAR_OF_FRONT_MM  # nobody stands in a cabinet
    for r, ((start, along, into), length, n) in enumerate(zip(frames, sketch.runs_mm, shares, strict=True)):
        low = clear + 100.0 if r else (clear if len(frames) > 2 else -0.05 * length)
        high = length - clear if r == 0 and len(frames) > 1 else 1.05 * length
        low, high = (low, high) if low < high else ((low + high) / 2, (low + high) / 2)
        away = sketch.depth_mm + float(np.clip(STEP_BACK * length, *STEP_BACK_MM))
        for i in range(n):
            t = (i + 0.5) / n
            s, aim = low + (high - low) * t, length * (0.5 + 0.8 * (t - 0.5))
            eye = start + along * s + into * away
            at = start + along * aim + into * 0.45 * sketch.depth_mm
            out.append(Standpoint(np.append(eye, 850.0 + 350.0 * (k % 2)), np.append(at, 0.0), k % 4 == 3))
            k += 1
    return tuple(out)


def _network(
    params: Array, standpoints: Sequence[Standpoint], bodies: dict[str, BodyPose], targets: dict[str, Target]
) -> Network:
    camera = Camera("phone", "brown", PLANNED_SIZE_PX, params, np.zeros((params.size, params.size)), "planned")
    photos = {}
    exposures = _usual_exposures(len(standpoints))
    for k, v in enumerate(standpoints):
        # upright: the camera turned to the left
        pose = looking("phone", v.eye_mm, v.aim_mm, np.array([0.0, 0.0, 1.0]), -math.pi / 2 if v.upright else 0.0)
        assert pose is not None
        own = PhotoPose.with_exposure(f"photo {k + 1}", "phone", pose.rotation, pose.translation_mm, exposures[k])
        photos[own.photo_id] = own
    empty = Influences((), np.zeros((0, 0)), {})
    return Network({"phone": camera}, photos, bodies, (), targets, empty, (), (), True, 1.0, 0.0)


def _usual_exposures(count: int) -> Array:
    """(count, 9) what the exposures of a usual phone do to it, in the order of ``EXPOSURE``; the same for every call.

    Drawn and then brought to exactly the usual standard deviations, so that the adjustment's estimate of them, and with it the
    predicted U, does not depend on the draw.
    """
    usual = [c.usual * (PLANNED_SIZE_PX[0] if c.group == CENTRE else 1.0) for c in COMPONENTS]
    drawn = np.random.default_rng(0).normal(size=(count, len(EXPOSURE)))
    for component, sd in zip(COMPONENTS, usual, strict=True):
        part = drawn[:, component.places]
        part *= sd / max(float(np.sqrt(np.mean(part**2))), 1e-12)
    return drawn


def _seen(photos: FurtherPhotos, pose: PhotoPose) -> Sightings:
    """The sightings that a photo would give."""
    shown = photos.shown(pose)
    n = len(shown.uv_px)
    cov = np.eye(2) * SIGHTING_U_PX**2 / np.maximum(shown.cosine, LEAST_FORESHORTENING)[:, None, None]
    return Sightings(pose.photo_id, shown.target_ids, shown.point_ids, shown.uv_px, cov.reshape(n, 2, 2))


def _farthest(places: Array) -> tuple[int, int]:
    d = np.linalg.norm(places[:, None] - places, axis=2)
    a, b = np.unravel_index(int(np.argmax(d)), d.shape)
    return int(a), int(b)


def _run_U(truth: Network, network: Network, a: Array, b: Array) -> float:
    """U of the distance between two points of the plane as the adjusted photos would locate them, each on an edge that moves in
    every photo as the measuring takes edges to do; inf where fewer than two photos see one of them."""
    view_u_px = EdgeSettings().view_u_px
    names = sorted(network.bodies)
    ours = np.array([network.bodies[t].translation_mm for t in names])
    theirs = np.array([truth.bodies[t].translation_mm for t in names])
    u, _, vt = np.linalg.svd((theirs - theirs.mean(axis=0)).T @ (ours - ours.mean(axis=0)))
    turn = vt.T @ np.diag([1.0, 1.0, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
    located = []
    for p in (a, b):
        world = turn @ (np.append(p, 0.0) - theirs.mean(axis=0)) + ours.mean(axis=0)
        normal = np.zeros((3, 3))
        shared = np.zeros((3, network.influences.size))
        seen = 0
        for photo_id in network.photos:
            view = project(network, photo_id, world[None])
            uv = view.uv_px[0]
            if not np.all(np.isfinite(uv)) or np.any(uv < 5) or np.any(uv > np.array(PLANNED_SIZE_PX) - 6):
                continue
            seen += 1
            normal += view.d_xyz[0].T @ view.d_xyz[0] / view_u_px**2
            shared[:, view.columns] += view.d_xyz[0].T @ view.d_influences[0] / view_u_px**2
        if seen < 2:
            return math.inf
        noise = np.linalg.inv(normal)
        located.append((world, noise, -noise @ shared))
    (pa, na, ja), (pb, nb, jb) = located
    g = (pb - pa) / np.linalg.norm(pb - pa)
    jac = g @ (jb - ja)
    located_mm2 = max(float(jac @ network.influences.cov @ jac + g @ (na + nb) @ g), 0.0)
    return 2.0 * math.sqrt(located_mm2 + 2.0 * EDGE_DEFINITION_U_MM**2)


def plan_drawing(made: Plan) -> Drawing:
    """Runs, sheets and where to stand, seen from above."""
    sketch = made.sketch
    h = max(sketch.runs_mm) / 45.0
    items: list[Item] = []
    for k, ((start, along, into), length) in enumerate(zip(run_frames(sketch), sketch.runs_mm, strict=True)):
        box = [start, start + along * length, start + along * length + into * sketch.depth_mm, start + into * sketch.depth_mm]
        items.append(Polyline("FOUND-LINE", tuple((float(p[0]), float(p[1]), 0.0) for p in box), True, f"run {k + 1}"))
        at = start + along * length / 2 - into * 1.2 * h
        words = f"run {k + 1}: {format_length(length, 'feet')}"
        turn = math.pi / 2 if k else 0.0
        items.append(Text("FOUND-NAMES", (float(at[0]), float(at[1])), words, h, turn, "centre", "middle"))
    for k, (x, y) in enumerate(made.sheets_mm):
        w, d = 0.5 * 297.0, 0.5 * 190.0
        box4 = ((x - w, y - d, 0.0), (x + w, y - d, 0.0), (x + w, y + d, 0.0), (x - w, y + d, 0.0))
        items.append(Polyline("STONE-UNDERNEATH", tuple((float(a), float(b), 0.0) for a, b, _ in box4), True))
        items.append(Text("FOUND-NAMES", (float(x), float(y)), f"S{k + 1:02d}", 0.8 * h, 0.0, "centre", "middle"))
    items += _places_to_stand(made.standpoints, h)
    return Drawing("where to stand", tuple(items))


def _places_to_stand(standpoints: Sequence[Standpoint], h: float) -> list[Item]:
    """A dot where to stand, a stroke where to look, and behind it the photo's number in a ring, clear of all others; a double
    ring asks for the phone upright."""
    ring = 1.15 * h
    eyes = np.array([v.eye_mm[:2] for v in standpoints])
    tips = eyes + 0.25 * (np.array([v.aim_mm[:2] for v in standpoints]) - eyes)
    taken = [*eyes]
    strokes = [*zip(eyes, tips, strict=True)]
    items: list[Item] = []
    for k, v in enumerate(standpoints):
        eye, tip = eyes[k], tips[k]
        away = math.atan2(*(eye - tip)[::-1])
        spots = [
            (far * h, eye + far * h * np.array([math.cos(away + turn), math.sin(away + turn)]))
            for far in RING_DISTANCES for turn in np.linspace(-math.pi, math.pi, 12, endpoint=False)
        ]

        def cost(spot: tuple[float, Array], eye: Array = eye, tip: Array = tip) -> float:
            length, at = spot
            near = sum(float(np.linalg.norm(at - q)) < RING_APART * ring for q in taken if q is not eye)
            crossed = sum(_cross(eye, at, a, b) for a, b in strokes if a is not eye)
            covered = sum(_from_line(at, a, b) < ring for a, b in strokes)
            return length + CROSSED * h * (near + crossed + covered)

        _, at = min(spots, key=cost)
        strokes.append((eye, at))
        taken.append(at)
        edge = at + (eye - at) * ring / max(float(np.linalg.norm(eye - at)), 1e-9)
        items.append(Circle("FOUND-SIZES", _xy(eye), 0.3 * h))
        items.append(Line("FOUND-SIZES", _xy(eye), _xy(tip)))
        items.append(Line("FOUND-NAMES", _xy(eye), _xy(edge)))
        items.append(Circle("FOUND-SIZES", _xy(at), ring))
        if v.upright:
            items.append(Circle("FOUND-SIZES", _xy(at), 0.86 * ring))
        items.append(Text("FOUND-SIZES", _xy(at), f"{k + 1}", 0.9 * h, 0.0, "centre", "middle"))
    return items


def _cross(a: Array, b: Array, c: Array, d: Array) -> bool:
    """Whether two strokes cross."""

    def side(p: Array, q: Array, r: Array) -> float:
        return float((q - p)[0] * (r - p)[1] - (q - p)[1] * (r - p)[0])

    return side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0


def _from_line(p: Array, a: Array, b: Array) -> float:
    """Distance of a place from a stroke."""
    along = b - a
    s = float(np.clip((p - a) @ along / max(float(along @ along), 1e-9), 0.0, 1.0))
    return float(np.linalg.norm(p - a - s * along))


def _xy(p: Array) -> tuple[float, float]:
    return float(p[0]), float(p[1])


def instructions(made: Plan, wanted_U_mm: float) -> list[str]:
    """What to do, in order."""
    worst = made.worst_U_mm
    reached = f"U of every run's length would be {worst:.1f} mm or better"
    if worst > wanted_U_mm:
        helps = "; ".join(f"{words} would make it {U:.1f} mm" for words, U in made.better)
        reached = (
            f"{len(made.standpoints)} photos leave U at {worst:.1f} mm, and {wanted_U_mm:.1f} mm was wanted; more photos no "
            f"longer help. {helps[:1].upper() + helps[1:] or 'Measure in parts, each with a length of its own'}"
        )
    scale = "Measure the distance between the two outermost sheets, mark B to mark B, with a steel tape pulled tight."
    if made.sketch.bar_mm is not None:
        scale = f"Lay the bar of {made.sketch.bar_mm:.0f} mm flat on the longest run, where no sheet lies. {scale}"
    return [
        f"Lay {len(made.sheets_mm)} sheets as drawn, flat, none over a gap; they stay where they are until the last photo.",
        scale,
        f"Take {len(made.standpoints)} photos from the numbered places, about chin height, one higher and one lower in turn; "
        "hold the phone upright where the number has a double ring. Main camera, no zoom, no panorama, no portrait mode.",
        "Every photo shows three sheets or more, some of them near its corners, and two that the photo before it shows too: a "
        "phone moves its lens a little for every photo, and the sheets in it tell by how much.",
        f"{reached} (k = 2, predicted with the program's own adjustment).",
    ]


def write_plan(made: Plan, tried: Sequence[Plan], wanted_U_mm: float, path: Path, paper: str = "Letter") -> Path:
    """One printable page. Raises ``OutputError``; the earlier file stays."""
    width, height = paper_size(paper)
    stream = io.BytesIO()
    canvas = new_canvas(stream, "where to take the photos")
    canvas.setPageSize((width * PT_PER_MM, height * PT_PER_MM))
    y = height - 20.0
    text_at(canvas, 18, y, f"{len(made.standpoints)} photos, {len(made.sheets_mm)} sheets", 16, BOLD)
    y -= 9
    for k, sentence in enumerate(instructions(made, wanted_U_mm)):
        for line in textwrap.wrap(f"{k + 1}. {sentence}", 105):
            text_at(canvas, 18, y, line, 9.5)
            y -= 4.8
    found = [f"{p.worst_U_mm:.1f} mm" if math.isfinite(p.worst_U_mm) else "not enough" for p in tried]
    row = "photos and U: " + ", ".join(f"{len(p.standpoints)}: {words}" for p, words in zip(tried, found, strict=True))
    text_at(canvas, 18, y - 1, row, 8.5)
    drawing = plan_drawing(made)
    x0, y0, x1, y1 = drawing.bounds()
    room_w, room_h = width - 36.0, y - 24.0
    scale = max((x1 - x0) / room_w, (y1 - y0) / room_h)
    draw_items(canvas, drawing.items, PaperMapping((x0, y0), (18.0, 14.0 + room_h - (y1 - y0) / scale), scale))
    canvas.showPage()
    canvas.save()
    write_bytes_atomic(path, stream.getvalue())
    return path
