"""The words of a board calibration: how lens, board and focus are described, what is fitted, and a fit with its evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from phototemplate.model import Array, BoolArray, Sightings, Target
from phototemplate.network.adjustment import bundle
from phototemplate.network.adjustment.bundle import Covariance, Problem, Solution, State
from phototemplate.network.adjustment.variance_components import COMPONENTS
from phototemplate.network.orientation.views import TargetView, views_of
from phototemplate.numerics.rigid import Pose

BoardShape = Literal["flat", "bent", "free"]
"""As designed; bent by a paraboloid and stretched along y; every point adjusted"""
SHAPES: tuple[BoardShape, ...] = get_args(BoardShape)


@dataclass(frozen=True)
class Form:
    """How lens, board and focus are described."""

    lens: str
    """Name in ``numerics.lens.LENS_MODELS``"""
    board: BoardShape
    exposures: bool = True
    """Each photo has its own focus, image shift, and turn and shift during the readout, with variance components that are
    estimated (``network.adjustment.variance_components``); else all photos are one exposure"""


@dataclass(frozen=True)
class BoardPhotos:
    """What is fitted: views of boards, all taken with one lens."""

    views: Mapping[str, TargetView]
    """By name: the photo id, or photo and board where a photo shows several boards"""
    targets: Mapping[str, Target]
    size_px: tuple[int, int]
    hold: frozenset[str] = frozenset()
    """Lens parameters kept at zero"""

    def without(self, names: Sequence[str]) -> BoardPhotos:
        """The same without some views."""
        return replace(self, views={k: v for k, v in self.views.items() if k not in names})


def board_photos(
    sightings: Sequence[Sightings], targets: Mapping[str, Target], size_px: tuple[int, int], least_points: int = 8
) -> BoardPhotos:
    """Views with at least ``least_points`` points that are not on one line."""
    out: dict[str, TargetView] = {}
    for photo, own in views_of(sightings, targets).items():
        for t, v in own.items():
            if v.flat and len(v.uv) >= least_points:
                out[photo if len(own) == 1 else f"{photo} {t}"] = v
    return BoardPhotos(out, targets, size_px)


@dataclass(frozen=True)
class Start:
    """Where a fit starts."""

    params: Array
    poses: Mapping[str, Pose]
    """cam_from_board by view"""
    points: Array | None = None
    """(M, 3) of a free board"""
    sigma_mm: Array | None = None
    """(3,) spread of a free board's points"""
    exposure_sd: Array | None = None
    """(1, 4) variance components of the exposures, as standard deviations"""


@dataclass(frozen=True)
class Fit:
    """A lens fitted under one form."""

    form: Form
    names: tuple[str, ...]
    """Views, in the order of ``problem.photo_ids``"""
    problem: Problem
    solution: Solution
    cov: Covariance
    base: Array
    """(N,) 1 used, 0 left out"""
    fitted: Array
    """(N, 2, 2) covariance of the adjusted sightings in units of their own"""
    sigma_mm: Array
    """(3,) spread of a free board's points"""
    exposure_sd: Array
    """(1, 4) variance components of the exposures, as standard deviations; zeros where all photos are one exposure"""
    extra_px: float
    """What was added in quadrature to the sightings' own standard deviations"""
    targets: Mapping[str, Target]
    log_prior: float
    """Logarithm of the determinant of the prior covariance of lens and, where bent, board"""

    @property
    def state(self) -> State:
        return self.solution.state

    @property
    def used(self) -> BoolArray:
        """(N,) sightings that count."""
        return np.asarray(self.base > 0)

    @property
    def parameters(self) -> float:
        """Effective number of adjusted parameters: trace of what maps sightings to adjusted sightings."""
        return float(np.trace(self.fitted[self.used], axis1=1, axis2=2).sum())

    @property
    def squares(self) -> float:
        """Sum of squared residuals in units of the standard deviations used."""
        return float(np.sum(self.solution.linear.white[self.used] ** 2))

    @property
    def count(self) -> int:
        """Observed coordinates."""
        return 2 * int(self.used.sum())

    @property
    def sigma0(self) -> float:
        """Residuals against the standard deviations used, 1 where these are right."""
        return float(np.sqrt(self.squares / max(self.count - self.parameters, 1.0)))

    @property
    def criterion(self) -> float:
        """Minus twice the logarithm of the evidence, up to what all forms share; smaller is better.

        Laplace's approximation of the probability of the sightings with everything adjusted integrated out (Kass, Raftery,
        J. American Statistical Association 90 (1995) 773-795, eq. 5). Comparable between fits with the same ``extra_px``
        and the same sightings.
        """
        problem = self.problem
        free = np.nonzero(problem.free)[0]
        information = -np.linalg.slogdet(self.cov.shared[np.ix_(free, free)])[1]
        information -= np.linalg.slogdet(self.cov.point_noise)[1].sum() if len(self.cov.point_noise) else 0.0
        prior = self.log_prior
        if self.form.exposures:
            sizes = np.array([kind.places.stop - kind.places.start for kind in COMPONENTS])
            prior += 2 * len(self.names) * float(sizes @ np.log(self.exposure_sd[0]))
        if self.form.board == "free":
            prior += 2 * len(problem.point_ids) * float(np.log(self.sigma_mm).sum())
        return float(2 * self.solution.cost + information + prior)

    @property
    def params(self) -> Array:
        """(p,) of the lens."""
        return self.state.lenses[0]

    @property
    def lens_cov(self) -> Array:
        """(p, p)"""
        columns = self.problem.columns.lenses[0]
        return np.asarray(self.cov.shared[np.ix_(columns, columns)])

    @property
    def rms_px(self) -> float:
        """Per coordinate."""
        return float(np.sqrt(np.mean(self.solution.linear.residual[self.used] ** 2)))

    def poses(self) -> dict[str, Pose]:
        """cam_from_board by view."""
        s = self.state
        return {n: (s.photo_rotation[i], s.photo_translation[i]) for i, n in enumerate(self.names)}

    def start(self) -> Start:
        """To go on from here."""
        free = self.form.board == "free"
        sd = self.exposure_sd if self.form.exposures else None
        return Start(self.params, self.poses(), self.state.points if free else None, self.sigma_mm if free else None, sd)

    def board_points(self) -> dict[str, Array]:
        """(P, 3) of every board as this fit has it, in its own frame; NaN for points of a free board never seen."""
        out = {}
        targets = dict.fromkeys(t for t, _ in self.problem.point_ids) if self.form.board == "free" else self.problem.body_ids
        for b, t in enumerate(targets):
            nominal = self.targets[t].points_mm
            if self.form.board == "free":
                points = np.full(nominal.shape, np.nan)
                rows = [(m, k) for m, (name, k) in enumerate(self.problem.point_ids) if name == t]
                points[[k for _, k in rows]] = self.state.points[[m for m, _ in rows]]
            else:
                n = len(nominal)
                scale, curl = np.tile(self.state.body_scale[b], (n, 1)), np.tile(self.state.body_curl[b], (n, 1))
                points = bundle.bent(nominal, scale, curl)
            out[t] = points
        return out
