"""Starting values that survive wrong points, and the rule that leaves points out."""

from __future__ import annotations

import numpy as np

from phototemplate.edges.constants import MAD_TO_SD
from phototemplate.edges.shapes.constants import BETTER_POINTS, LEAST_SPAN, STRAIGHT_RADIUS, TRIALS
from phototemplate.edges.shapes.evaluate import ChordFrame, frame_of_chord
from phototemplate.model import Array


def mad_scale(residuals: Array) -> float:
    """Standard deviation from the median absolute deviation (factor 1.4826 for normal noise)."""
    return MAD_TO_SD * float(np.median(np.abs(residuals - np.median(residuals))))


def robust_line(xy_mm: Array, sd_mm: Array) -> ChordFrame:
    """Line with the smallest median of ``|distance| / sd`` among lines through pairs of points (least median of
    squares, P. J. Rousseeuw, J. Amer. Statist. Assoc. 79 (1984) 871), then re-fitted by total least squares to the
    better points.

    Deterministic: the pairs come from a fixed seed.
    """
    n = xy_mm.shape[0]
    rng = np.random.default_rng(0)
    if n * (n - 1) // 2 <= TRIALS:
        first, second = np.triu_indices(n, 1)
    else:
        first, second = rng.integers(0, n, (2, TRIALS))
    span = xy_mm[second] - xy_mm[first]
    length = np.hypot(span[:, 0], span[:, 1])
    # pairs too close together say little about the direction
    keep = length > LEAST_SPAN * float(np.max(length))
    first, span, length = first[keep], span[keep], length[keep]
    normal = np.stack([-span[:, 1], span[:, 0]], axis=1) / length[:, None]
    constant = np.einsum("tk,tk->t", normal, xy_mm[first])
    score = np.median(np.abs(xy_mm @ normal.T - constant) / sd_mm[:, None], axis=0)
    best = int(np.argmin(score))
    distance = (xy_mm @ normal[best] - constant[best]) / sd_mm
    good = np.abs(distance) <= max(BETTER_POINTS * MAD_TO_SD * float(score[best]), 1e-9)
    return principal_line(xy_mm[good], 1.0 / sd_mm[good] ** 2)


def principal_line(xy_mm: Array, weight: Array) -> ChordFrame:
    """Weighted orthogonal line (K. Pearson, Phil. Mag. 2 (1901) 559) as a frame from its first to its last foot
    point."""
    w = weight / np.sum(weight)
    mean = w @ xy_mm
    d = xy_mm - mean
    _, vectors = np.linalg.eigh((d * w[:, None]).T @ d)
    direction = vectors[:, 1]
    s = d @ direction
    ends = np.array([float(np.min(s)), float(np.max(s))])
    return frame_of_chord(mean + ends[:, None] * direction)


def keep_points(residuals: Array, sd: Array, factor: float) -> Array:
    """(N,) bool: points within ``factor`` of what the larger of their own standard deviation and the common scatter
    allows. Below six points nothing is left out: there is no majority to judge by."""
    if residuals.size < 6:
        return np.ones(residuals.size, bool)
    common = max(mad_scale(residuals / sd), 1.0)
    return np.asarray(np.abs(residuals) <= factor * common * sd)


def robust_circle(xy_mm: Array, sd_mm: Array) -> tuple[Array, float] | None:
    """Centre (2,) and radius of the circle with the smallest median of ``|distance| / sd`` among circles through three
    points; None where the points are straight (radius beyond a hundred times their extent)."""
    n = xy_mm.shape[0]
    rng = np.random.default_rng(0)
    triples = np.stack([rng.permutation(n)[:3] for _ in range(TRIALS)])
    a, b, c = xy_mm[triples[:, 0]], xy_mm[triples[:, 1]], xy_mm[triples[:, 2]]
    ab, ac = b - a, c - a
    cross = 2.0 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    extent = float(np.max(np.ptp(xy_mm, axis=0)))
    keep = np.abs(cross) > 1e-6 * extent**2
    if not np.any(keep):
        return None
    ab, ac, a, cross = ab[keep], ac[keep], a[keep], cross[keep]
    ab2, ac2 = np.sum(ab**2, axis=1), np.sum(ac**2, axis=1)
    center = a + np.stack([ac[:, 1] * ab2 - ab[:, 1] * ac2, ab[:, 0] * ac2 - ac[:, 0] * ab2], axis=1) / cross[:, None]
    radius = np.linalg.norm(center - a, axis=1)
    distance = np.abs(np.linalg.norm(xy_mm[:, None] - center, axis=2) - radius)
    best = int(np.argmin(np.median(distance / sd_mm[:, None], axis=0)))
    return None if radius[best] > STRAIGHT_RADIUS * extent else (center[best], float(radius[best]))
