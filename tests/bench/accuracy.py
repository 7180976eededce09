"""Errors of the demo kitchen against the truth its photos were made from."""

from __future__ import annotations

from tests.bench import BenchResult
from tests.bench._demo import demo_json

SIXTEENTH_MM = 25.4 / 16


def run(quick: bool) -> BenchResult:
    """One run of the demo; ``quick`` makes no difference."""
    rows = demo_json()["comparison"]
    result = BenchResult("Accuracy on the demo kitchen (12 photos of 12 MP)")
    result.rows = [
        {k: r[k] for k in ("edge", "kind", "length_mm", "error_mm", "U_mm") if k in r}
        | {"inside": abs(r["error_mm"]) <= r["U_mm"]}
        for r in rows
    ]
    straight = [r for r in rows if r["kind"] not in ("wall", "distance", "height")]
    walls = [r for r in rows if r["kind"] == "wall"]
    distances = [r for r in rows if r["kind"] == "distance"]

    def worst(some: list[dict[str, float]], key: str = "error_mm") -> float:
        return max((abs(r[key]) for r in some), default=float("nan"))

    result.target("straight edges, normal to themselves", "<= 0.5 mm", worst(straight), worst(straight) <= 0.5)
    result.target("plan distances up to 3.2 m", "<= 0.8 mm", worst(distances), worst(distances) <= 0.8)
    result.target("wall profiles at 95 % of their length", "<= 0.8 mm", worst(walls), worst(walls) <= 0.8)
    inside = sum(abs(r["error_mm"]) <= r["U_mm"] for r in rows) / len(rows)
    result.target("errors inside the stated U", ">= 90 %", f"{inside:.1%}", inside >= 0.9)
    result.target("largest U", "<= 1/16 in", worst(rows, "U_mm"), worst(rows, "U_mm") <= SIXTEENTH_MM)
    return result
