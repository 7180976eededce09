"""Pictures cut into tiles at every halving, so that a page loads only what it shows.

Level 0 is the full size, each further level half of the one before. A set is written into a folder of its own and is
complete when its ``done`` file exists.
"""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from phototemplate.progress import Progress
from phototemplate.web.constants import PHOTO_QUALITY, TILE


def levels_of(size_px: tuple[int, int]) -> int:
    """Levels until the picture fits into one tile."""
    n, longest = 1, max(size_px)
    while longest > TILE:
        longest, n = (longest + 1) // 2, n + 1
    return n


def cut(rgb: NDArray[np.uint8], folder: Path, quality: int = PHOTO_QUALITY, first_level: int = 0) -> None:
    """Write all tiles of a picture (h, w, 3 or h, w) to ``folder``; whole or not at all."""
    if (folder / "done").exists():
        return
    part = folder.with_name(f".{folder.name}-{secrets.token_hex(4)}.part")
    try:
        part.mkdir(parents=True)
        level, picture = first_level, rgb
        while True:
            rows, columns = (picture.shape[0] + TILE - 1) // TILE, (picture.shape[1] + TILE - 1) // TILE
            for r in range(rows):
                for c in range(columns):
                    tile = picture[r * TILE : (r + 1) * TILE, c * TILE : (c + 1) * TILE]
                    bgr = cv2.cvtColor(tile, cv2.COLOR_RGB2BGR) if tile.ndim == 3 else tile
                    ok, data = cv2.imencode(".jpg", np.ascontiguousarray(bgr), [cv2.IMWRITE_JPEG_QUALITY, quality])
                    assert ok
                    (part / f"{level}_{c}_{r}.jpg").write_bytes(data.tobytes())
            if rows * columns == 1:
                break
            # odd sizes are padded so that a pixel of a level covers exactly 2 x 2 of the one below
            h, w = picture.shape[:2]
            if h % 2 or w % 2:
                picture = np.asarray(cv2.copyMakeBorder(picture, 0, h % 2, 0, w % 2, cv2.BORDER_REPLICATE), np.uint8)
            half = (picture.shape[1] // 2, picture.shape[0] // 2)
            picture = np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA), np.uint8)
            level += 1
        (part / "done").write_bytes(b"")
        try:
            os.replace(part, folder)
        except OSError:
            if not (folder / "done").exists():
                shutil.rmtree(folder, ignore_errors=True)
                os.replace(part, folder)
    finally:
        if part.exists():
            shutil.rmtree(part, ignore_errors=True)


def photo_tiles(memory: Any, tell: Progress, path: str, folder: str) -> dict[str, Any]:
    """Cut one photo, in stored orientation."""
    from phototemplate.capture.photos import read_rgb

    del tell
    meta = memory.meta(Path(path))
    if not (Path(folder) / "done").exists():
        cut(read_rgb(meta), Path(folder))
    return {"size": list(meta.size_px), "levels": levels_of(meta.size_px)}


def square_code(memory: Any, tell: Progress, text: str) -> list[list[int]]:
    """A text as a square code: rows of modules, 1 where it is dark, with the four light modules around it."""
    from phototemplate.template.square_code import modules

    del memory, tell
    return modules(text)
