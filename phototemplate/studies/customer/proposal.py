"""A customer's photos read by the program: an ``estimate.toml`` in which a person only has to correct.

Known things are found in every photo; in the photo that shows most of it the outline of the top is followed around one of
them, its corners are moved onto their edges and carried over to the other photos. What nobody has looked at is marked as
proposed and said on the quote.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import cv2
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
from phototemplate.studies.customer.matched_plane import plane_homography
from phototemplate.studies.customer.top_outline import ProposedOutline, propose_outline
from phototemplate.studies.estimate_file import EstimateFile, KnownClicks, PhotoClicks, RunClicks, RunEdge
from phototemplate.studies.known_sizes import KNOWN_SIZES


def propose_clicks(
    photos: Sequence[PhotoMeta], paper: str, progress: Progress = quiet, store: PhotoStore | None = None
) -> EstimateFile:
    """Find known things and the top's corners in a customer's photos; ``paper`` is A4 or Letter, what is usual there."""
    store = store or PhotoStore(photos)
    found: dict[str, list[FoundThing]] = {}
    for k, meta in enumerate(photos):
        found[meta.photo_id] = [t for t in find_things(store.gray(meta.photo_id), meta, paper) if t.sure >= c.SURE]
        progress("known things", (k + 1) / (len(photos) + 1))
    found = _agreed(found)
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
    return file


def _agreed(found: dict[str, list[FoundThing]]) -> dict[str, list[FoundThing]]:
    """A customer lays one sheet or card: what is seen in several photos is of the kind that suits all of them."""
    together: dict[str, float] = {}
    plain = [t for things in found.values() for t in things if not t.target_id]
    for name in {n for t in plain for n, _ in t.kinds}:
        together[name] = sum(math.log(max(dict(t.kinds).get(name, 0.0), c.NAMED)) for t in plain)
    if not together:
        return found
    best = max(together, key=lambda name: together[name])

    def as_best(t: FoundThing) -> FoundThing:
        return replace(t, size=KNOWN_SIZES[best.lower()]) if not t.target_id and best in dict(t.kinds) else t

    return {p: [as_best(t) for t in things] for p, things in found.items()}


def carry_over(file: EstimateFile, photos: Sequence[PhotoMeta], store: PhotoStore) -> EstimateFile:
    """Corners that are clicked in some photos, found in the others; those that are seen there are added as proposed.

    Nothing is added where the clicks so far do not fit together.
    """
    by_name = {m.path.name: m for m in photos}
    out = _matched(file, by_name, store)
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


def _matched(file: EstimateFile, by_name: Mapping[str, PhotoMeta], store: PhotoStore) -> list[PhotoClicks]:
    """The photos with corners added to those that show no known thing and too few clicks to be joined: where the top's surface
    says that they are, and two edges are seen there."""
    out = list(file.photos)
    for i, p in enumerate(out):
        if p.known or len(p.points) >= c.JOINING_POINTS or p.file not in by_name:
            continue
        gray = store.gray(by_name[p.file].photo_id)
        for run in file.runs:
            source = max(out, key=lambda q: sum(n in q.points for n in run.corners))
            names = [n for n in run.corners if n in source.points]
            if len(names) < c.JOINING_POINTS + 1 or source.file == p.file:
                continue
            outline = np.array([source.points[n] for n in names])
            to_photo = plane_homography(store.gray(by_name[source.file].photo_id), outline, gray)
            if to_photo is None:
                continue
            where = dict(zip(names, cv2.perspectiveTransform(outline[None], to_photo)[0], strict=True))
            inside = {n: uv for n, uv in where.items() if np.all((uv > 0) & (uv < np.array(by_name[p.file].size_px) - 1))}
            seen = {}
            for n, uv in inside.items():
                k = run.corners.index(n)
                ends = [where[m] for m in (run.corners[k - 1], run.corners[(k + 1) % len(run.corners)]) if m in where]
                at = snapped(gray, uv, ends) if len(ends) == 2 else None
                if at is not None:
                    seen[n] = at
            out[i] = _with_points(out[i], seen)
    return out


def fitted(file: EstimateFile, photos: Sequence[PhotoMeta], store: PhotoStore) -> ClickedPlan:
    """The clicks of a file solved. Raises as ``fit_clicked`` does."""
    clicked = file.clicked({m.photo_id: m for m in photos}, store.gray)
    return fit_clicked(clicked, file.tape_lengths(), file.loops())


def _outline(meta: PhotoMeta, store: PhotoStore, things: Sequence[FoundThing]) -> ProposedOutline | None:
    rgb = read_rgb(meta, 2 * c.SURFACE_SIDE_PX)
    papers = [t.paper_px for t in things]
    for k, thing in enumerate(things):
        made = propose_outline(rgb, meta, thing.size, thing.corners_px, [papers[k], *papers[:k], *papers[k + 1 :]])
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
    maybe = {name: round(p, 3) for name, p in thing.kinds}
    return KnownClicks(kind=thing.size.name, corners=corners, maybe=maybe if len(maybe) > 1 else {})


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
