"""Shared fixtures."""

from __future__ import annotations

import os
from pathlib import Path

if "PYTEST_XDIST_WORKER" in os.environ:  # as many processes as cores: a thread each, set before numpy reads it
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest


@pytest.fixture(scope="session")
def reference_photos() -> Path:
    """Folder of real photographs with published truth; not part of the repository.

    Where ``PHOTOTEMPLATE_REFERENCE_PHOTOS`` names no folder the test skips and says so; where
    ``PHOTOTEMPLATE_REQUIRE_REFERENCE`` is set, as in ``.ci/run``, it fails.
    """
    folder = os.environ.get("PHOTOTEMPLATE_REFERENCE_PHOTOS")
    if not folder or not Path(folder).is_dir():
        text = "set PHOTOTEMPLATE_REFERENCE_PHOTOS to the folder of reference photographs to run this check"
        if os.environ.get("PHOTOTEMPLATE_REQUIRE_REFERENCE"):
            pytest.fail(text)
        pytest.skip(text)
    return Path(folder).resolve()
