"""Known lengths and priors, linearised at a state of the adjustment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from phototemplate.model import Array, IntArray
from phototemplate.network import constants, photo_camera
from phototemplate.network.adjustment.collinearity import bent
from phototemplate.network.adjustment.known_lengths import Condition
from phototemplate.network.adjustment.problem import Problem, State
from phototemplate.numerics import lens
from phototemplate.numerics.rigid import skew

LENS = "lens prior"
FOCUS = "focus prior"
CENTRE = "lens shift of each photo"
TURN = "turn during the readout"
SHIFT = "shift during the readout"
PRINT = "sheet print scale"
CURL = "sheet flatness"
PLANE = "plane assumption"
TURNED = "lens of turned photos"
EXPOSURE_PARTS = {
    FOCUS: photo_camera.FOCUS, CENTRE: photo_camera.CENTRE, TURN: photo_camera.TURN, SHIFT: photo_camera.SHIFT,
}  # fmt: skip
"""Budget line of each variance component of the exposures, and its places in an exposure; in the order of ``exposure_sd``"""
ALL_BATCHES = "common print scale"
"""Name of the condition on the common print scales, two rows per batch"""


class Conditions(Protocol):
    """What is known beside the sightings, linearised at a state."""

    def __call__(self, problem: Problem, state: State) -> Sequence[Condition]:
        """Every condition at ``state``."""
        ...


def length_group(name: str) -> str:
    """Budget line of a known length."""
    return f"known length: {name}"


@dataclass(frozen=True)
class LengthPoint:
    """A place whose position a known length uses: a point of a body, or the mean of some free points."""

    body: int = -1
    local: Array = field(default_factory=lambda: np.zeros(3))
    points: tuple[int, ...] = ()

    def locate(self, problem: Problem, state: State) -> tuple[Array, IntArray, Array]:
        """World position (3,), the columns it depends on (k,) and its Jacobian (3, k)."""
        columns = problem.columns
        if self.body < 0:
            own = columns.point[list(self.points)].ravel()
            jac = np.tile(np.eye(3) / len(self.points), (1, len(self.points)))
            return state.points[list(self.points)].mean(axis=0), own, jac
        b, local = self.body, self.local
        rotation = state.body_rotation[b]
        turned = rotation @ bent(local[None], state.body_scale[b : b + 1], state.body_curl[b : b + 1])[0]
        x, y = local[0], local[1]
        jac = np.column_stack(
            [-skew(turned), np.eye(3), x * rotation[:, 0], y * rotation[:, 1]]
            + [term * rotation[:, 2] for term in (0.5 * x * x, x * y, 0.5 * y * y)]
        )
        own = np.concatenate([columns.body[b], columns.scale[b], columns.curl[b]])
        return turned + state.body_translation[b], own[own >= 0], jac[:, own >= 0]


@dataclass(frozen=True)
class Length:
    """A known length between two places, at the temperature of the photos."""

    name: str
    start: LengthPoint
    end: LengthPoint
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


@dataclass(frozen=True)
class Priors:
    """Everything known beforehand; calling it gives the linearised conditions of a state."""

    lens_mean: tuple[Array, ...]
    lens_cov: tuple[Array | None, ...]
    """per camera (p, p); None: no prior"""
    exposure_sd: Array
    """(cameras, 4) standard deviations of what exposures do: focus, image shift, turn, shift during the readout"""
    u_print_common: Array
    """(Q, 2)"""
    u_print_body: Array
    """(B, 2)"""
    u_curl: Array
    """(B,) per mm"""
    lengths: tuple[Length, ...] = ()
    inflate: Mapping[str, float] = field(default_factory=dict)
    """Factors on the uncertainty of known lengths that disagree"""
    unused: frozenset[str] = frozenset()
    """Known lengths left out"""
    datum_body: int = -1
    """Body in whose frame the common plane of the sheets is given"""
    plane_sigma: tuple[float, float] = (2.0, 0.01)
    plane_bodies: tuple[int, ...] = ()
    exposure_known: Array | None = None
    """(cameras, 4) the same as profiles found them; nan where there is none"""
    ties: tuple[tuple[int, int], ...] = ()
    """Pairs of cameras that are one lens before and after its pictures were turned by half a turn"""

    def __call__(self, problem: Problem, state: State) -> list[Condition]:
        """Every condition at ``state``."""
        out = self._lenses(problem, state) + self._ties(problem, state) + self._print(problem, state)
        out += self._curl(problem, state) + self._plane(problem, state) + self._exposures(problem, state)
        for length in self.lengths:
            if length.name not in self.unused:
                out.append(length.condition(problem, state, self.inflate.get(length.name, 1.0)))
        return out

    def _exposures(self, problem: Problem, state: State) -> list[Condition]:
        out = []
        for g, (group, places) in enumerate(EXPOSURE_PARTS.items()):
            columns, moved = problem.columns.exposure[:, places], state.exposure[:, places]
            sd = np.broadcast_to(self.exposure_sd[problem.photo_camera, g, None], columns.shape)
            used = (columns >= 0) & (sd > 0)
            n = int(used.sum())
            if n:
                out.append(Condition(group, group, columns[used], np.eye(n), -moved[used], np.diag(sd[used] ** 2), sd[used]))
        return out

    def _lenses(self, problem: Problem, state: State) -> list[Condition]:
        out = []
        for c, cov in enumerate(self.lens_cov):
            if cov is not None:
                columns = problem.columns.lenses[c]
                residual = self.lens_mean[c] - state.lenses[c]
                out.append(Condition(LENS, problem.camera_ids[c], columns, np.eye(len(columns)), residual, cov))
        return out

    def _ties(self, problem: Problem, state: State) -> list[Condition]:
        """One lens under pictures turned by half a turn: its centre mirrored at the middle, decentring reversed, the rest
        alike."""
        out, lenses = [], problem.columns.lenses
        for a, b in self.ties:
            names = lens.LENS_MODELS[problem.camera_models[a]].names
            n = len(names)
            sign = np.array([-1.0 if name in ("cx", "cy", "p1", "p2") else 1.0 for name in names])
            mirrored = np.zeros(n)
            mirrored[2:4] = np.array(problem.sensors[a].size_px) - 1.0
            sigma = np.full(n, constants.TIED_K)
            sigma[0], sigma[2:4] = constants.TIED_F * state.lenses[a][0], constants.TIED_PX
            residual = state.lenses[b] - sign * state.lenses[a] - mirrored
            both = np.hstack([np.diag(sign), -np.eye(n)])
            columns = np.concatenate([lenses[a], lenses[b]])
            out.append(Condition(TURNED, problem.camera_ids[b], columns, both, residual, np.diag(sigma**2)))
        return out

    def _print(self, problem: Problem, state: State) -> list[Condition]:
        out, columns = [], problem.columns
        if problem.batches:
            # One printer and one paper for all: the common scales of kinds and directions go together.
            u = self.u_print_common.ravel()
            together = np.where(u < constants.RELEASED, np.sqrt(constants.PRINT_CORRELATION), 0.0)
            cov = np.outer(u, u) * (np.outer(together, together) * (1 - np.eye(len(u))) + np.eye(len(u)))
            residual = 1 - state.print_scale.ravel()
            out.append(Condition(PRINT, ALL_BATCHES, columns.prints.ravel(), np.eye(len(u)), residual, cov))
        both = np.hstack([np.eye(2), -np.eye(2)])
        for b, target in enumerate(problem.body_ids):
            q = problem.body_batch[b]
            own = np.concatenate([columns.scale[b], columns.prints[q]])
            cov = np.diag(self.u_print_body[b] ** 2)
            residual = state.print_scale[q] - state.body_scale[b]
            out.append(Condition(PRINT, target, own, both, residual, cov))
        return out

    def _curl(self, problem: Problem, state: State) -> list[Condition]:
        return [
            Condition(
                CURL,
                problem.body_ids[b],
                problem.columns.curl[b],
                np.eye(3),
                -state.body_curl[b],
                np.eye(3) * self.u_curl[b] ** 2,
            )
            for b in sorted(problem.curl)
        ]

    def _plane(self, problem: Problem, state: State) -> list[Condition]:
        """One photo: the sheets lie in one plane, given by height and slopes in the frame of the datum body."""
        if not problem.plane:
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
            columns = np.concatenate([problem.columns.body[b], problem.columns.plane])
            sigma = np.array([self.plane_sigma[0], self.plane_sigma[1], self.plane_sigma[1]])
            out.append(Condition(PLANE, problem.body_ids[b], columns, jac, residual, np.diag(sigma**2)))
        return out
