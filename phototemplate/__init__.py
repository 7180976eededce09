"""phototemplate: countertop templates from ordinary photos, with an uncertainty on every edge.

photos -> Sightings -> Network -> WorkPlane -> PlanePoints -> Segment -> Outline -> pieces -> Drawing -> files

The names below are the public ones: they keep their meaning from version to version. A job folder is read with
``load_job`` or made with ``create_job``, measured with ``measure_job``, or with ``measure_and_write`` also judged and
written as ``phototemplate measure`` does. What comes out is a ``Measurement``; its ``outline.edges`` are ``EdgeReport``.
Lengths are in mm, angles in rad; ``U`` is the expanded uncertainty with coverage factor k = 2. Every error that a
user can cause is a ``PhototemplateError`` whose text is one sentence, every doubt a ``Finding``.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from phototemplate.errors import Finding, PhototemplateError
    from phototemplate.job import Job, create_job, load_job
    from phototemplate.model import EdgeReport, Measurement
    from phototemplate.results import Outcome, measure_and_write, measure_job

__version__ = "0.1.0"
__all__ = [
    "EdgeReport", "Finding", "Job", "Measurement", "Outcome", "PhototemplateError", "__version__", "create_job", "load_job",
    "measure_and_write", "measure_job",
]  # fmt: skip

_HOMES = {"errors": ("Finding", "PhototemplateError"), "job": ("Job", "create_job", "load_job"),
          "model": ("EdgeReport", "Measurement"), "results": ("Outcome", "measure_and_write", "measure_job")}  # fmt: skip


def __getattr__(name: str) -> Any:
    """Public names are imported when first asked for, so that ``phototemplate --help`` need not load the libraries."""
    for home, names in _HOMES.items():
        if name in names:
            return getattr(importlib.import_module(f"phototemplate.{home}"), name)
    raise AttributeError(f"module 'phototemplate' has no attribute {name!r}")
