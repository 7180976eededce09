"""The plane of the cabinet tops, the frame fixed to the sheets, and the level map.

The work frame is a function of the sheets alone, so the datum of the adjustment cancels out of everything:

* z = 0 is a plane through the cabinet tops, that is through the corners of the sheets' patterns lowered by the thickness
  of paper and backing. A sheet on a low or high cabinet counts less, down to nothing, so it cannot pull the plane.
* In the plane the frame is tied to the same corners by inner constraints: their displacements have no mean and no mean
  rotation (Baarda's S-transformation; Granshaw, Photogrammetric Record 10 (1980) 181-207).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from phototemplate.errors import Finding, MeasureError
from phototemplate.model import Array, HeightPoint, Influences, Level, Network, TypeB, WorkPlane
from phototemplate.network.constants import LEAST_TRIANGLE, MOST_SLOPE, MOST_TRIPLES, PLANE_TOLERANCE
from phototemplate.network.levels import find_levels, level_findings
from phototemplate.network.projection import body_points
from phototemplate.numerics.least_squares import minimise
from phototemplate.numerics.rigid import skew
from phototemplate.settings import WorkPlaneSettings


def fit_work_plane(
    network: Network,
    cabinets: Mapping[str, Sequence[str]],
    thickness: float | Mapping[str, float],
    type_b: Sequence[TypeB] = (),
    settings: WorkPlaneSettings | None = None,
    named: Mapping[str, str] | None = None,
) -> WorkPlane:
    """Fit the work plane and make the level map.

    ``cabinets`` lists the sheets that lie on each cabinet; sheets not listed stand for themselves. ``thickness`` is
    that of paper and backing in mm, one value or one per sheet (missing sheets: 0). Type B terms named
    ``thickness:<sheet>`` move one sheet, ``thickness:sheet`` moves all; the others are only appended to the influences.
    ``named`` gives cabinets the name of the level they lie on; the others find theirs by height.
    Raises :class:`MeasureError` where no sheet lies on a cabinet.
    """
    settings = settings or WorkPlaneSettings()
    group_of = {t: cabinet for cabinet, members in cabinets.items() for t in members}
    ids = [t for t in network.bodies if t in group_of or network.targets[t].kind == "sheet"]
    if not ids:
        raise MeasureError(
            "No target sheet could be placed, so there is no plane of the cabinet tops; "
            "lay at least three printed sheets on the cabinets and photograph them again."
        )
    influences = append_type_b(network.influences, type_b)
    k = influences.size
    corners, jacs, centres = [], [], []
    for t in ids:
        local = network.targets[t].points_mm
        low, high = local.min(axis=0), local.max(axis=0)
        box = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
        points = body_points(network, t, np.column_stack([np.vstack([box, box.mean(axis=0)]), np.zeros(5)]))
        jac = np.zeros((4, 3, k))
        jac[:, :, points.columns] = points.d_influences[:4]
        corners.append(points.xyz_mm[:4])
        jacs.append(jac)
        centres.append(points.xyz_mm[4])
    xyz, centre = np.array(corners), np.array(centres)  # (n, 4, 3), (n, 3)
    jac_xyz = np.array(jacs)
    thick = np.array([thickness.get(t, 0.0) if isinstance(thickness, Mapping) else float(thickness) for t in ids])
    up = np.mean([network.bodies[t].rotation[:, 2] for t in ids], axis=0)

    normal, offset, weight = _robust_plane(xyz, centre, thick, up, settings)
    rotation = _axes(normal, centre, [network.bodies[t].rotation[:, 0] for t in ids])
    used = weight.max(axis=1) > 0
    translation = -rotation @ centre[used].mean(axis=0)
    translation[2] = -offset
    work_corner = xyz @ rotation.T + translation
    work_centre = centre @ rotation.T + translation

    # Derivatives: how the frame follows the influences
    by_corner = np.einsum("ij,ncjk->ncik", rotation, jac_xyz)
    by_height = by_corner[:, :, 2, :] - _thickness_columns(influences, ids)[:, None, :]
    motion = _frame_motion(work_corner, weight, by_height, by_corner)
    jac_frame = motion.copy()
    jac_frame[3:] += np.einsum("ij,jk->ik", -skew(translation), motion[:3])  # d = omega x t + tau, see _frame_motion

    heights = work_centre[:, 2] - thick
    jac_height = by_height.mean(axis=1) + np.einsum(
        "nj,jk->nk", np.column_stack([work_centre[:, 1], -work_centre[:, 0], np.ones(len(ids))]), motion[[0, 1, 5]]
    )
    cov_height = jac_height @ influences.cov @ jac_height.T
    u_height = np.sqrt(np.maximum(np.diag(cov_height), 0.0))
    level = tuple(
        HeightPoint(t, work_centre[i, :2], float(heights[i]), float(u_height[i]), group_of.get(t, ""))
        for i, t in enumerate(ids)
    )
    levels = find_levels(level, cov_height, named or {})
    level_of = {s: one.name for one in levels for s in one.sheets} if len(levels) > 1 else {}
    level = tuple(replace(h, level=level_of.get(h.name, "")) for h in level)
    findings = [*level_findings(levels), *_cabinet_findings(level, levels, cov_height, settings)]
    findings += _strength_findings(work_centre[used], settings)
    return WorkPlane(rotation, translation, jac_frame, influences, level, tuple(findings), levels)


def on_level(plane: WorkPlane, name: str) -> WorkPlane:
    """The same frame moved up or down so that z = 0 is the level ``name``, with the sheets that lie there; x and y stay.

    The shift is a number that was settled on and not a measured one, so how the frame follows the influences stays as it is.
    Raises ``KeyError`` where there is no such level.
    """
    level = {one.name: one for one in plane.levels}[name]
    up = level.height_mm if level is not plane.levels[0] else 0.0
    moved = tuple(replace(h, height_mm=h.height_mm - up) for h in plane.heights)
    return replace(
        plane,
        translation_mm=plane.translation_mm - np.array([0.0, 0.0, up]),
        heights=tuple(h for h in moved if h.name in level.sheets),
        elsewhere=tuple(h for h in moved if h.name not in level.sheets),
    )


def append_type_b(influences: Influences, type_b: Sequence[TypeB]) -> Influences:
    """The network's influences followed by type B terms, each independent of everything else."""
    k, n = influences.size, len(type_b)
    grow = ((0, n), (0, n))
    cov = np.pad(influences.cov, grow)
    parts = {group: np.pad(part, grow) for group, part in influences.parts.items()}
    for i, term in enumerate(type_b):
        cov[k + i, k + i] = term.u_mm**2
        parts.setdefault(term.group, np.zeros_like(cov))[k + i, k + i] = term.u_mm**2
    return Influences(influences.names + tuple(term.name for term in type_b), cov, parts)


def to_work(plane: WorkPlane, xyz_mm: Array, d_xyz_dinfluences: Array | None = None) -> tuple[Array, Array]:
    """World points (N, 3) in the work frame, and their Jacobian (N, 3, K) by the work plane's influences.

    ``d_xyz_dinfluences`` (N, 3, K') is the world points' own Jacobian by the first K' <= K influences (those of the
    network alone, or all of them); without it the points are taken as fixed in the world.
    """
    xyz = np.atleast_2d(np.asarray(xyz_mm, dtype=np.float64))
    turned = xyz @ plane.rotation.T
    jac = np.einsum("nij,jk->nik", -skew(turned), plane.shared_jac[:3]) + plane.shared_jac[3:]
    if d_xyz_dinfluences is not None:
        own = np.asarray(d_xyz_dinfluences)
        jac[:, :, : own.shape[2]] += np.einsum("ij,njk->nik", plane.rotation, own)
    return turned + plane.translation_mm, jac


def to_world(plane: WorkPlane, xyz_work: Array) -> Array:
    """World points (N, 3) of work-frame points (N, 3)."""
    return np.asarray((np.atleast_2d(xyz_work) - plane.translation_mm) @ plane.rotation)


def _robust_plane(
    xyz: Array, centre: Array, thick: Array, up: Array, settings: WorkPlaneSettings
) -> tuple[Array, float, Array]:
    """Unit normal, offset (normal . x = offset on the plane) and weight per pattern corner (n, 4).

    Start: of all planes through three sheets the one with the smallest sum of capped distances; then robust least squares
    through all pattern corners with a weight that is 1 within ``even_mm`` and falls to 0 at ``ignore_mm``.
    """
    n = len(centre)
    low = centre - thick[:, None] * up / np.linalg.norm(up)
    if n >= 4:
        triples = np.array(list(combinations(range(n), 3)))
        if len(triples) > MOST_TRIPLES:
            triples = triples[np.random.default_rng(0).choice(len(triples), MOST_TRIPLES, replace=False)]
        a, b, c = (low[triples[:, i]] for i in range(3))
        normals = np.cross(b - a, c - a)
        size = np.linalg.norm(normals, axis=1)
        spread = float(np.max(np.linalg.norm(low - low.mean(axis=0), axis=1)))
        good = size > LEAST_TRIANGLE * spread**2
        good &= np.abs(normals @ up) > np.cos(MOST_SLOPE) * size * np.linalg.norm(up)
        normals, a = normals[good] / size[good, None], a[good]
        # A plane through three near sheets swings far away; it is only a start, so any bad one is outvoted.
        if len(normals):
            distance = np.abs(np.einsum("ti,ni->tn", normals, low) - np.einsum("ti,ti->t", normals, a)[:, None])
            best = int(np.argmin(np.minimum(distance, settings.ignore_mm).sum(axis=1)))
            normal = normals[best] * np.sign(normals[best] @ up)
            weight = _weights(np.einsum("i,ni->n", normal, low) - normal @ a[best], settings)
        else:
            weight = np.ones(n)
    else:
        weight = np.ones(n)
    start = up / np.linalg.norm(up)
    fit = _Plane(xyz, thick, settings if n >= 4 else None)
    begin = start, float(np.average(low @ start, weights=weight))
    if n >= 4 and len(normals):
        begin = normal, float(np.average(low @ normal, weights=weight))
    try:
        found = minimise(begin, fit.cost, fit.at, _tilted, tolerance=PLANE_TOLERANCE)
    except np.linalg.LinAlgError:
        found = None
    if found is None or not found.converged:
        raise MeasureError("The sheets settle on no common plane of the cabinet tops; lay more, spread over all cabinets.")
    normal, offset = found.state
    return normal, offset, fit.weights(found.state)


@dataclass(frozen=True)
class _Plane:
    """Heights of the pattern corners over a plane, each counting the less the further off it lies."""

    xyz: Array
    """(n, 4, 3)"""
    thick: Array
    """(n,)"""
    settings: WorkPlaneSettings | None
    """None: every corner counts in full"""

    def heights(self, plane: tuple[Array, float]) -> Array:
        return np.asarray(self.xyz @ plane[0] - self.thick[:, None] - plane[1])

    def _excess(self, height: Array) -> Array:
        if self.settings is None:
            return np.zeros(height.shape)
        even, ignored = self.settings.even_mm, self.settings.ignore_mm
        return np.clip((np.abs(height) - even) / (ignored - even), 0.0, 1.0)

    def weights(self, plane: tuple[Array, float]) -> Array:
        """(n, 4)"""
        return np.asarray((1 - self._excess(self.heights(plane)) ** 2) ** 2)

    def cost(self, plane: tuple[Array, float]) -> float:
        """Half the squares up to ``even_mm``, from there on what the falling weight leaves of them (its integral)."""
        height = self.heights(plane)
        if self.settings is None:
            return 0.5 * float(np.sum(height**2))
        even, wide = self.settings.even_mm, self.settings.ignore_mm - self.settings.even_mm
        t = self._excess(height)
        inner = 0.5 * np.minimum(np.abs(height), even) ** 2
        outer = wide * (even * (t - 2 * t**3 / 3 + t**5 / 5) + wide * (t**2 / 2 - t**4 / 2 + t**6 / 6))
        return float(np.sum(inner + outer))

    def at(self, plane: tuple[Array, float]) -> _PlaneSystem:
        u, v = _across(plane[0])
        design = np.stack([self.xyz @ u, self.xyz @ v, -np.ones(self.xyz.shape[:2])], axis=-1).reshape(-1, 3)
        root = np.sqrt(self.weights(plane)).ravel()
        return _PlaneSystem(design * root[:, None], -self.heights(plane).ravel() * root)


@dataclass(frozen=True)
class _PlaneSystem:
    design: Array
    right: Array

    def step(self, damping: float) -> tuple[Array, float]:
        information = self.design.T @ self.design
        gradient = self.design.T @ self.right
        step = np.asarray(np.linalg.solve(information + damping * np.diag(np.diag(information)), gradient))
        return step, 0.5 * float(step @ gradient)


def _across(normal: Array) -> tuple[Array, Array]:
    """Two unit vectors across a normal."""
    u = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u)


def _tilted(plane: tuple[Array, float], step: Array) -> tuple[Array, float]:
    """A plane after a tilt about either axis and a rise."""
    u, v = _across(plane[0])
    normal = plane[0] + step[0] * u + step[1] * v
    return normal / np.linalg.norm(normal), plane[1] + float(step[2])


def _weights(height: Array, settings: WorkPlaneSettings) -> Array:
    excess = np.clip((np.abs(height) - settings.even_mm) / (settings.ignore_mm - settings.even_mm), 0.0, 1.0)
    return np.asarray((1 - excess**2) ** 2)


def _axes(normal: Array, centre: Array, sheet_x: list[Array]) -> Array:
    """Rotation work_from_world: z the normal, x along the way most sheets lie, in the direction of their longest spread.

    Sheets are laid roughly square to the cabinets, so their axes (modulo 90 degrees) give a view a person can read. It is
    a convention only and carries no uncertainty.
    """
    u = sheet_x[0] - (sheet_x[0] @ normal) * normal
    u = u / np.linalg.norm(u)
    v = np.cross(normal, u)
    angle = np.array([np.arctan2(x @ v, x @ u) for x in sheet_x])
    turn = float(np.angle(np.mean(np.exp(4j * angle)))) / 4
    flat = centre - centre.mean(axis=0)
    spread = np.linalg.svd(np.column_stack([flat @ u, flat @ v]))[2][0]
    ways = turn + np.arange(4) * np.pi / 2
    along = np.abs(np.cos(ways - np.arctan2(spread[1], spread[0])))
    upright = np.array([np.sum(np.cos(way - angle)) for way in ways])
    # Of the two senses along the spread the one in which more sheets read upright.
    best = int(np.lexsort((upright, np.round(along, 6)))[-1])
    x = np.cos(ways[best]) * u + np.sin(ways[best]) * v
    return np.array([x, np.cross(normal, x), normal])


def _frame_motion(corner: Array, weight: Array, by_height: Array, by_corner: Array) -> Array:
    """(6, K) motion (omega, tau) about the work origin that keeps the frame on the sheets.

    A point at x moves by ``omega x x + tau`` on top of its own displacement. Heights: the weighted least-squares plane
    through the corners stays z = 0. In-plane: the corners of the sheets that count keep no mean shift and no mean turn.
    """
    n, c = corner.shape[:2]
    k = by_height.shape[2]
    motion = np.zeros((6, k))
    w = weight.ravel()
    flat = corner.reshape(n * c, 3)
    design = np.column_stack([flat[:, 1], -flat[:, 0], np.ones(n * c)])  # dz = omega_x y - omega_y x + tau_z
    weighted = design * w[:, None]
    motion[[0, 1, 5]] = -np.linalg.solve(weighted.T @ design, weighted.T @ by_height.reshape(n * c, k))
    used = w > 0
    p = flat[used]
    shift = by_corner.reshape(n * c, 3, k)[used][:, :2].copy()
    shift[:, 0] += p[:, 2, None] * motion[1]
    shift[:, 1] -= p[:, 2, None] * motion[0]
    mean, mean_shift = p[:, :2].mean(axis=0), shift.mean(axis=0)
    q = p[:, :2] - mean
    turn = -(q[:, 0] @ shift[:, 1] - q[:, 1] @ shift[:, 0]) / np.sum(q * q)
    motion[2] = turn
    motion[3] = -mean_shift[0] + mean[1] * turn
    motion[4] = -mean_shift[1] - mean[0] * turn
    return motion


def _thickness_columns(influences: Influences, ids: Sequence[str]) -> Array:
    """(n, K) how the thickness influences raise each sheet."""
    out = np.zeros((len(ids), influences.size))
    for column, name in enumerate(influences.names):
        if name == "thickness:sheet":
            out[:, column] = 1.0
        elif name.startswith("thickness:") and name[10:] in ids:
            out[list(ids).index(name[10:]), column] = 1.0
    return out


def _cabinet_findings(
    level: Sequence[HeightPoint], levels: Sequence[Level], cov: Array, settings: WorkPlaneSettings
) -> list[Finding]:
    findings: list[Finding] = []
    of_level = {s: one.height_mm for one in levels[1:] for s in one.sheets}
    groups: dict[str, list[int]] = {}
    for i, point in enumerate(level):
        groups.setdefault(point.group or f"sheet {point.name}", []).append(i)
    for name, members in groups.items():
        mean = float(np.mean([level[i].height_mm - of_level.get(level[i].name, 0.0) for i in members]))
        u = float(np.sqrt(max(cov[np.ix_(members, members)].mean(), 0.0)))
        sheets = [level[i].name for i in members]
        if abs(mean) - 2 * u > settings.cabinet_tolerance_mm:
            low = mean < 0
            where = name if level[members[0]].group else ", ".join(sheets)
            findings.append(
                Finding(
                    "cabinet-low" if low else "cabinet-high",
                    where,
                    sheets=sheets,
                    off_mm=abs(mean),
                    U_mm=2 * u,
                )
            )
    return findings


def _strength_findings(centre: Array, settings: WorkPlaneSettings) -> list[Finding]:
    if len(centre) < 3:
        return [Finding("plane-few-sheets", "work plane", n_sheets=len(centre))]
    flat = centre[:, :2] - centre[:, :2].mean(axis=0)
    width = float(np.linalg.svd(flat, compute_uv=False)[1] / np.sqrt(len(flat)))
    if width < settings.narrow_mm:
        return [Finding("plane-narrow", "work plane", spread_mm=width)]
    return []
