"""Known lengths and priors, linearised at a state of the adjustment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from phototemplate.model import Array, IntArray
from phototemplate.network.adjustment.collinearity import bent
from phototemplate.network.adjustment.known_lengths import Condition
from phototemplate.network.adjustment.unknowns import Problem, State
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import skew

LENS = "lens prior"
FOCUS = "focus prior"
PRINT = "sheet print scale"
CURL = "sheet flatness"
PLANE = "plane assumption"
TURNED = "lens of turned photos"
ALL_BATCHES = "common print scale"
"""Name of the condition on the common print scales, two rows per batch"""
RELEASED = 0.1
"""Relative uncertainty of a print scale that contradicted its prior"""
_PRINT_CORRELATION = 0.8
_TIED_F, _TIED_K = 1e-4, 1e-4


def length_group(name: str) -> str:
    """Budget line of a known length."""
    return f"known length: {name}"


@dataclass(frozen=True)
class Place:
    """A place whose position a known length uses: a point of a body, or the mean of some free points."""

    body: int = -1
    local: Array = field(default_factory=lambda: np.zeros(3))
    points: tuple[int, ...] = ()

    def locate(self, problem: Problem, state: State) -> tuple[Array, IntArray, Array]:
        """World position (3,), the columns it depends on (k,) and its Jacobian (3, k)."""
        if self.body < 0:
            columns = problem.point_columns[list(self.points)].ravel()
            jac = np.tile(np.eye(3) / len(self.points), (1, len(self.points)))
            return state.points[list(self.points)].mean(axis=0), columns, jac
        b, local = self.body, self.local
        rotation = state.body_rotation[b]
        turned = rotation @ bent(local[None], state.body_scale[b : b + 1], state.body_curl[b : b + 1])[0]
        x, y = local[0], local[1]
        jac = np.column_stack(
            [-skew(turned), np.eye(3), x * rotation[:, 0], y * rotation[:, 1]]
            + [term * rotation[:, 2] for term in (0.5 * x * x, x * y, 0.5 * y * y)]
        )
        own = problem.body_columns[b]
        return turned + state.body_translation[b], own[own >= 0], jac[:, own >= 0]


@dataclass(frozen=True)
class Length:
    """A known length between two places, at the temperature of the photos."""

    name: str
    start: Place
    end: Place
    value_mm: float
    u_mm: float

    def measured(self, problem: Problem, state: State) -> tuple[float, IntArray, Array]:
        """Length in the adjustment, its columns and its gradient (k,)."""
        a, columns_a, jac_a = self.start.locate(problem, state)
        b, columns_b, jac_b = self.end.locate(problem, state)
        size = float(np.linalg.norm(b - a))
        unit = (b - a) / max(size, 1e-9)
        columns, back = np.unique(np.concatenate([columns_a, columns_b]), return_inverse=True)
        gradient = np.bincount(back, np.concatenate([-unit @ jac_a, unit @ jac_b]), len(columns))
        return size, columns.astype(np.int64), np.asarray(gradient, dtype=np.float64)

    def condition(self, problem: Problem, state: State, inflate: float = 1.0) -> Condition:
        """The length as an observation; ``inflate`` multiplies its uncertainty."""
        size, columns, gradient = self.measured(problem, state)
        residual, cov = np.array([self.value_mm - size]), np.array([[(self.u_mm * inflate) ** 2]])
        return Condition(length_group(self.name), self.name, columns, gradient[None], residual, cov)


@dataclass
class Priors:
    """Everything known beforehand; calling it gives the linearised conditions of a state."""

    problem: Problem
    lens_mean: Sequence[Array]
    lens_cov: Sequence[Array | None]
    """per camera (p, p); None: no prior"""
    u_focus: float
    u_print_common: Array
    """(Q, 2)"""
    u_print_body: Array
    """(B, 2)"""
    u_curl: Array
    """(B,) per mm"""
    lengths: list[Length] = field(default_factory=list)
    inflate: dict[str, float] = field(default_factory=dict)
    """Factors on the uncertainty of known lengths that disagree"""
    unused: set[str] = field(default_factory=set)
    """Known lengths left out"""
    datum_body: int = -1
    plane_sigma: tuple[float, float] = (2.0, 0.01)
    plane_bodies: tuple[int, ...] = ()
    ties: tuple[tuple[int, ...], ...] = ()
    """Cameras that are one lens whose pictures were turned: same principal distance and radial distortion"""

    def tie(self, groups: Sequence[Sequence[str]]) -> None:
        """Tie the lenses of groups of camera ids; those not adjusted are passed over."""
        ids = {c: i for i, c in enumerate(self.problem.camera_ids)}
        self.ties = tuple(tuple(ids[c] for c in group if c in ids) for group in groups)

    def __call__(self, state: State) -> list[Condition]:
        """Every condition at ``state``."""
        out = self._lenses(state) + self._ties(state) + self._print(state) + self._curl(state) + self._plane(state)
        if self.u_focus > 0:
            n = len(state.focus)
            columns = self.problem.photo_columns[:, 6]
            out.append(Condition(FOCUS, "focus", columns, np.eye(n), -state.focus, np.eye(n) * self.u_focus**2))
        for length in self.lengths:
            if length.name not in self.unused:
                out.append(length.condition(self.problem, state, self.inflate.get(length.name, 1.0)))
        return out

    def _lenses(self, state: State) -> list[Condition]:
        out = []
        for c, cov in enumerate(self.lens_cov):
            if cov is not None:
                columns = self.problem.lens_columns[c]
                residual = self.lens_mean[c] - state.lenses[c]
                out.append(Condition(LENS, self.problem.camera_ids[c], columns, np.eye(len(columns)), residual, cov))
        return out

    def _ties(self, state: State) -> list[Condition]:
        out = []
        for group in self.ties:
            for c in group[1:]:
                names = lens.LENS_MODELS[self.problem.camera_models[c]].names
                same = [i for i, n in enumerate(names) if n == "f" or (n.startswith("k"))]
                columns = np.concatenate([self.problem.lens_columns[group[0]][same], self.problem.lens_columns[c][same]])
                both = np.hstack([np.eye(len(same)), -np.eye(len(same))])
                residual = state.lenses[c][same] - state.lenses[group[0]][same]
                # A quarter turn exchanges fx and fy, which differ by the aspect.
                sigma = np.where(np.array(same) == 0, _TIED_F * state.lenses[c][0], _TIED_K)
                out.append(Condition(TURNED, self.problem.camera_ids[c], columns, both, residual, np.diag(sigma**2)))
        return out

    def _print(self, state: State) -> list[Condition]:
        p = self.problem
        out = []
        if p.batches:
            # One printer and one paper for all: the common scales of kinds and directions go together.
            u = self.u_print_common.ravel()
            together = np.where(u < RELEASED, np.sqrt(_PRINT_CORRELATION), 0.0)
            cov = np.outer(u, u) * (np.outer(together, together) * (1 - np.eye(len(u))) + np.eye(len(u)))
            residual = 1 - state.print_scale.ravel()
            out.append(Condition(PRINT, ALL_BATCHES, p.print_columns.ravel(), np.eye(len(u)), residual, cov))
        both = np.hstack([np.eye(2), -np.eye(2)])
        for b, target in enumerate(p.body_ids):
            q = p.body_batch[b]
            columns = np.concatenate([p.body_columns[b, 6:8], p.print_columns[q]])
            cov = np.diag(self.u_print_body[b] ** 2)
            residual = state.print_scale[q] - state.body_scale[b]
            out.append(Condition(PRINT, target, columns, both, residual, cov))
        return out

    def _curl(self, state: State) -> list[Condition]:
        p = self.problem
        return [
            Condition(
                CURL, p.body_ids[b], p.body_columns[b, 8:11], np.eye(3), -state.body_curl[b], np.eye(3) * self.u_curl[b] ** 2
            )
            for b in sorted(p.curl)
        ]

    def _plane(self, state: State) -> list[Condition]:
        """One photo: the sheets lie in one plane, given by height and slopes in the frame of the datum body."""
        p = self.problem
        if not p.plane:
            return []
        datum = state.body_rotation[self.datum_body]
        origin = state.body_translation[self.datum_body]
        out = []
        for b in self.plane_bodies:
            place = datum.T @ (state.body_translation[b] - origin)
            normal = datum.T @ state.body_rotation[b][:, 2]
            h, sx, sy = state.plane
            residual = -np.array([place[2] - h - sx * place[0] - sy * place[1], normal[0] + sx, normal[1] + sy])
            jac = np.zeros((3, 9))
            jac[1:, :3] = (-datum.T @ skew(state.body_rotation[b][:, 2]))[:2]
            jac[0, 3:6] = np.array([-sx, -sy, 1.0]) @ datum.T
            jac[0, 6:] = -1.0, -place[0], -place[1]
            jac[1, 7] = jac[2, 8] = 1.0
            columns = np.concatenate([p.body_columns[b, :6], p.plane_columns])
            sigma = np.array([self.plane_sigma[0], self.plane_sigma[1], self.plane_sigma[1]])
            out.append(Condition(PLANE, p.body_ids[b], columns, jac, residual, np.diag(sigma**2)))
        return out
