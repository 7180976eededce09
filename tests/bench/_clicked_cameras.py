"""Clicks of a customer's photos from cameras of several kinds, at the level of coordinates: what is drawn nowhere needs no
pixels."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np

from phototemplate.model import Array, PhotoMeta
from phototemplate.numerics import lens
from phototemplate.studies.clicked import fit_clicked
from phototemplate.studies.clicked_problem import ClickedPhoto, KnownThing
from phototemplate.studies.known_sizes import known_size
from tests.network.synthetic import look_at

SIZE_PX = (4000, 3000)
CAMERAS = {
    "wide": (0.5, -0.3, 0.09, False), "wide mild": (0.55, -0.15, 0.03, False), "phone without EXIF": (0.75, 0.02, -0.02, False),
    "phone": (0.75, 0.02, -0.02, True),
}  # fmt: skip
"""Principal distance as a share of the longer side, k1, k2, whether EXIF tells the first"""
CLICK_PX, SHEET_PX, DEPTH_MM = 4.0, 2.0, 620.0


def clicked_lengths(camera: str, seed: int, photos: int) -> tuple[Array, Array]:
    """Relative errors and relative U (n,) of all lengths between six corners of a run, an A4 sheet lying on it."""
    share, k1, k2, told = CAMERAS[camera]
    rng = np.random.default_rng([97, seed])
    run = float(rng.uniform(1500, 3000))
    points = {"a": (0.0, 0.0), "b": (run, 0.0), "c": (run, -DEPTH_MM), "d": (0.0, -DEPTH_MM), "e": (0.4 * run, -DEPTH_MM),
              "f": (0.7 * run, -DEPTH_MM)}  # fmt: skip
    plan = np.array(list(points.values()))
    params = lens.start_params("brown", share * SIZE_PX[0] * rng.normal(1, 0.02), SIZE_PX)
    params[4:6] = k1, k2
    turn = float(rng.uniform(-0.5, 0.5))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    sheet = np.array([[-148.5, -105.0], [148.5, -105.0], [148.5, 105.0], [-148.5, 105.0]]) @ spin.T
    sheet += [run * rng.uniform(0.3, 0.7), -300.0]
    taken = []
    for i in range(photos):
        eye = np.array([run * (0.3 + 0.4 * i / max(photos - 1, 1)), -1500.0 * (share / 0.75) ** 0.3, 1100.0])
        rotation, translation = look_at(eye + rng.normal(0, 60, 3), np.array([run / 2, -250.0, 0.0]), rng.normal(0, 0.05))
        uv, corners = (
            lens.project("brown", params, np.column_stack([xy, np.zeros(len(xy))]) @ rotation.T + translation)[0]
            for xy in (plan, sheet)
        )
        uv, corners = uv + rng.normal(0, CLICK_PX, uv.shape), corners + rng.normal(0, SHEET_PX, corners.shape)
        inside = np.all((uv > 0) & (uv < np.array(SIZE_PX)), axis=1)
        focal35 = share * SIZE_PX[0] * 43.2666 / float(np.hypot(*SIZE_PX)) if told else None
        meta = PhotoMeta(f"p{i}", Path(f"p{i}.jpg"), SIZE_PX, camera_id="camera", focal35_mm=focal35)
        shown = {name: p for name, p, ok in zip(points, uv, inside, strict=True) if ok}
        taken.append(ClickedPhoto(meta, shown, (KnownThing("A4", known_size("A4"), corners, np.full(4, SHEET_PX)),)))
    found = fit_clicked(taken)
    where = {name: k for k, name in enumerate(found.names)}
    errors, U = [], []
    for a, b in itertools.combinations(found.names, 2):
        i, j = where[a], where[b]
        apart = found.xy_mm[j] - found.xy_mm[i]
        length, true = float(np.linalg.norm(apart)), float(np.linalg.norm(np.subtract(points[b], points[a])))
        row = np.zeros(2 * len(where))
        row[2 * j : 2 * j + 2], row[2 * i : 2 * i + 2] = apart / length, -apart / length
        errors.append(length / true - 1.0)
        U.append(2.0 * float(np.sqrt(row @ found.influences.cov @ row)) / true)
    return np.array(errors), np.array(U)
