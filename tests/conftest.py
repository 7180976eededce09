"""Shared fixtures."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def reference_photos() -> Path:
    """Folder of real photographs with published truth; not part of the repository.

    Where ``PHOTOTEMPLATE_REFERENCE_PHOTOS`` is unset the test skips; where ``CI`` is set too, that is a failure.
    """
    folder = os.environ.get("PHOTOTEMPLATE_REFERENCE_PHOTOS")
    if not folder or not Path(folder).is_dir():
        text = "set PHOTOTEMPLATE_REFERENCE_PHOTOS to the folder of reference photographs to run this check"
        if os.environ.get("PHOTOTEMPLATE_REQUIRE_REFERENCE"):
            pytest.fail(text)
        pytest.skip(text)
    return Path(folder).resolve()
