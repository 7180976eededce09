"""The budget of an edge after the GUM: type A and type B apart, sensitivity coefficients, effective degrees of freedom.

The covariance is a sum of parts by cause (``model.Influences.parts``) that are independent of each other, so the shares of a
quantity's variance add up, and Welch-Satterthwaite (JCGM 100:2008, G.4.1) applies to them. What the degrees of freedom rest
on is stated beside them (``ASSUMED``), because those of type B are a judgement (G.4.2).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from phototemplate.model import Array, Measurement, Segment
from phototemplate.numerics.correlation import autocorrelation, effective_sample_size
from phototemplate.numerics.uncertainty import coverage_factor, effective_dof
from phototemplate.output.assessment import BudgetPart, EdgeBudget, Evaluation, Sensitivity
from phototemplate.studies.constants import (
    BUDGET_SHARE,
    DOF_ASSUMED,
    DOF_STATED,
    LAG_MM,
    LEAST_CORRELATION,
    MOST_CORRELATION,
    SENSITIVITY_SHARE,
)
from phototemplate.template.quantities import State

if TYPE_CHECKING:
    from phototemplate.studies.verdict import WorstPlace

SIGHTINGS = "target sightings"
EDGE_NOISE = "edge noise"
UNSEEN = "wall not seen"
KNOWN_LENGTH = "known length: "

ASSUMED = (
    "Type A is what this measurement's own scatter tells: sightings of targets, noise of edge points from photos or strips.",
    "Sightings have the redundancy of the adjustment as degrees of freedom; edge noise the number of points that count as "
    "independent along the edge, less the number of fitted values.",
    f"Type B uncertainties that the program assumes count as known to 25 %, {DOF_ASSUMED:.0f} degrees of freedom (GUM G.4.2); "
    f"those of known lengths, which you state, as known to 10 %, {DOF_STATED:.0f}.",
    "What a wall may do between and beyond the places where it was seen is judged from how walls usually run: type B.",
    "The cut of contact sheets is stated and not observed, so the noise of an edge from contact sheets is type B.",
)


def edge_budget(m: Measurement, state: State, worst: WorstPlace) -> EdgeBudget:
    """Budget of an edge at its least certain place."""
    shared = worst.gradient @ m.outline.shared_jac
    parts: Sequence[BudgetPart] = contributions(m, state, worst.gradient)
    total = math.sqrt(sum(p.u_mm**2 for p in parts))
    parts = sorted((p for p in parts if p.u_mm > BUDGET_SHARE * total), key=lambda p: -p.u_mm)
    dof, k95 = dof_and_coverage(parts)
    return EdgeBudget(
        edge_id=worst.edge_id,
        where=worst.where,
        u_mm=total,
        u_a_mm=math.sqrt(sum(p.u_mm**2 for p in parts if p.evaluation == "A")),
        u_b_mm=math.sqrt(sum(p.u_mm**2 for p in parts if p.evaluation == "B")),
        dof=dof,
        k95=k95,
        parts=tuple(parts),
        sensitivities=_sensitivities(m, shared, total),
    )


def contributions(m: Measurement, state: State, gradient: Array) -> list[BudgetPart]:
    """Independent contributions to the uncertainty of any quantity, given its gradient (S,) over the outline's state."""
    outline, parts = m.outline, []
    shared = gradient @ outline.shared_jac
    for cause, part in outline.influences.parts.items():
        u = math.sqrt(max(float(shared @ part @ shared), 0.0))
        parts.append(BudgetPart(cause, _evaluation(cause), u, cause_dof(m, cause)))
    for edge_id, where in outline.state_slices.items():
        own = gradient[where]
        if not own.any():
            continue
        segment = state.segments[edge_id]
        unseen = max(float(own @ segment.unseen_cov_mm2 @ own), 0.0) if segment.unseen_cov_mm2 is not None else 0.0
        noise = math.sqrt(max(float(own @ outline.noise_cov_mm2[where, where] @ own) - unseen, 0.0))
        observed = segment.source != "contact"
        parts.append(BudgetPart(UNSEEN, "B", math.sqrt(unseen), DOF_ASSUMED))
        parts.append(BudgetPart(EDGE_NOISE, "A" if observed else "B", noise, noise_dof(segment) if observed else DOF_ASSUMED))
    return parts


def dof_and_coverage(parts: Sequence[BudgetPart], probability: float = 0.95) -> tuple[float, float]:
    """Effective degrees of freedom of independent contributions, and the coverage factor that follows.

    JCGM 100:2008, G.4.1 and G.3.3; the degrees of freedom are truncated to an integer (G.6.4), of which there is one at least.
    """
    dof = effective_dof([p.u_mm for p in parts], [p.dof for p in parts]) if parts else math.inf
    return dof, coverage_factor(probability, max(math.floor(dof), 1) if math.isfinite(dof) else dof)


def noise_dof(segment: Segment) -> float:
    """Points that count as independent along an edge, less the fitted values; one at least.

    The correlation length follows from the residuals' own correlation at ``LAG_MM`` (exponential model).
    """
    n = len(segment.residuals_mm)
    fitted = len(segment.offsets_mm) if segment.fitted is None else segment.fitted
    if n < 3:
        return 1.0
    along = segment.chord_mm[1] - segment.chord_mm[0]
    s = np.sort(segment.points_mm @ (along / np.linalg.norm(along)))
    spacing = float(s[-1] - s[0]) / (n - 1)
    lag = max(LAG_MM, spacing)
    rho = autocorrelation(segment.residuals_mm, segment.points_mm @ (along / np.linalg.norm(along)), lag)
    ell = -lag / math.log(min(rho, MOST_CORRELATION)) if rho > LEAST_CORRELATION else 0.0
    return max(effective_sample_size(n, spacing, ell) - fitted, 1.0)


def _evaluation(cause: str) -> Evaluation:
    return "A" if cause == SIGHTINGS else "B"


def cause_dof(m: Measurement, cause: str) -> float:
    """Degrees of freedom behind one cause of the network's uncertainty; what they rest on is in :data:`ASSUMED`."""
    if cause == SIGHTINGS:
        return max(m.network.redundancy, 1.0)
    return DOF_STATED if cause.startswith(KNOWN_LENGTH) else DOF_ASSUMED


def _sensitivities(m: Measurement, shared: Array, total: float) -> tuple[Sensitivity, ...]:
    """Of the inputs that have one value: known lengths, and the type B terms behind the network's influences.

    A known length's part of the covariance is ``C g g^T C / u^2``, so that ``sqrt(a part a) / u`` is the amount of its
    coefficient. Pictures and priors of many parameters have no single coefficient.
    """
    influences, out = m.outline.influences, []
    for r in m.network.lengths:
        part = influences.parts.get(KNOWN_LENGTH + r.name)
        if part is not None and r.used and r.u_mm > 0.0:
            u = math.sqrt(max(float(shared @ part @ shared), 0.0))
            out.append(Sensitivity(r.name, r.u_mm, u / r.u_mm, u))
    for i in range(m.network.influences.size, influences.size):
        u = math.sqrt(max(float(influences.cov[i, i]), 0.0))
        out.append(Sensitivity(influences.names[i], u, float(shared[i]), abs(float(shared[i])) * u))
    return tuple(sorted((s for s in out if s.contribution_mm > SENSITIVITY_SHARE * total), key=lambda s: -s.contribution_mm))
