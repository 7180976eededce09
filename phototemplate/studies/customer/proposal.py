"""A customer's photos read by the program: an ``estimate.toml`` in which a person only has to correct.

Known things are found in every photo; in the photo that shows most of it the outline of the top is followed around one of
them, its corners are moved onto their edges and carried over to the other photos. What nobody has looked at is marked as
proposed and said on the quote.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from phototemplate.capture.photos import read_rgb
from phototemplate.capture.store import PhotoStore
from phototemplate.errors import MeasureError
from phototemplate.model import Array, PhotoMeta
from phototemplate.progress import Progress, quiet
from phototemplate.studies.clicked import ClickedPlan, fit_clicked
from phototemplate.studies.customer import constants as c
from phototemplate.studies.customer.carried_over import carried_over, snapped
from phototemplate.studies.customer.found_things import FoundThing, find_things
from phototemplate.studies.customer.top_outline import ProposedOutline, propose_outline
from phototemplate.studies.estimate_file import EstimateFile, KnownClicks, PhotoClicks, RunClicks, RunEdge


@dataclass(frozen=True)
class Proposal:
    """What was found."""

    file: EstimateFile
    doubts: tuple[tuple[str, str, tuple[tuple[str, float], ...]], ...]
    """(photo file, thing, what else it may be) where that is not clear"""


def propose_clicks(
    photos: Sequence[PhotoMeta], paper: str, progress: Progress = quiet, store: PhotoStore | None = None
) -> Proposal:
    """Find known things and the top's corners in a customer's photos; ``paper`` is A4 or Letter, what is usual there."""
    store = store or PhotoStore(photos)
    found: dict[str, list[FoundThing]] = {}
    for k, meta in enumerate(photos):
        found[meta.photo_id] = [t for t in find_things(store.gray(meta.photo_id), meta, paper) if t.sure >= c.SURE]
        progress("known things", (k + 1) / (len(photos) + 1))
    outlines = {m.photo_id: _outline(m, store, found[m.photo_id]) for m in photos if found[m.photo_id]}
    clicks = {m.photo_id: PhotoClicks(file=m.path.name, known=[_clicks(t) for t in found[m.photo_id]]) for m in photos}
    runs: list[RunClicks] = []
    whole = {p: o for p, o in outlines.items() if o is not None and all(o.whole)}
    spans = {p: (len(o.corners_px), float(np.linalg.norm(np.ptp(o.corners_px, axis=0)))) for p, o in whole.items()}
    best = max(whole, key=lambda p: spans[p], default=None)
    if best is not None:
        run, corners = _run(whole[best])
        runs = [run]
        clicks[best] = _with_points(clicks[best], corners)
    file = EstimateFile(photos=[clicks[m.photo_id] for m in photos], runs=runs)
    if best is not None:
        file = carry_over(file, photos, store)
    progress("known things", 1.0)
    doubts = tuple(
        (m.path.name, t.name, t.kinds)
        for m in photos for t in found[m.photo_id] if len(t.kinds) > 1 and t.kinds[1][1] > c.DOUBTED
    )
    return Proposal(file, doubts)


def carry_over(file: EstimateFile, photos: Sequence[PhotoMeta], store: PhotoStore) -> EstimateFile:
    """Corners that are clicked in some photos, found in the others; those that are seen there are added as proposed.

    Nothing is added where the clicks so far do not fit together.
    """
    by_name = {m.path.name: m for m in photos}
    out = list(file.photos)
    for _ in range(2):  # the second time from a better fit
        now = file.model_copy(update={"photos": out})
        try:
            plan = fitted(now, photos, store)
        except MeasureError:
            return file
        fresh = []
        for p in out:
            meta = by_name[p.file]
            if meta.photo_id not in {q.meta.photo_id for q in plan.problem.photos}:
                fresh.append(p)
                continue
            new = carried_over(plan, meta.photo_id, file.loops(), partial(store.gray, meta.photo_id))
            fresh.append(_with_points(p, {n.name: n.uv_px for n in new if n.seen}))
        if [len(p.points) for p in fresh] == [len(p.points) for p in out]:
            break
        out = fresh
    return file.model_copy(update={"photos": out})


def fitted(file: EstimateFile, photos: Sequence[PhotoMeta], store: PhotoStore) -> ClickedPlan:
    """The clicks of a file solved. Raises as ``fit_clicked`` does."""
    clicked = file.clicked({m.photo_id: m for m in photos}, store.gray)
    return fit_clicked(clicked, file.tape_lengths(), file.loops())


def _outline(meta: PhotoMeta, store: PhotoStore, things: Sequence[FoundThing]) -> ProposedOutline | None:
    rgb = read_rgb(meta, 2 * c.SURFACE_SIDE_PX)
    for thing in things:
        made = propose_outline(rgb, meta, thing.size, thing.corners_px)
        if made is not None:
            moved = []
            gray = store.gray(meta.photo_id)
            n = len(made.corners_px)
            for k, uv in enumerate(made.corners_px):
                at = snapped(gray, uv, [made.corners_px[k - 1], made.corners_px[(k + 1) % n]]) if made.whole[k] else None
                moved.append(uv if at is None else at)
            return ProposedOutline(np.array(moved), made.plan_mm, made.whole, made.front)
    return None


def _clicks(thing: FoundThing) -> KnownClicks:
    corners = [(round(float(x), 2), round(float(y), 2)) for x, y in thing.corners_px]
    if thing.target_id:
        size = (thing.size.long_mm, thing.size.short_mm)
        return KnownClicks(name=thing.target_id, kind="target", size=size, corners=corners, refine=False)
    return KnownClicks(kind=thing.size.name, corners=corners)


def _with_points(clicks: PhotoClicks, points: dict[str, Array]) -> PhotoClicks:
    fresh = {n: (round(float(p[0]), 2), round(float(p[1]), 2)) for n, p in points.items() if n not in clicks.points}
    return clicks.model_copy(update={"points": clicks.points | fresh, "proposed": [*clicks.proposed, *fresh]})


def _run(outline: ProposedOutline) -> tuple[RunClicks, dict[str, Array]]:
    """Corners named anticlockwise from the left end of the longest front on; what looks at the camera is a front."""
    n = len(outline.corners_px)
    length = np.linalg.norm(np.roll(outline.plan_mm, -1, axis=0) - outline.plan_mm, axis=1)
    first = max(range(n), key=lambda k: (outline.front[k], float(length[k])))
    order = [(first + k) % n for k in range(n)]
    names = [f"c{k + 1}" for k in range(n)]
    edges, counted = [], {"front": 0, "wall": 0}
    for k in order:
        kind = "front" if outline.front[k] else "wall"
        counted[kind] += 1
        edges.append(RunEdge(id=f"{kind} {counted[kind]}", kind=kind))  # type: ignore[arg-type]
    run = RunClicks(id="top", corners=names, edges=edges)
    return run, {name: outline.corners_px[k] for name, k in zip(names, order, strict=True)}
