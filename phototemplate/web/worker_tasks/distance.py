"""Distance between any two things of the top view, with its uncertainty: corners, edges, and places just pointed at.

A place pointed at is the intersection of one photo's ray with the work plane. It carries the photo's own sensitivities
(pose, lens, sheets), the uncertainty of its height over the plane seen under its viewing angle, and that of pointing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from typing_extensions import TypedDict  # pydantic reads no other before Python 3.12

from phototemplate.errors import PhototemplateError
from phototemplate.job import DistanceSpec, PlaceSpec
from phototemplate.model import Array, Measurement
from phototemplate.network import projection, workplane
from phototemplate.progress import Progress
from phototemplate.template.gradients import Vec, vec
from phototemplate.template.quantities import State
from phototemplate.web.constants import (
    BUDGET_LINES,
    BUDGET_SHARE,
    HEIGHT_U_MM,
    POINTING_MARGIN_PX,
    POINTING_PX,
)
from phototemplate.web.refusals import Refused, words_of
from phototemplate.web.worker_tasks.photo_places import Pair, photos_showing, scene_of


class AskedPlace(TypedDict, total=False):
    """A place as the page names it: a corner of a loop, a place on an edge, or a place alone."""

    xy: Pair
    edge: str
    loop: str
    corner: int


@dataclass
class Spot:
    """A place of the plan with everything it depends on."""

    point: Vec
    """Plan frame, with gradient over the outline's state"""
    direct: Array
    """(2, K) sensitivity to the influences beyond those through the state"""
    noise: Array
    """(2, 2) its own noise"""
    edge_id: str = ""
    """Edge to which distances are taken normal"""


def kept_distances(memory: Any, tell: Progress, specs: Sequence[DistanceSpec]) -> list[dict[str, Any]]:
    """The distances of the job file as they are now; where one cannot be told any more, why."""
    out = []
    for spec in specs:
        try:
            a, b = (_place(memory.measured(), place) for place in (spec.a, spec.b))
            answer = distance(memory, tell, a, b, spec.pointing)
        except PhototemplateError as exc:
            answer = {"trouble": words_of(exc)}
        out.append({"id": spec.id, "from": _words(spec.a), "to": _words(spec.b), **answer})
    return out


def _words(place: PlaceSpec) -> dict[str, Any]:
    return place.model_dump(include={"loop", "corner", "edge"}, exclude_none=True)


def _place(m: Measurement, place: PlaceSpec) -> AskedPlace:
    """A place of the job file as :func:`distance` takes it. Raises ``Refused`` where its sheet is not there."""
    if place.loop is not None:
        return {"loop": place.loop, "corner": place.corner}
    assert place.sheet is not None, "checked by the job file"
    assert place.at is not None, "checked by the job file"
    if place.sheet not in m.network.bodies:
        raise Refused("gone", name=place.sheet)
    world = projection.body_points(m.network, place.sheet, np.array([[*place.at, 0.0]])).xyz_mm
    xy = workplane.to_work(m.work_plane, world)[0][0, :2].tolist()
    return {"xy": xy} if place.edge is None else {"edge": place.edge, "xy": xy}


def distance(memory: Any, tell: Progress, a: AskedPlace, b: AskedPlace, mm_per_px: float = 1.0) -> dict[str, Any]:
    """Distance between two things: ``{"xy": [x, y]}`` (work frame), ``{"loop", "corner"}`` or ``{"edge", "xy"}``.

    Between edges: from the place on the first, normal to the second. Raises ``InputError`` (or ``Refused``) for what does not
    exist.
    """
    m = memory.measured()
    state = State(m.outline)
    first, second = (_spot(memory, tell, m, state, one, mm_per_px) for one in (a, b))
    k = m.outline.influences.size
    free = [s for s in (first, second) if not s.edge_id]
    if first.edge_id and second.edge_id and first.edge_id == second.edge_id:
        raise Refused("same-edge")
    if len(free) == 2:
        away = second.point - first.point
        if not np.any(away.xy):
            raise Refused("same-place")
        value = away.norm()
        n = away.xy / max(value.value, 1e-9)
        direct = n @ second.direct - n @ first.direct
        own = float(n @ (first.noise + second.noise) @ n)
        foot = second.point.xy
    else:
        # normal to an edge: of two edges the second, else the one there is
        line = second if second.edge_id else first
        other = first if second.edge_id else second
        curve = state.curve(line.edge_id)
        side = curve.side(other.point)
        value = abs(side)
        n = curve.side_at(other.point.xy)[1] * (1.0 if side.value >= 0 else -1.0)
        direct = n @ other.direct
        own = float(n @ other.noise @ n)
        foot = curve.foot(other.point).xy
        if line is first:
            first, second = second, first
    g = value.gradient(state.size)
    shared = g @ m.outline.shared_jac + direct if state.size else direct
    variances = {cause: float(shared @ part @ shared) for cause, part in m.outline.influences.parts.items()} if k else {}
    variances["@edges"] = float(g @ m.outline.noise_cov_mm2 @ g) if state.size else 0.0
    variances["@pointing"] = own
    u = float(np.sqrt(max(sum(variances.values()), 0.0)))
    back = np.linalg.inv(m.outline.plan_from_work)
    ends = [back[:2, :2] @ p + back[:2, 2] for p in (first.point.xy, foot)]
    budget = sorted(((c, float(np.sqrt(max(v, 0.0)))) for c, v in variances.items()), key=lambda i: -i[1])
    if m.network.quality.withheld:
        u, budget = math.nan, []
    return {
        "value": value.value, "U": None if math.isnan(u) else 2 * u,
        "ends": [[float(x) for x in e] for e in ends], "unscaled": m.outline.unscaled,
        "budget": [[c, x] for c, x in budget if x > BUDGET_SHARE * max(u, 1e-9)][:BUDGET_LINES],
    }


def _spot(memory: Any, tell: Progress, m: Measurement, state: State, one: AskedPlace, mm_per_px: float) -> Spot:
    k = m.outline.influences.size
    nothing, still = np.zeros((2, k)), np.zeros((2, 2))
    if "corner" in one and "loop" in one:
        return Spot(state.corner(one["loop"], one["corner"]), nothing, still)
    xy = one.get("xy", [])
    if len(xy) != 2 or not np.all(np.isfinite(xy)):
        raise Refused("bad-place")
    turn, shift = m.outline.plan_from_work[:2, :2], m.outline.plan_from_work[:2, 2]
    if "edge" in one:
        edge_id = one["edge"]
        return Spot(state.curve(edge_id).foot(vec(turn @ np.array(xy) + shift)), nothing, still, edge_id)
    seen = photos_showing(memory, tell, xy, most=1, margin_px=POINTING_MARGIN_PX)
    if not seen:
        raise Refused("not-in-photos")
    direct, noise = _pointed_at(m, seen[0], xy, mm_per_px)
    return Spot(vec(turn @ np.array(xy) + shift), turn @ direct, turn @ noise @ turn.T)


def _pointed_at(m: Measurement, seen: dict[str, Any], xy: list[float], mm_per_px: float) -> tuple[Array, Array]:
    """(2, K) sensitivities and (2, 2) noise of a place pointed at in the picture of one photo, work frame.

    uv(xy, influences) is fixed by pointing, so d xy = -(d uv/d xy)^-1 (d uv/d influences + d uv/d z dz).
    """
    scene = scene_of(m)
    spot = np.array([[*xy, 0.0]])
    photo = seen["photo"]
    view = scene.see(photo, spot)
    inverse = np.linalg.inv(view.d_work[0, :, :2])
    rows = np.vstack([scene.sensitivity(photo, spot, np.array([row])) for row in ([1.0, 0.0], [0.0, 1.0])])
    k = m.outline.influences.size
    full = np.zeros((2, k))
    full[:, : rows.shape[1]] = rows[:, :k]
    by_height = inverse @ view.d_work[0, :, 2]
    pointing = inverse @ inverse.T * POINTING_PX**2 + np.eye(2) * (POINTING_PX * mm_per_px) ** 2
    return -inverse @ full, pointing + HEIGHT_U_MM**2 * np.outer(by_height, by_height)
