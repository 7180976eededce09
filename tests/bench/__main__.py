"""``python -m tests.bench NAME [--json] [--quick] [--before FOLDER] [--places [TEXT]]``"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys
from pathlib import Path
from typing import Any

import tests.bench as bench


def _names() -> list[str]:
    return sorted(m.name for m in pkgutil.iter_modules(bench.__path__) if not m.name.startswith("_"))


def _text(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _table(rows: list[dict[str, Any]]) -> str:
    if not rows:
        return "(no rows)"
    heads = list(dict.fromkeys(k for r in rows for k in r))
    cells = [heads] + [[_text(r.get(h, "")) for h in heads] for r in rows]
    widths = [max(len(c[i]) for c in cells) for i in range(len(heads))]
    return "\n".join("  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in cells)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("name", choices=_names())
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--before", type=Path, metavar="FOLDER", help="another checkout, shown beside this one")
    parser.add_argument("--places", nargs="?", const="", metavar="TEXT", help="list the places behind the numbers")
    args = parser.parse_args()
    module = importlib.import_module(f"tests.bench.{args.name}")
    if args.before and not hasattr(module, "compare"):
        parser.error(f"{args.name} does not compare checkouts")
    result: bench.BenchResult = module.run(args.quick)
    if args.places is not None:
        print(*(p for p in result.places if args.places in p), sep="\n")
    elif args.json:
        print(json.dumps({"title": result.title, "rows": result.rows, "targets": result.targets, "misses": result.misses}))
    else:
        if args.before:
            print("Before", _table(module.compare(args.before)), "After", sep="\n\n", end="\n\n")
        print(result.title, _table(result.rows), _table(result.targets), sep="\n\n")
        print(f"\n{len(result.targets) - len(result.misses)} of {len(result.targets)} targets met")
    return 0


if __name__ == "__main__":
    sys.exit(main())
