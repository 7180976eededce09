"""What would be noticed and what would not, in plain words.

For every known length the adjustment states the smallest blunder it would notice (Baarda). What a blunder of just that size
would do to the template if it stayed unnoticed follows from the same covariance: the length's part of a quantity's variance
is ``(a C g / u)^2``, so a blunder b moves the quantity by ``sqrt(part) b / u``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from phototemplate.model import Measurement
from phototemplate.network.projection import body_points
from phototemplate.numerics.reliability import noncentrality
from phototemplate.studies.constants import CHECKED_MM, LEAST_ROUNDED_MM, NICE_STEPS, UNNOTICED_SHARE
from phototemplate.template.quantities import State


@dataclass(frozen=True)
class Reliability:
    """Of one known length or sheet."""

    name: str
    detectable_mm: float
    """Smallest blunder noticed with 80 % power at the 0.1 % level; inf where nothing checks it"""
    effect_mm: float
    """What that blunder would do to the place it moves most, if it stayed unnoticed"""
    effect_on: str
    sentence: str


def of_lengths(m: Measurement) -> tuple[Reliability, ...]:
    """Per known length that was used."""
    state = State(m.outline)
    out = []
    for r in m.network.lengths:
        if not r.used:
            continue
        part = m.outline.influences.parts.get(f"known length: {r.name}")
        per_mm, where = 0.0, ""
        if part is not None:
            for report in m.outline.edges:
                if not any(report.edge_id in loop.edge_ids for loop in m.outline.loops):
                    continue
                start, end = state.stretch(report.edge_id)
                g = (end - start).norm().gradient(state.size) @ m.outline.shared_jac
                moved = math.sqrt(max(float(g @ part @ g), 0.0)) / r.u_mm
                if moved > per_mm:
                    per_mm, where = moved, report.edge_id
        out.append(_length(r.name, r.smallest_detectable_mm, per_mm, where))
    return tuple(out)


def _length(name: str, detectable: float, per_mm: float, where: str) -> Reliability:
    if not math.isfinite(detectable) or detectable > CHECKED_MM:
        text = f"If {name} were misread, nothing would tell; give a second known length."
        return Reliability(name, math.inf, math.inf if per_mm > 0 else 0.0, where, text)
    tell, hide = _round_up(detectable), _round_down(UNNOTICED_SHARE * detectable)
    text = f"If {name} were misread by {tell:g} mm you would be told; by {hide:g} mm you would not"
    text += f", and {where} would come out {per_mm * hide:.1f} mm wrong." if where else "."
    return Reliability(name, detectable, per_mm * detectable, where, text)


def of_sheets(m: Measurement) -> tuple[Reliability, ...]:
    """Per sheet seen in four or more photos: the smallest shift half way through the photos that would be noticed.

    Each half of the photos places the sheet against its neighbours with twice the variance of all of them, so the
    difference of the two places has four times that variance.
    """
    network, cov = m.network, m.network.influences.cov
    ids = [t for t in network.bodies if network.targets[t].kind == "sheet"]
    seen = {t: sum(bool(np.any([i == t for i in r.target_ids])) for r in network.residuals) for t in ids}
    centre, jac = {}, {}
    for t in ids:
        p = body_points(network, t, np.zeros((1, 3)))
        centre[t] = p.xyz_mm[0]
        jac[t] = np.zeros((3, network.influences.size))
        jac[t][:, p.columns] = p.d_influences[0]
    out = []
    for t in ids:
        others = sorted((o for o in ids if o != t), key=lambda o: float(np.linalg.norm(centre[o] - centre[t])))[:3]
        if seen[t] < 4 or not others:
            continue
        relative = jac[t] - np.mean([jac[o] for o in others], axis=0)
        spread = relative @ cov @ relative.T
        u = math.sqrt(float(np.sort(np.linalg.eigvalsh(spread))[1]))
        size = noncentrality() * 2.0 * u
        text = f"If {t} were moved by {_round_up(size):g} mm half way through the photos you would be told."
        out.append(Reliability(t, size, size / 2.0, t, text))
    return tuple(out)


def _round_up(value: float) -> float:
    step = 10.0 ** math.floor(math.log10(max(value, LEAST_ROUNDED_MM)))
    for nice in NICE_STEPS:
        if nice * step >= value - 1e-12:
            return nice * step
    return 10.0 * step


def _round_down(value: float) -> float:
    step = 10.0 ** math.floor(math.log10(max(value, LEAST_ROUNDED_MM)))
    return max(nice * step for nice in NICE_STEPS if nice * step <= value + 1e-12)
