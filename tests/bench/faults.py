"""Damaged files, hostile requests, refusing disks, programs killed: nothing but a sentence, nothing lost, nothing mixed.

Files of every kind that the program reads are damaged at random and read (``_fault_inputs``), requests are made up by grammar
(``_fault_http``), and programs are killed at random moments, find a disk that refuses or one another (``_fault_kills``), among
them the app as it runs (``_fault_servers``).
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from tests.bench import BenchResult
from tests.bench import _fault_kills as kills
from tests.bench._fault_http import requests
from tests.bench._fault_inputs import HANG_S, read_damaged
from tests.bench._fault_servers import killed_apps

FILES, REQUESTS = 7500, 2500
KILLED = {"writers": 200, "commands": 50, "servers": 80, "workers": 10, "apps": 40}
"""Programs of each kind that are killed"""


def run(quick: bool) -> BenchResult:
    """A tenth of the inputs and kills where ``quick``."""
    share = 10 if quick else 1
    seed = int(time.time())
    result = BenchResult(f"Faults (seed {seed}): damaged files and requests, kills, disks, clocks, programs at once")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        inputs = [*read_damaged(FILES // share, seed, folder / "files"), requests(REQUESTS // share, seed, folder / "http")]
        n = {kind: count // share for kind, count in KILLED.items()}
        ends = [
            kills.killed_writers(n["writers"], seed, folder / "writers"),
            kills.killed_commands(n["commands"], seed, folder / "commands"),
            kills.killed_servers(n["servers"], seed, folder / "servers"),
            kills.killed_workers(n["workers"], seed),
            killed_apps(n["apps"], seed, folder / "apps"),
            kills.two_at_once(20 // share, folder / "two"),
            kills.two_batches(100 // share, folder / "batches"),
            kills.refusing_disks(folder / "disks"),
            kills.clock_set_back(folder / "clocks"),
        ]
    result.rows = [*(row.cells() for row in inputs), *(row.cells() for row in ends)]
    tried, killed = sum(r.tried for r in inputs), sum(r.tried for r in ends[:5])
    faults = sum(r.failed for r in inputs) + sum(r.faults for r in ends)
    slowest = max(*(r.slowest_s for r in inputs), *(r.slowest_s for r in ends))
    lost, mixed = sum(r.lost for r in ends), sum(r.mixed for r in ends)
    result.target("inputs tried", f">= {10_000 // share}", tried, tried >= 10_000 // share)
    result.target("programs killed", f">= {300 // share}", killed, killed >= 300 // share)
    result.target("tracebacks", "0", faults, faults == 0)
    result.target("slowest in s", f"<= {HANG_S:g}", slowest, slowest <= HANG_S)
    result.target("lost", "0", lost, lost == 0)
    result.target("mixed", "0", mixed, mixed == 0)
    return result
