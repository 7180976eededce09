"""Run the demo as a user would, in a process of its own, and read what it prints as JSON."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from functools import cache
from typing import Any


@cache
def demo_json() -> dict[str, Any]:
    """The object ``phototemplate demo --json`` prints."""
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-m", "phototemplate", "demo", "--json", "--folder", folder],
            check=True, capture_output=True, text=True,
        )
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result
