"""The table of rooms in DEVELOPERS.md, held against the imports."""

from __future__ import annotations

import ast
from pathlib import Path

import phototemplate

ROOT = Path(phototemplate.__file__).parent
WORDS = {"model", "errors", "settings", "units", "progress", "opencv_check", "wording"}
STAGES = ["numerics", "capture", "network", "edges", "template", "output", "studies"]
FLOW = ["camera_profiles", "calibration", "job", "stage_cache", "edge_cache", "photo_selection", "stage_inputs"]
FLOW += ["pipeline", "proposals", "results", "job_studies", "demo"]
PRESENTATION = {"cli", "web", "__main__"}

EXTRA = {("job", "output"), ("edges", "network")}


def _room(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def _imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] if node.module != "phototemplate" else [f"phototemplate.{a.name}" for a in node.names]
        found |= {n.split(".")[1] for n in names if n.startswith("phototemplate.")}
    return found - {"__version__"}


def test_imports_point_one_way() -> None:
    order = [*STAGES, *FLOW]
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        room = _room(path)
        for other in sorted(_imports(path)):
            if other == room or other in WORDS or room in PRESENTATION or room == "__init__":
                continue
            later = other in PRESENTATION or room in WORDS or order.index(other) > order.index(room)
            if later and (room, other) not in EXTRA:
                wrong.append(f"{path.relative_to(ROOT)} imports {other}")
    assert not wrong, "\n".join(wrong)


def test_presentation_alone_prints_and_exits() -> None:
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        if _room(path) in PRESENTATION:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = ast.unparse(node.func)
                if name in {"print", "exit", "sys.exit", "quit"}:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} calls {name}")
    assert not wrong, "\n".join(wrong)
