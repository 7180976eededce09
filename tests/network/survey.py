"""The published close-range network (folder ``survey_network`` of the reference photographs) as an adjustment problem.

Source: applied-geodesy/bundle-adjustment, example of module JAICOV: 115 photos, 157 targets, one scale bar.
The published corrections are added to the ideal (pinhole) position and evaluated there, not at the measured position: with
nothing adjusted this gives the published residuals to 0.000003 mm rms. (A note beside the data places the evaluation at the
measured position, from which these residuals do not follow that closely.) Image positions are in mm of the sensor, y turned
downwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phototemplate.model import Array
from phototemplate.network.adjustment.bundle import Problem, SightingTable, State
from phototemplate.network.adjustment.known_lengths import Condition
from phototemplate.network.adjustment.parameters import POSE
from phototemplate.network.adjustment.pseudo_observations import Length, LengthPoint, Priors
from phototemplate.network.photo_camera import Sensor
from phototemplate.numerics import lens

CK, XH, YH = 28.78507, 0.01735, 0.05669
A1, A2, R0 = -1.09607e-4, 1.49566e-7, 13.488
B1, B2, C1, C2 = 5.79843e-6, -8.64454e-6, -7.00801e-5, -3.12627e-5
BAR_MM, BAR_U_MM = 1389.6880, 0.0100
SIGMA_MM = 0.0005
PUBLISHED_S0 = 0.000405
SENSOR_MM = (35.968, 23.979)


class Balanced:
    """Pinhole with balanced radial, decentring and affine terms, in units of the published principal distance."""

    name: str = "balanced"
    names: tuple[str, ...] = ("f", "aspect", "cx", "cy", "A1", "A2", "B1", "B2", "C1", "C2")

    def distort(self, dist: Array, ab: Array, z: Array) -> tuple[Array, Array, Array]:
        p = ab[:, :2] / z[:, None]
        correction, by_p, by_dist = self._correction(dist, p)
        by_ab = np.zeros((len(z), 2, 3))
        by_ab[:, 0, 0] = by_ab[:, 1, 1] = 1 / z
        by_ab[:, :, 2] = -p / z[:, None]
        return p + correction, (np.eye(2) + by_p) @ by_ab, by_dist

    @staticmethod
    def _correction(dist: Array, m: Array) -> tuple[Array, Array, Array]:
        a1, a2, b1, b2, c1, c2 = dist.T
        x, y = m[:, 0], m[:, 1]
        r2, q2 = x * x + y * y, (R0 / CK) ** 2
        rad, slope = a1 * (r2 - q2) + a2 * (r2 * r2 - q2 * q2), 2 * (a1 + 2 * a2 * r2)
        d = np.stack(
            [
                x * rad + b1 * (r2 + 2 * x * x) + 2 * b2 * x * y + c1 * x + c2 * y,
                y * rad + b2 * (r2 + 2 * y * y) + 2 * b1 * x * y,
            ],
            axis=1,
        )
        by_m = np.empty((len(x), 2, 2))
        by_m[:, 0, 0] = rad + x * x * slope + 6 * b1 * x + 2 * b2 * y + c1
        by_m[:, 0, 1] = x * y * slope + 2 * b1 * y + 2 * b2 * x + c2
        by_m[:, 1, 0] = x * y * slope + 2 * b2 * x + 2 * b1 * y
        by_m[:, 1, 1] = rad + y * y * slope + 6 * b2 * y + 2 * b1 * x
        o = np.zeros_like(x)
        by_dist = np.stack(
            [
                np.stack([x * (r2 - q2), x * (r2 * r2 - q2 * q2), r2 + 2 * x * x, 2 * x * y, x, y], axis=1),
                np.stack([y * (r2 - q2), y * (r2 * r2 - q2 * q2), 2 * x * y, r2 + 2 * y * y, o, o], axis=1),
            ],
            axis=1,
        )
        return d, by_m, by_dist

    def loose_sigmas(self) -> Array:
        return np.ones(6)

    def limit(self, dist: Array) -> float:
        return np.inf


@dataclass
class Survey:
    """The network ready to adjust, and what was published."""

    problem: Problem
    priors: Priors
    state: State
    """Published orientation and coordinates (a start only)"""
    targets: list[int]
    xyz_mm: Array
    """(M, 3) published"""
    u_mm: Array
    """(M, 3) published standard deviations"""


def load(folder: Path) -> Survey:
    """Read the files; targets seen less than twice and images flagged as rejected are left out, as published."""
    lens.LENS_MODELS.setdefault("balanced", Balanced())
    objects = {
        int(line.split()[0]): [float(v) for v in line.split()[1:7]]
        for line in (folder / "example.obc").read_text().splitlines()
    }
    stations = [line.split() for line in (folder / "example.eor").read_text().splitlines() if line.strip()]
    photo_ids = [int(s[0]) for s in stations]
    rotation, translation = [], []
    flip = np.diag([1.0, -1.0, -1.0])
    for s in stations:
        x0, (om, ph, ka) = np.array(s[2:5], float), (float(v) for v in s[5:8])
        rx = np.array([[1, 0, 0], [0, np.cos(om), -np.sin(om)], [0, np.sin(om), np.cos(om)]])
        ry = np.array([[np.cos(ph), 0, np.sin(ph)], [0, 1, 0], [-np.sin(ph), 0, np.cos(ph)]])
        rz = np.array([[np.cos(ka), -np.sin(ka), 0], [np.sin(ka), np.cos(ka), 0], [0, 0, 1]])
        r = flip @ (rx @ ry @ rz).T
        rotation.append(r)
        translation.append(-r @ x0)
    rows = []
    for line in (folder / "example.phc").read_text().splitlines():
        v = line.split()
        if v and int(v[9]) == 1 and int(v[1]) in objects:
            rows.append((photo_ids.index(int(v[0])), int(v[1]), float(v[2]), -float(v[3])))
    seen: dict[int, int] = {}
    for _, t, _, _ in rows:
        seen[t] = seen.get(t, 0) + 1
    targets = sorted(t for t, n in seen.items() if n >= 2)
    place = {t: i for i, t in enumerate(targets)}
    rows = sorted((p, place[t], x, y) for p, t, x, y in rows if t in place)
    data = np.array(rows)
    n = len(data)
    problem = Problem(
        ("cam",),
        ("balanced",),
        (Sensor(SENSOR_MM),),
        tuple(str(p) for p in photo_ids),
        np.zeros(len(photo_ids), dtype=np.int64),
        (),
        np.zeros(0, dtype=np.int64),
        (),
        tuple((str(t), 0) for t in targets),
        SightingTable(
            data[:, 0].astype(np.int64),
            np.full(n, -1, dtype=np.int64),
            data[:, 1].astype(np.int64),
            np.zeros((n, 3)),
            data[:, 2:4],
            np.broadcast_to(np.eye(2) / SIGMA_MM, (n, 2, 2)).copy(),
        ),
        exposure=(),
        shared_points=(place[506], place[507]),
        fixed=frozenset({"lens:cam:aspect", "lens:cam:C1", "lens:cam:C2"} | {f"photo:{photo_ids[0]}:{c}" for c in POSE}),
    )
    params = np.array([CK, 0.0, XH, -YH, A1 * CK**2, A2 * CK**4, B1 * CK, -B2 * CK, C1, -C2])
    xyz = np.array([objects[t][:3] for t in targets])
    u = np.array([objects[t][3:6] for t in targets])
    zero = np.zeros
    state = State.at_rest([params], list(zip(rotation, translation, strict=True)), [], 0, xyz)
    length = Length("scale bar", LengthPoint(points=(place[506],)), LengthPoint(points=(place[507],)), BAR_MM, BAR_U_MM)
    priors = Priors((params,), (None,), zero((1, 4)), zero((0, 2)), zero((0, 2)), zero(0), (length,))
    return Survey(problem, priors, state, targets, xyz, u)


def inner_constraint_cov(xyz: Array, cov: Array) -> Array:
    """S-transformation: covariance (3M, 3M) of the coordinates with the datum in their own mean position and turn."""
    m = len(xyz)
    c = xyz - xyz.mean(axis=0)
    g = np.zeros((3 * m, 6))
    for i in range(m):
        g[3 * i : 3 * i + 3, :3] = np.eye(3)
        g[3 * i : 3 * i + 3, 3:] = np.array([[0, c[i, 2], -c[i, 1]], [-c[i, 2], 0, c[i, 0]], [c[i, 1], -c[i, 0], 0]])
    s = np.eye(3 * m) - g @ np.linalg.solve(g.T @ g, g.T)
    return np.asarray(s @ cov @ s.T)


__all__ = ["Balanced", "Condition", "Survey", "inner_constraint_cov", "load"]
