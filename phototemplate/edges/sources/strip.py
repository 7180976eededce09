"""Source ``strip``: a wall strip taped along the wall, whose targets are points of the wall.

Each target is a point in space of its own, so the strip shows the wall's bow and the mud in its corners. The wall lies
behind the print by the thickness of paper and tape. A piece may stand off as a whole, and its middle may bulge off the wall
between its taped ends; both are influences of each piece (settings ``strip_standoff_u_mm``, ``strip_bulge_u_mm``), and what
its neighbours and the wall's smoothness say about them is left to the fit. Where a strip has come loose it stands in front of
the wall by more; nothing in the photos can tell that from a bulge of the wall, except at the strip's own edges and joints.
Single wrong points (a sighting gone astray, which two photos cannot show) do stand out from their neighbours and are left out.
"""

from __future__ import annotations

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.constants import (
    ALONE,
    BELIEVED_PHOTOS,
    END_FACTOR,
    SHARP_FACTOR,
    SHARP_MM,
    STEADY_FACTOR,
    TAPED_ENDS,
)
from phototemplate.edges.sources.hints import lost
from phototemplate.edges.sources.result import Found
from phototemplate.errors import Finding
from phototemplate.model import Array, BoolArray, EdgeHint, FreePoint, IntArray, PlanePoints, Target, TypeB
from phototemplate.network import workplane
from phototemplate.settings import EdgeSettings

NAME = "strip"
THICKNESS = "strip thickness"
STANDING_OFF = "strip standing off"


def type_b_terms(hint: EdgeHint, settings: EdgeSettings) -> tuple[TypeB, ...]:
    """Paper and tape between print and wall, the same for all strips of a job, how far each piece stands off by itself, and
    how far its middle bulges."""
    terms = [TypeB(THICKNESS, "strip thickness", settings.strip_thickness_u_mm)]
    for name in hint.targets:
        pieces = [name] if name[-1].isalpha() else [name + letter for letter in "ab"]
        terms += [TypeB(f"strip:{piece}", STANDING_OFF, settings.strip_standoff_u_mm) for piece in pieces]
        terms += [TypeB(f"bulge:{piece}", STANDING_OFF, settings.strip_bulge_u_mm) for piece in pieces]
    return tuple(terms)


def measure(scene: Scene, hint: EdgeHint) -> Found:
    """Points of the wall behind the hint's strips, in order along it."""
    settings = scene.settings
    # "W03" stands for all its pieces, "W03b" for one.
    mine = [p for p in scene.network.points if p.target_id.startswith(hint.targets)]
    missing = [t for t in hint.targets if not any(p.target_id.startswith(t) for p in mine)]
    findings = [
        Finding("strip-missing", hint.edge_id, strip=t) for t in missing
    ]
    if len(mine) < 3:
        return Found(None, (), (*findings, lost(hint, "few-strip-targets")))
    work, jac, cov = _in_work_frame(scene, mine)
    xy, order = _ordered(work[:, :2])
    toward = _toward_wall(scene, xy, work[order, 2])
    jac, cov, height = jac[order], cov[order], work[order, 2]
    off, keep = _steadiness(xy, toward, cov, settings)
    keep |= np.array([mine[k].n_photos >= BELIEVED_PHOTOS for k in order])
    for name in sorted({mine[order[k]].target_id for k in np.flatnonzero(~keep)}):
        worst = max(abs(off[k]) for k in np.flatnonzero(~keep) if mine[order[k]].target_id == name)
        findings.append(Finding("strip-loose", hint.edge_id, strip=name, off_mm=worst))
    shared = jac[:, :2].copy()
    column = scene.column.get(THICKNESS)
    if column is not None:
        shared[:, :, column] += toward
    for k, point in enumerate(mine[i] for i in order):
        bulge = arch(scene.network.targets[point.target_id], point.point_id)
        for name, share in ((f"strip:{point.target_id}", 1.0), (f"bulge:{point.target_id}", bulge)):
            own = scene.column.get(name)
            if own is not None:
                shared[k, :, own] += share * toward[k]
    u_height = np.sqrt(cov[:, 2, 2])
    points = PlanePoints(
        edge_id=hint.edge_id,
        source=NAME,
        xy_mm=(xy + settings.strip_thickness_mm * toward)[keep],
        height_mm=height[keep],
        noise_cov_mm2=cov[keep, :2, :2],
        shared_jac=shared[keep],
        height_u_mm=u_height[keep],
        n_photos=np.array([float(mine[k].n_photos) for k in order])[keep],
        findings=tuple(findings),
    )
    return Found(points, (), tuple(findings))


def arch(target: Target, point_id: int) -> float:
    """Share of a piece's bulge at one of its points: sin^2 from one taped end to the other (paper clamped at both ends buckles
    in the first mode: Timoshenko and Gere, Theory of Elastic Stability, 2.1)."""
    length = target.size_mm[0] or 1.2 * float(np.ptp(target.points_mm[:, 0]))
    return float(np.cos(np.pi * np.clip(target.points_mm[point_id, 0] / length, *TAPED_ENDS)) ** 2)


def _in_work_frame(scene: Scene, points: list[FreePoint]) -> tuple[Array, Array, Array]:
    """Points (N, 3), Jacobian (N, 3, K) and noise covariance (N, 3, 3) in the work frame."""
    world = np.array([p.xyz_mm for p in points])
    work, jac = workplane.to_work(scene.plane, world, np.array([p.shared_jac for p in points]))
    turn = scene.plane.rotation
    cov = np.array([turn @ p.noise_cov_mm2 @ turn.T for p in points])
    return work, jac, cov


def _ordered(xy: Array) -> tuple[Array, IntArray]:
    """Points in order along the wall, and the order: by the main direction, then from neighbour to neighbour.

    The second pass follows a wall that turns; each step goes to the nearest point not yet passed.
    """
    centre = xy - xy.mean(axis=0)
    first = int(np.argmin(centre @ np.linalg.svd(centre)[2][0]))
    left = np.ones(len(xy), dtype=bool)
    order = [first]
    left[first] = False
    while left.any():
        distance = np.where(left, np.linalg.norm(xy - xy[order[-1]], axis=1), np.inf)
        order.append(int(np.argmin(distance)))
        left[order[-1]] = False
    index = np.array(order)
    return xy[index], index


def _toward_wall(scene: Scene, xy: Array, height: Array) -> Array:
    """(N, 2) unit vectors in plan, perpendicular to the run of the points, away from the cameras that saw them."""
    count = len(xy)
    reach = 60.0
    tangent = np.empty_like(xy)
    for k in range(count):
        near = np.linalg.norm(xy - xy[k], axis=1) < reach
        if near.sum() < 3:
            near = np.zeros(count, dtype=bool)
            near[max(0, k - 2) : k + 3] = True
        offset = xy[near] - xy[near].mean(axis=0)
        tangent[k] = np.linalg.svd(offset)[2][0]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    vote = np.zeros(count)
    xyz = np.column_stack([xy, height])
    for photo_id in scene.network.photos:
        inside = scene.see(photo_id, xyz).inside
        vote += np.where(inside, np.sign(((scene.eye_mm(photo_id)[:2] - xy) * normal).sum(axis=1)), 0.0)
    side = np.where(vote == 0, 1.0 if vote.sum() >= 0 else -1.0, np.sign(vote))
    return np.asarray(-normal * side[:, None])


def _steadiness(xy: Array, toward: Array, cov: Array, settings: EdgeSettings) -> tuple[Array, BoolArray]:
    """Distance (N,) of each point from a robust quadratic through its neighbours, and whether it is believed.

    A stray point stands off alone. Mud that swells a corner departs from any quadratic too, but its neighbours do likewise, and
    at the end of a wall, where the quadratic is run on, by as much as a stray point would. So a point is believed that stands
    off less than :data:`ALONE` times as far as its neighbours, and where neighbours lie on one side only :data:`END_FACTOR`
    times as much is allowed.
    """
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))]
    sigma = np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", toward, cov[:, :2, :2], toward), 1e-6))
    off = np.zeros(len(xy))
    factor = np.ones(len(xy))
    sharp = sigma < max(SHARP_FACTOR * float(np.median(sigma)), SHARP_MM)
    for k in range(len(xy)):
        inside = np.abs(along - along[k]) < settings.strip_window_mm
        inside[max(0, k - 4) : k + 5] = True
        near = np.flatnonzero(inside)
        if len(near) < 6:
            continue
        if min(np.count_nonzero(sharp[near[near < k]]), np.count_nonzero(sharp[near[near > k]])) < 2:
            factor[k] = END_FACTOR
        x = (along[near] - along[k]) / settings.strip_window_mm
        y = (xy[near] - xy[k]) @ toward[k]
        weight = np.where(near == k, 0.0, 1.0) / sigma[near] ** 2
        for _ in range(5):
            design = np.vander(x, 3)
            normal = design.T @ (weight[:, None] * design) + 1e-9 * np.eye(3)
            fit = np.linalg.solve(normal, design.T @ (weight * y))
            miss = np.abs(y - design @ fit)
            spread = MAD_TO_SD * float(np.median(miss)) + 0.05
            weight = np.where(near == k, 0.0, 1.0) / sigma[near] ** 2 / np.maximum(1.0, miss / (2 * spread)) ** 2
        off[k] = -fit[2]
    spread = MAD_TO_SD * float(np.median(np.abs(off))) + 0.05
    size = np.abs(off)
    beside = np.array([np.median(np.r_[size[max(0, k - 2) : k], size[k + 1 : k + 3]]) for k in range(len(xy))])
    allowed = factor * np.maximum(STEADY_FACTOR * np.maximum(spread, sigma), settings.strip_outlier_mm)
    return off, size < np.maximum(allowed, ALONE * beside)
