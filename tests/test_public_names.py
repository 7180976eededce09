"""The names a program of one's own may use, and the README's example of them, run as it stands there."""

from __future__ import annotations

import contextlib
import io
import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest

import phototemplate
from phototemplate.demo import DEMO_FOLDER, copy_demo

ROOT = Path(phototemplate.__file__).resolve().parents[1]


def test_every_public_name_is_there_and_documented() -> None:
    for name in phototemplate.__all__:
        value = getattr(phototemplate, name)
        assert name == "__version__" or (value.__doc__ or "").strip(), f"{name} says nothing of itself"
    with pytest.raises(AttributeError, match="no attribute 'measure_everything'"):
        _ = phototemplate.measure_everything


def test_importing_the_package_loads_no_library() -> None:
    program = "import sys, phototemplate; print(sorted({'numpy', 'cv2', 'scipy', 'pydantic'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"


@pytest.mark.skipif(not (DEMO_FOLDER / "photos").is_dir(), reason="the demo photos come with the checkout")
def test_the_readme_measures_the_demo_in_five_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The straight edges are compared with the corners of the kitchen that the demo's photos were rendered from."""
    (program,) = re.findall(r"^```python\n(.*?)^```", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.M | re.S)
    assert len(program.splitlines()) == 5
    copy_demo(DEMO_FOLDER, tmp_path / "phototemplate-demo")
    monkeypatch.chdir(tmp_path)
    with contextlib.redirect_stdout(io.StringIO()) as said:
        exec(program, {})
    lines = re.findall(r"^([\w-]+): ([\d.]+) mm, U = ([\d.]+) mm, across it ([\d.]+) mm$", said.getvalue(), flags=re.M)
    assert len(lines) == len(said.getvalue().splitlines())
    truth = json.loads((DEMO_FOLDER / "truth.json").read_text(encoding="utf-8"))
    straight = {edge["id"] for edge in truth["edges"] if edge["shape"] == "line"}
    true_mm: dict[str, float] = {}
    for loop, edges in truth["loops"].items():
        corners = truth["corners"][loop]
        sides = zip(edges, corners, corners[1:] + corners[:1], strict=True)
        true_mm |= {edge: math.dist(a, b) for edge, a, b in sides if edge in straight}
    measured = {name: (float(length), float(u)) for name, length, u, _ in lines}
    assert set(true_mm) <= set(measured)
    for name, true in true_mm.items():
        length, u = measured[name]
        assert abs(length - true) <= u + 0.1, f"{name} is {true:.1f} mm long"  # both are printed to a tenth
