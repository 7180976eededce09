"""How many threads the linear algebra library starts.

The adjustments solve systems of some hundreds of unknowns, too small to be shared out: OpenBLAS's threads wait for each
other in loops that take the processor from whoever works beside them. Measuring the demo on two cores takes 14 s of processor
time with two threads and 9 s with one, and is done sooner."""

from __future__ import annotations

import os

LIMITS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Variables that the libraries numpy and scipy are built with (OpenBLAS, MKL, Accelerate) read as they are loaded"""


def one_thread() -> None:
    """Let numpy and scipy work in one thread, in this process if they are not imported yet and in every one it starts.

    What the user set already stays."""
    for name in LIMITS:
        os.environ.setdefault(name, "1")
