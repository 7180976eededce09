"""An invented measurement to develop and check the writers with: an L of cabinets with a range gap.

The kitchen, its names and numbers are made up. The covariance is not: it comes from a small bundle adjustment (normal
equations by numerical differences) of twelve photos of thirteen sheets with one bar, so that uncertainties grow where
they do in life. The pictures are flat-shaded polygons of the same scene.
"""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import fsolve

from phototemplate.edges.shapes.evaluate import offset_u, point_at, slope_at, to_chord, weights
from phototemplate.errors import Finding
from phototemplate.model import (
    Array,
    BodyPose,
    Camera,
    Candidate,
    EdgeKind,
    EdgeReport,
    EdgeTrace,
    FreePoint,
    HeightPoint,
    Influences,
    KnownLengthResult,
    Measurement,
    Network,
    Outline,
    OutlineLoop,
    PhotoMeta,
    PhotoPose,
    PhotoResiduals,
    Segment,
    ShapeKind,
    Sightings,
    Target,
    WorkPlane,
)
from tests.template.samples import bent_chord

SIZE_PX = (2016, 1512)
LENS = np.array([1506.2, 0.0005, 1012.4, 751.1, 0.085, -0.19, 0.0006, -0.0004, 0.10])
LENS_NAMES = ("f", "aspect", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
DEPTH = 610.0
SIGMA_PX = 0.09

SHEETS = {
    "S01": (300, -2050, 3),
    "S02": (250, -1550, -5),
    "S03": (380, -1050, 8),
    "S04": (240, -520, 2),
    "S05": (330, -200, 40),
    "S06": (760, -330, -4),
    "S07": (1130, -210, 6),
    "S08": (1360, -470, 0),
    "S09": (2400, -420, 5),
    "S10": (2650, -180, -8),
    "S11": (2870, -350, 4),
    "S12": (170, -1850, 60),
    "S13": (1000, -480, 12),
}
CABINETS = {
    "left": ("S01", "S02", "S03", "S12"),
    "corner": ("S04", "S05"),
    "back": ("S06", "S07", "S08", "S13"),
    "right": ("S09", "S10", "S11"),
}
CAMERAS = [
    ((1500, -2500, 1000), (350, -1900, 0)),
    ((1500, -1900, 1150), (300, -1300, 0)),
    ((1350, -1500, 1000), (250, -700, 0)),
    ((1250, -1350, 1200), (350, -250, 0)),
    ((900, -1600, 1050), (700, -300, 0)),
    ((1100, -1650, 900), (1300, -250, 0)),
    ((1700, -1700, 1200), (1250, -350, 0)),
    ((2000, -1650, 1050), (2300, -250, 0)),
    ((2500, -1600, 1150), (2650, -250, 0)),
    ((2900, -1500, 950), (2600, -300, 0)),
    ((1900, -1500, 1300), (900, -350, 0)),
    ((1500, -1500, 1350), (2200, -300, 0)),
]
ROLL_DEG = [2, -4, 88, 1, -3, 0, 92, 5, -2, 90, 3, -1]


def _look_at(eye: Array, target: Array, roll: float) -> tuple[Array, Array]:
    z = (target - eye) / np.linalg.norm(target - eye)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    r = np.stack([x, np.cross(z, x), z])
    c, s = np.cos(roll), np.sin(roll)
    r = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) @ r
    return r, -r @ eye


def _project(lens: Array, focus: float, pose: tuple[Array, Array], xyz: Array) -> Array:
    p = xyz @ pose[0].T + pose[1]
    x, y = p[:, 0] / p[:, 2], p[:, 1] / p[:, 2]
    f, aspect, cx, cy, k1, k2, p1, p2, k3 = lens
    r2 = x * x + y * y
    d = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    u = x * d + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    v = y * d + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    f = f * (1 + focus)
    return np.column_stack([f * u + cx, f * (1 + aspect) * v + cy])


def _turned(pose: tuple[Array, Array], w: Array) -> tuple[Array, Array]:
    return cv2.Rodrigues(w[:3])[0] @ pose[0], pose[1] + w[3:6]


def board_points() -> Array:
    """(12, 3) saddle points of the invented sheet."""
    x, y = np.meshgrid(np.arange(4) * 40.0 - 60.0, np.arange(3) * 40.0 - 40.0)
    return np.column_stack([x.ravel(), y.ravel(), np.zeros(12)])


def _body(name: str) -> tuple[Array, Array]:
    x, y, deg = SHEETS[name]
    turn = np.asarray(cv2.Rodrigues(np.array([0, 0, np.radians(deg)]))[0], np.float64)
    return turn, np.array([x, y, 0.3 if name != "S10" else -1.6])


@functools.cache
def _adjusted() -> tuple[tuple[str, ...], dict[str, Array], dict[tuple[int, str], Array]]:
    """Names, parts (group -> (K, K)) and the indices of the points of each sheet that each photo sees."""
    poses = [
        _look_at(np.array(e, float), np.array(t, float), np.radians(r))
        for (e, t), r in zip(CAMERAS, ROLL_DEG, strict=True)
    ]
    names = [f"lens:main:{n}" for n in LENS_NAMES]
    photo_at, body_at = {}, {}
    for i in range(len(CAMERAS)):
        photo_at[i] = len(names)
        names += [f"photo:IMG_{i + 1:04d}:{n}" for n in ("wx", "wy", "wz", "tx", "ty", "tz", "focus")]
    for name in SHEETS:
        body_at[name] = len(names)
        names += [f"body:{name}:{n}" for n in ("wx", "wy", "wz", "tx", "ty", "tz", "sx", "sy")]
    k = len(names)
    n_obs = np.zeros((k, k))
    seen: dict[tuple[int, str], Any] = {}
    board = board_points()
    steps_lens = np.array([1, 1e-4, 1, 1, 1e-3, 1e-3, 1e-4, 1e-4, 1e-3])
    steps_pose = np.array([1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2])
    for i, pose in enumerate(poses):
        for name in SHEETS:
            body = _body(name)

            def at(dl: Array, dp: Array, db: Array, name: str = name, pose: tuple[Array, Array] = pose) -> Array:
                b = _turned(_body(name), db[:6])
                xyz = (board * np.array([1 + db[6], 1 + db[7], 1])) @ b[0].T + b[1]
                return _project(LENS + dl, float(dp[6]), _turned(pose, dp[:6]), xyz)

            zero = np.zeros(9), np.zeros(7), np.zeros(8)
            depth = ((board @ body[0].T + body[1]) @ pose[0].T + pose[1])[:, 2]
            uv = at(*zero)
            good = (depth > 300) & (depth < 2600) & np.all((uv > 15) & (uv < np.array(SIZE_PX) - 15), axis=1)
            if good.sum() < 4:
                continue
            seen[i, name] = np.flatnonzero(good)
            jac = np.zeros((12, 2, k))
            for group, at_column, steps in (
                (0, 0, steps_lens),
                (1, photo_at[i], np.append(steps_pose, 1e-4)),
                (2, body_at[name], np.concatenate([steps_pose, [1e-4, 1e-4]])),
            ):
                for c, h in enumerate(steps):
                    args = [z.copy() for z in zero]
                    args[group][c] = h
                    up = at(args[0], args[1], args[2])
                    args[group][c] = -h
                    jac[:, :, at_column + c] = (up - at(args[0], args[1], args[2])) / (2 * h)
            flat = jac[good].reshape(-1, k) / SIGMA_PX
            n_obs += flat.T @ flat
    groups = {"target sightings": n_obs}
    prior = np.zeros(k)
    prior[:9] = 1 / np.array([60, 0.002, 25, 25, 0.05, 0.1, 0.002, 0.002, 0.1]) ** 2
    groups["lens prior"] = np.diag(prior)
    prior = np.zeros(k)
    for i in photo_at:
        prior[photo_at[i] + 6] = 1 / 0.003**2
    groups["focus prior"] = np.diag(prior)
    prior = np.zeros(k)
    for name in SHEETS:
        prior[body_at[name] + 6 : body_at[name] + 8] = 1 / 0.002**2
    groups["sheet print scale"] = np.diag(prior)
    bar = np.zeros(k)
    a, b = _body("S01")[1], _body("S04")[1]
    unit = (b - a) / np.linalg.norm(b - a)
    bar[body_at["S01"] + 3 : body_at["S01"] + 6] = -unit
    bar[body_at["S04"] + 3 : body_at["S04"] + 6] = unit
    groups["known length: bar"] = np.outer(bar, bar) / 0.15**2
    datum = np.zeros((6, k))  # inner constraints over the sheet centres
    for name in SHEETS:
        c = body_at[name] + 3
        x, y, z = _body(name)[1] - np.array([1200, -700, 0])
        datum[0:3, c : c + 3] += np.eye(3)
        datum[3:6, c : c + 3] += np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]]) / 1000
    cov = np.linalg.inv(sum(groups.values()) + 1e6 * datum.T @ datum)
    parts = {g: cov @ n @ cov for g, n in groups.items()}
    parts["target sightings"] += cov @ (1e6 * datum.T @ datum) @ cov
    parts = {g: (p + p.T) / 2 for g, p in parts.items()}
    return tuple(names), parts, seen


def influences(edge_ids: tuple[str, ...]) -> Influences:
    """Influences of the invented network, followed by type B terms per edge, thickness and strip."""
    names, parts, _ = _adjusted()
    extra = [(f"definition:{e}", "edge definition", 0.12) for e in edge_ids]
    extra += [("thickness:sheet", "paper thickness", 0.05), ("strip:W01", "strip thickness", 0.1)]
    k, n = len(names), len(names) + len(extra)
    out = {g: np.zeros((n, n)) for g in (*parts, "edge definition", "paper thickness", "strip thickness")}
    for g, p in parts.items():
        out[g][:k, :k] = p
    for i, (_, group, u) in enumerate(extra):
        out[group][k + i, k + i] = u * u
    return Influences((*names, *(e[0] for e in extra)), sum(out.values()), out)  # type: ignore[arg-type]


def _wall(x: Array) -> Array:
    """The bowed back wall with plaster swollen in its left corner (y of the wall over x)."""
    return -8.0 * np.sin(np.pi * x / 3000.0) ** 2 - 5.0 * np.exp(-x / 90.0)


def _segments(inf: Influences) -> dict[str, Segment]:
    rng = np.random.default_rng(7)
    spec: dict[str, tuple[EdgeKind, ShapeKind, tuple[float, float], tuple[float, float], str]] = {
        "end-1": ("end", "line", (-2, -2200), (612, -2197), "trace"),
        "front-1": ("front", "line", (611, -2197), (609, -608), "trace"),
        "front-2": ("front", "line", (609, -609), (1492, -611), "trace"),
        "panel-1": ("panel", "line", (1491, -611), (1489, -8), "contact"),
        "front-3": ("front", "line", (2254, -612), (2702, -611), "trace"),
        "end-2": ("end", "arc", (2700, -611), (3001, -310), "trace"),
        "end-3": ("end", "line", (3001, -312), (3002, -3), "trace"),
        "panel-2": ("panel", "line", (2256, -7), (2254, -612), "trace"),
        "wall-1": ("wall", "profile", (3010, -1), (0, -3), "strip"),
        "wall-2": ("wall", "line", (1, 2), (-3, -2200), "strip"),
    }
    out = {}
    body_at = {n.split(":")[1]: i for i, n in enumerate(inf.names) if n.startswith("body:") and n.endswith(":wx")}
    for edge_id, (kind, shape, a, b, source) in spec.items():
        chord = np.array([a, b], float)
        length = float(np.hypot(*(chord[1] - chord[0])))
        tangent = (chord[1] - chord[0]) / length
        normal = np.array([-tangent[1], tangent[0]])
        m, bend = {"line": 2, "arc": 3, "profile": 13}[shape], 0.0
        knots = np.linspace(0, length, m)
        if shape == "line":
            offsets = rng.normal(0, 0.05, m)
        elif shape == "arc":
            chord, bend = bent_chord(chord[0], chord[1], -45.0)  # a shallow bay, bulging to the right
            length = float(np.hypot(*(chord[1] - chord[0])))
            knots = np.linspace(0, length, m)
            offsets = np.zeros(m)
        else:
            s_xy = chord[0] + knots[:, None] * tangent
            offsets = (np.column_stack([s_xy[:, 0], _wall(s_xy[:, 0])]) - s_xy) @ normal
        jac = np.zeros((m, inf.size))
        for i, s in enumerate(knots):
            xy = chord[0] + s * tangent
            d = {n: np.hypot(*(_body(n)[1][:2] - xy)) for n in SHEETS}
            near = sorted(d, key=lambda n: d[n])[:3]
            w = np.array([1 / (d[n] + 50) for n in near])
            w /= w.sum()
            for n, share in zip(near, w, strict=True):
                lever = xy - _body(n)[1][:2]
                c = body_at[n]
                jac[i, c + 3 : c + 5] += share * normal
                jac[i, c + 2] += share * float(np.array([-lever[1], lever[0]]) @ normal)
                jac[i, c : c + 2] += share * np.array([0.4, 0.4]) * 20  # looks through an edge a little off the plane
        jac[:, inf.names.index(f"definition:{edge_id}")] = 1.0
        if source == "strip":
            jac[:, inf.names.index("strip:W01")] = 1.0
        jac[:, inf.names.index("thickness:sheet")] = 0.5
        n_pts = 24 if source == "strip" else 60
        seg = Segment(
            edge_id,
            kind,
            shape,
            chord,
            knots,
            offsets,
            np.eye(m) * 0.05**2,
            jac,
            np.zeros(0),
            np.zeros((0, 2)),
            (0.1, -0.6, 0.7),
            source,
            {"contact": 3, "strip": 6}.get(source, 4),
            bend_per_mm=bend,
        )
        s = np.linspace(0.02, 0.98, n_pts) * length
        res = rng.normal(0, 0.15, n_pts)
        pts = point_at(seg, s) + res[:, None] * normal
        findings: tuple[Finding, ...] = ()
        candidates: tuple[Candidate, ...] = ()
        if edge_id == "front-2":
            candidates = (Candidate(-3.1, 0.2, 0.74),)
            findings = (
                Finding("edge-ambiguous", edge_id, apart_mm=3.1, taken_word="outer", line="inner"),
            )
        if edge_id == "end-3":
            findings = (
                Finding("edge-single-view", edge_id, single_percent=80.0, U_mm=3.0),
            )
        out[edge_id] = Segment(
            **{
                **seg.__dict__,
                "residuals_mm": res,
                "points_mm": pts,
                "findings": findings,
                "candidates": candidates,
                "n_photos": 1 if edge_id == "end-3" else seg.n_photos,
            }
        )
    return out


def _meet(a: Segment, b: Segment) -> Array:
    start, _ = to_chord(b, point_at(a, [a.knots_mm[-1]]))
    def apart(p: Array) -> Array:
        return np.asarray(point_at(a, [p[0]])[0] - point_at(b, [p[1]])[0])

    sol = fsolve(apart, [a.knots_mm[-1], float(start[0])])
    return point_at(a, [sol[0]])[0]


LOOPS = {
    "left": ("end-1", "front-1", "front-2", "panel-1", "wall-1", "wall-2"),
    "right": ("front-3", "end-2", "end-3", "wall-1", "panel-2"),
}


@functools.cache
def outline(unscaled: bool = False) -> Outline:
    """The outline of the invented kitchen: two loops that share the bowed wall."""
    edge_ids = tuple(dict.fromkeys(e for loop in LOOPS.values() for e in loop))
    inf = influences(edge_ids)
    seg = _segments(inf)
    slices, at = {}, 0
    for e in edge_ids:
        slices[e] = slice(at, at + seg[e].knots_mm.size)
        at = slices[e].stop
    noise, jac = np.zeros((at, at)), np.zeros((at, inf.size))
    for e in edge_ids:
        noise[slices[e], slices[e]] = seg[e].noise_cov_mm2
        jac[slices[e]] = seg[e].shared_jac
    loops = []
    trims: dict[str, Any] = {}
    for loop_id, edges in LOOPS.items():
        corners, covs = [], []
        for i, e in enumerate(edges):
            a, b = seg[edges[i - 1]], seg[e]
            if {a.edge_id, b.edge_id} == {"panel-1", "wall-1"}:
                s, _ = to_chord(b, np.array([[1489.0, -8.0]]))
                corner = point_at(b, s)[0]
                for _ in range(5):
                    s, _ = to_chord(b, point_at(a, to_chord(a, corner)[0]))
                    corner = point_at(b, s)[0]
            elif {a.edge_id, b.edge_id} == {"panel-2", "wall-1"}:
                s, _ = to_chord(a, np.array([[2256.0, -7.0]]))
                corner = point_at(a, s)[0]
                for _ in range(5):
                    s, _ = to_chord(a, point_at(b, to_chord(b, corner)[0]))
                    corner = point_at(a, s)[0]
            else:
                corner = _meet(a, b)
            cov = np.zeros((2, 2))
            for one in (a, b):
                s, _ = to_chord(one, corner)
                u = offset_u(one, s, inf.cov)[0]
                t = one.chord_mm[1] - one.chord_mm[0]
                n = np.array([-t[1], t[0]]) / np.hypot(*t)
                cov += u * u * np.outer(n, n)
            corners.append(corner)
            covs.append(cov)
        loops.append(OutlineLoop(loop_id, edges, np.array(corners), np.array(covs)))
        for i, e in enumerate(edges):
            ends = np.array([corners[i], corners[(i + 1) % len(edges)]])
            s, _ = to_chord(seg[e], ends)
            trims.setdefault(e, []).extend(s.tolist())
    reports = []
    for e in edge_ids:
        s0, s1 = min(trims[e]), max(trims[e])
        where = np.array([s0, (s0 + s1) / 2, s1])
        u = offset_u(seg[e], where, inf.cov)
        worst = int(np.argmax(u))
        w = weights(seg[e], where[worst : worst + 1])[0]
        budget = [("edge points", float(np.sqrt(w @ seg[e].noise_cov_mm2 @ w)))]
        g = w @ seg[e].shared_jac
        budget += [(name, float(np.sqrt(max(g @ part @ g, 0)))) for name, part in inf.parts.items()]
        t = seg[e].chord_mm[1] - seg[e].chord_mm[0]
        angle = float(np.arctan2(t[1], t[0]) + np.arctan(slope_at(seg[e], where[1:2])[0]))
        walked = point_at(seg[e], np.linspace(s0, s1, 20_001))
        length = float(np.linalg.norm(np.diff(walked, axis=0), axis=1).sum())
        reports.append(
            EdgeReport(
                e,
                seg[e].kind,
                seg[e].shape,
                seg[e].source,
                length,
                float(2 * np.hypot(u[0], u[2])),
                angle,
                float(2 * np.hypot(u[0], u[2]) / length),
                (float(2 * u[0]), float(2 * u[1]), float(2 * u[2])),
                tuple(sorted(budget, key=lambda b: -b[1])),
                seg[e].height_mm,
                seg[e].residuals_mm.size,
                seg[e].n_photos,
                float(np.std(seg[e].residuals_mm)),
                seg[e].findings,
            )
        )
    return Outline(
        tuple(seg[e] for e in edge_ids), tuple(loops), slices, noise, jac, inf, np.eye(3), tuple(reports), (), unscaled
    )


@functools.cache
def measurement(folder: str = "", unscaled: bool = False) -> Measurement:
    """The invented measurement; with ``folder`` its twelve photos are drawn there."""
    rng = np.random.default_rng(3)
    out = outline(unscaled)
    inf = out.influences
    names, parts, seen = _adjusted()
    cov = sum(parts.values())
    net_inf = Influences(names, cov, parts)  # type: ignore[arg-type]
    poses = [
        _look_at(np.array(e, float), np.array(t, float), np.radians(r))
        for (e, t), r in zip(CAMERAS, ROLL_DEG, strict=True)
    ]
    photos, sightings, residuals, photo_poses = [], {}, [], {}
    for i, pose in enumerate(poses):
        photo_id = f"IMG_{i + 1:04d}"
        path = Path(folder or "photos") / f"{photo_id}.jpg"
        if folder:
            _draw(pose, path)
        photos.append(
            PhotoMeta(
                photo_id,
                path,
                SIZE_PX,
                6 if abs(ROLL_DEG[i]) > 45 else 1,
                "main",
                "Norvik",
                "Norvik P4",
                "",
                4.25,
                27.0,
                None,
                f"2026-03-14T10:{i:02d}:00",
                "",
            )
        )
        ids, pts, uv = [], [], []
        for name in SHEETS:
            if (i, name) in seen:
                b = _body(name)
                index = seen[i, name]
                ids += [name] * index.size
                pts += index.tolist()
                uv.append(_project(LENS, 0.001 * np.sin(i), pose, board_points()[index] @ b[0].T + b[1]))
        true = np.concatenate(uv)
        noise = rng.normal(0, SIGMA_PX, true.shape)
        weight = np.ones(len(ids))
        if i == 4:
            noise[5] += (3.0, -2.0)
            weight[5] = 0.0
        cov_px = np.tile(np.eye(2) * SIGMA_PX**2, (len(ids), 1, 1))
        found = (
            (
                Finding("photo-smeared", photo_id, blur_px=2.4, direction_deg=30.0),
            )
            if i == 4
            else ()
        )
        sightings[photo_id] = Sightings(photo_id, tuple(ids), np.array(pts), true + noise, cov_px, found)
        residuals.append(PhotoResiduals(photo_id, tuple(ids), np.array(pts), true + noise, noise, weight))
        photo_poses[photo_id] = PhotoPose(photo_id, "main", pose[0], pose[1], 0.001 * float(np.sin(i)))
    bodies = {n: BodyPose(n, *_body(n), (1.0012, 0.9991)) for n in SHEETS}
    targets = {n: Target(n, "sheet", board_points(), True, (210.0, 148.0)) for n in SHEETS}
    x = np.linspace(60, 2950, 25)
    free = tuple(
        FreePoint("W01a", i, np.array([xi, _wall(np.array(xi)), 14.0]), np.eye(3) * 0.02, np.zeros((3, len(names))), 4)
        for i, xi in enumerate(x)
    )
    camera = Camera("main", "brown", SIZE_PX, LENS, np.array(cov)[:9, :9], "adjusted")
    lengths = (
        KnownLengthResult("bar B01-B02", 1524.0, 0.15, 1524.02, 0.3, 0.9),
        KnownLengthResult("tape S02-S08", 2105.0, 0.8, 2103.9, -1.4, 3.6),
    )
    findings = (
        sightings["IMG_0005"].findings[0],
        Finding("cabinet-low", "right", sheets=["S10"], off_mm=1.9, U_mm=0.6),
        Finding("sighting-rejected", "IMG_0005", n_rejected=1, n_sightings=40, n_of=[1], target=["S06"]),
        *(f for s in out.segments for f in s.findings),
    )
    network = Network(
        {"main": camera},
        photo_poses,
        bodies,
        free,
        targets,
        net_inf,
        tuple(residuals),
        lengths,
        not unscaled,
        1.03,
        2150.0,
        findings[:1],
    )
    heights = tuple(
        HeightPoint(
            n,
            _body(n)[1][:2],
            float(_body(n)[1][2] - 0.3 + rng.normal(0, 0.1)),
            0.25,
            next(c for c, s in CABINETS.items() if n in s),
        )
        for n in SHEETS
    )
    plane = WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, inf.size)), inf, heights, findings[1:2])
    traces = tuple(_trace(s, i, photo_poses) for s in out.segments if s.source == "trace" for i in range(len(CAMERAS)))
    return Measurement(
        "Sample kitchen",
        tuple(photos),
        sightings,
        network,
        plane,
        tuple(t for t in traces if len(t.uv_px)),
        out,
        findings,
        {"photos": 0.3, "targets": 3.1, "network": 1.2, "edges": 4.0, "outline": 0.1},
    )


def _trace(segment: Segment, photo: int, poses: dict[str, PhotoPose]) -> EdgeTrace:
    pose = poses[f"IMG_{photo + 1:04d}"]
    s = np.linspace(segment.knots_mm[0], segment.knots_mm[-1], 40)
    xyz = np.column_stack([point_at(segment, s), np.zeros(s.size)])
    depth = (xyz @ pose.rotation.T + pose.translation_mm)[:, 2]
    uv = _project(LENS, pose.focus, (pose.rotation, pose.translation_mm), xyz)
    ok = (depth > 300) & (depth < 2300) & np.all((uv > 5) & (uv < np.array(SIZE_PX) - 5), axis=1)
    return EdgeTrace(
        pose.photo_id, segment.edge_id, uv[ok], np.tile(np.diag([0.3, 0.01]), (int(ok.sum()), 1, 1)), s[ok]
    )


def _draw(pose: tuple[Array, Array], path: Path) -> None:
    """A flat-shaded picture of the scene: walls, cabinet fronts, open tops, sheets."""
    image = np.full((SIZE_PX[1], SIZE_PX[0], 3), 110, np.uint8)

    def quad(corners: list[tuple[float, float, float]], colour: tuple[int, int, int], n: int = 12) -> None:
        a, b, c, d = (np.array(p, float) for p in corners)
        t = np.linspace(0, 1, n + 1)
        for i in range(n):
            for j in range(n):
                cell = [
                    a + (b - a) * u + (d - a) * v + (a - b + c - d) * u * v
                    for u, v in ((t[i], t[j]), (t[i + 1], t[j]), (t[i + 1], t[j + 1]), (t[i], t[j + 1]))
                ]
                depth = (np.array(cell) @ pose[0].T + pose[1])[:, 2]
                if depth.min() < 150:
                    continue
                uv = _project(LENS, 0.0, pose, np.array(cell))
                if np.abs(uv).max() < 6000:
                    cv2.fillPoly(image, [np.round(uv * 16).astype(np.int32)], colour, cv2.LINE_8, 4)

    quad([(-500, -4000, -870), (4000, -4000, -870), (4000, 0, -870), (-500, 0, -870)], (120, 135, 150))
    quad([(-200, 0, -870), (3800, 0, -870), (3800, 0, 1200), (-200, 0, 1200)], (205, 214, 216))
    quad([(0, -3200, -870), (0, 0, -870), (0, 0, 1200), (0, -3200, 1200)], (190, 200, 204))
    quad([(1490, -640, -870), (2255, -640, -870), (2255, -640, -10), (1490, -640, -10)], (70, 70, 72))
    quad([(610, -2200, -870), (610, -610, -870), (610, -610, 0), (610, -2200, 0)], (58, 74, 96))
    quad([(610, -610, -870), (1490, -610, -870), (1490, -610, 0), (610, -610, 0)], (50, 66, 88))
    quad([(2255, -610, -870), (2700, -610, -870), (2700, -610, 0), (2255, -610, 0)], (50, 66, 88))
    for top in (
        [(0, -2200, 0), (610, -2200, 0), (610, -610, 0), (0, -610, 0)],
        [(0, -610, 0), (1490, -610, 0), (1490, -5, 0), (0, -5, 0)],
        [(2255, -610, 0), (2700, -610, 0), (3000, -310, 0), (3000, -5, 0)],
        [(2255, -610, 0), (3000, -310, 0), (3000, -5, 0), (2255, -5, 0)],
    ):
        quad(top, (128, 158, 186), 8)  # type: ignore[arg-type]
    for name in SHEETS:
        r, t = _body(name)

        def at(x: float, y: float, r: Array = r, t: Array = t) -> tuple[float, float, float]:
            return tuple(r @ np.array([x, y, 0.0]) + t)

        quad([at(-105, -74), at(105, -74), at(105, 74), at(-105, 74)], (245, 245, 245), 2)
        for i in range(5):
            for j in range(4):
                if (i + j) % 2 == 0:
                    x, y = -100 + 40 * i, -80 + 40 * j
                    y0, y1 = max(y, -72), min(y + 40, 72)
                    quad([at(x, y0), at(x + 40, y0), at(x + 40, y1), at(x, y1)], (25, 25, 25), 1)
    image = cv2.GaussianBlur(image, (0, 0), 0.8)
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), image, [cv2.IMWRITE_JPEG_QUALITY, 88])
