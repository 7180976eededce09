"""The command line works in one thread of linear algebra, whatever the machine has: counted by the system itself."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

THREADS = """
import contextlib, os, sys
from phototemplate import cli
sys.argv = ["phototemplate", "--version"]
if {told}:
    with contextlib.suppress(SystemExit):
        cli.main()
import numpy, scipy.linalg
scipy.linalg.cho_factor(numpy.eye(900) + 0.0)
print(len(os.listdir("/proc/self/task")))
"""


@pytest.mark.skipif(
    not Path("/proc/self/task").is_dir() or (os.cpu_count() or 1) < 2, reason="counted by Linux, on two cores or more"
)
def test_the_command_line_solves_in_one_thread() -> None:
    free = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}

    def threads(told: bool, **also: str) -> int:
        done = subprocess.run(
            [sys.executable, "-c", THREADS.format(told=told)], env={**free, **also}, capture_output=True, text=True, check=True
        )
        return int(done.stdout.split()[-1])

    assert threads(told=False) > 1
    assert threads(told=True) == 1
    assert threads(told=True, OPENBLAS_NUM_THREADS="2") > 1, "what the user set stays"
