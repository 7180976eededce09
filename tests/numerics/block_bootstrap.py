"""Moving-block bootstrap, an answer to what correlated noise does that knows nothing of the model of its correlation."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from phototemplate.model import Array


def block_bootstrap(
    estimate: Callable[[Array], ArrayLike],
    residuals: Array,
    positions: Array,
    block: float,
    rng: np.random.Generator,
    repeats: int = 200,
) -> Array:
    """(repeats, m) estimates from residuals resampled in moving blocks along the line (H. R. Kunsch, Ann. Statist. 17
    (1989) 1217-1241).

    ``estimate`` maps residuals (n,) placed on the given positions to the quantities of interest (m,); ``block`` is the
    block length in the unit of ``positions``, a few correlation lengths.
    """
    order = np.argsort(positions)
    s, r = positions[order], residuals[order]
    n = s.size
    span = float(s[-1] - s[0])
    length = int(np.clip(round(block / max(span, 1e-12) * n), 1, n))
    count = math.ceil(n / length)
    out = []
    for _ in range(repeats):
        starts = rng.integers(0, n - length + 1, size=count)
        index = (starts[:, None] + np.arange(length)).ravel()[:n]
        drawn = np.empty(n)
        drawn[order] = r[index]
        out.append(np.atleast_1d(np.asarray(estimate(drawn), float)))
    return np.array(out)
