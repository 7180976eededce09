"""Rendered jobs, kept in a folder outside the repository so that they are rendered once.

The folder is ``PHOTOTEMPLATE_BENCH_CACHE``, else ``phototemplate-bench`` in the system's folder for temporary files. Rendering
needs the extra ``render``. With ``PHOTOTEMPLATE_BENCH_RENDER=0`` only jobs that are there already are used.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from demo_images.render.scene import Scene
from demo_images.render.truth import truth
from demo_images.render.variants import make_scene

WIDTH_PX = 1613
"""Of the pictures: two fifths of 12 megapixels along each side"""
SPP, BAKE_SPP = 4, 12
_GEOMETRY = ("corners", "sheets", "strips", "cameras", "cabinets", "lengths")
"""Parts of the truth that depend on the scene alone"""


def cache_folder() -> Path:
    """Where rendered jobs are kept; created if need be."""
    named = os.environ.get("PHOTOTEMPLATE_BENCH_CACHE")
    folder = Path(named) if named else Path(tempfile.gettempdir()) / "phototemplate-bench"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def may_render() -> bool:
    """Whether jobs that are not there may be rendered."""
    return os.environ.get("PHOTOTEMPLATE_BENCH_RENDER", "1") != "0"


def random_kitchen(seed: int) -> Path | None:
    """Folder with ``photos/``, ``job.toml`` and ``truth.json`` of random kitchen ``seed``; None where it is not there and may
    not be rendered.

    A job left by an older state of the scenes is rendered again.
    """
    folder = cache_folder() / f"kitchen-{seed:03d}-{WIDTH_PX}px-{SPP}spp"
    if (folder / "truth.json").is_file():
        wanted = _geometry(truth(make_scene(seed, None, WIDTH_PX)))
        if _geometry(json.loads((folder / "truth.json").read_text(encoding="utf-8"))) == wanted:
            return folder
    if not may_render():
        return None
    from demo_images.render.cli import render_scene

    with tempfile.TemporaryDirectory(dir=cache_folder()) as temporary:
        (Path(temporary) / "prints").mkdir()
        scene: Scene = make_scene(seed, Path(temporary) / "prints", WIDTH_PX)
        with contextlib.redirect_stdout(sys.stderr):
            render_scene(scene, Path(temporary) / "job", spp=SPP, bake_spp=BAKE_SPP)
        if folder.exists():
            shutil.rmtree(folder)
        (Path(temporary) / "job").rename(folder)
    return folder


def _geometry(data: dict[str, Any]) -> Any:
    return json.loads(json.dumps({k: data[k] for k in _GEOMETRY}))
