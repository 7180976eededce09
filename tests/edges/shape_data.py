"""Invented edges with known truth, for the tests of fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from phototemplate.edges.shapes import EdgePoints
from phototemplate.edges.shapes.evaluate import foot, normal_at, offset_u, point_at
from phototemplate.model import EdgeHint, Influences, PlanePoints, Segment, ShapeKind

LENGTH = 2400.0
SHARED_SD = np.array([0.3, 2e-4, 0.25, 3e-4])
"""Shift across the edge, turn about its middle, thickness term, scale: standard deviations"""


@dataclass(frozen=True)
class Scene:
    """Points of one edge, and where it truly is."""

    points: PlanePoints
    influences: Influences
    turn: np.ndarray
    move: np.ndarray
    truth: Callable[[np.ndarray], np.ndarray]

    def true_points(self, s: np.ndarray) -> np.ndarray:
        return np.stack([s, self.truth(s)], axis=1) @ self.turn.T + self.move

    def errors(self, segment: Segment, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Distance of the true edge from the fitted one, and its stated standard uncertainty."""
        at = self.true_points(s)
        there = foot(segment, at)
        error = np.einsum("ni,ni->n", at - point_at(segment, there), normal_at(segment, there))
        return error, offset_u(segment, there, self.influences.cov)


def correlated(rng: np.random.Generator, n: int, step: float, ell: float) -> np.ndarray:
    e = rng.normal(size=n)
    phi = np.exp(-step / ell) if ell > 0 else 0.0
    for i in range(1, n):
        e[i] = phi * e[i - 1] + np.sqrt(1 - phi**2) * e[i]
    return e


def scene(
    rng: np.random.Generator,
    truth: Callable[[np.ndarray], np.ndarray] = lambda s: 0.0 * s,
    step: float = 5.0,
    sd: float = 0.15,
    ell: float = 15.0,
    wrong: float = 0.03,
    shared: bool = True,
    source: str = "trace",
) -> Scene:
    """Stations along a chord of 2400 mm, correlated noise, a share of wrong points up to 6 mm off, shared errors."""
    s = np.arange(3.0, LENGTH - 3.0, step)
    n = s.size
    o = truth(s)
    sds = SHARED_SD if shared else SHARED_SD[:0]
    k = sds.size
    jac = np.zeros((n, 2, 4))
    jac[:, 1, 0] = 1.0
    jac[:, 0, 1], jac[:, 1, 1] = -o, s - 0.5 * LENGTH
    jac[:, 1, 2] = 1.0
    jac[:, 0, 3], jac[:, 1, 3] = s, o
    jac = jac[:, :, :k]
    bend = truth(s + 0.5) - truth(s - 0.5)
    local = np.stack([s, o + sd * np.sqrt(1 + bend**2) * correlated(rng, n, step, ell)], axis=1) + jac @ (
        sds * rng.normal(size=k)
    )
    bad = rng.random(n) < wrong
    local[bad, 1] += rng.uniform(-6, 6, np.count_nonzero(bad))
    angle = rng.uniform(-np.pi, np.pi)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    move = rng.uniform(-500, 500, 2)
    slope = bend / np.sqrt(1.0 + bend**2)
    along = np.stack([np.sqrt(1.0 - slope**2), slope], axis=1) @ turn.T
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    cov = 1e4 * along[:, :, None] * along[:, None] + sd**2 * across[:, :, None] * across[:, None]
    influences = Influences(tuple(f"shared {i}" for i in range(k)), np.diag(sds**2), {"shared": np.diag(sds**2)})
    points = PlanePoints(
        "edge-1", source, local @ turn.T + move, np.zeros(n), cov, np.einsum("ij,njk->nik", turn, jac), np.ones(n),
        np.full(n, 3), correlation_mm=ell,
    )  # fmt: skip
    return Scene(points, influences, turn, move, truth)


def hint(shape: ShapeKind = "line") -> EdgeHint:
    return EdgeHint("edge-1", "front", "trace", shape)


def plain_points(xy: np.ndarray, cov: np.ndarray | None = None) -> EdgePoints:
    """Points without shared error; unit covariance unless given."""
    n = len(xy)
    return EdgePoints(np.asarray(xy, float), np.tile(np.eye(2), (n, 1, 1)) if cov is None else cov, np.zeros((n, 2, 0)))


def wall(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """A bow of up to 10 mm with mud of up to 8 mm swelling in both corners."""
    bow, left, right = rng.uniform(-10, 10), rng.uniform(0, 8), rng.uniform(0, 8)
    near, far = rng.uniform(60, 150, 2)
    return lambda s: bow * np.sin(np.pi * s / LENGTH) - left * np.exp(-s / near) - right * np.exp(-(LENGTH - s) / far)


def bent(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """An arc of radius 1.5 to 6 m, to either side."""
    radius, side = rng.uniform(1500, 6000), rng.choice([-1.0, 1.0])
    return lambda s: side * (np.sqrt(radius**2 - (s - 0.5 * LENGTH) ** 2) - np.sqrt(radius**2 - 0.25 * LENGTH**2))
