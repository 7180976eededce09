"""The demo job in the repository: complete, of the promised size, and with nothing of the truth in its hints."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from phototemplate.capture.detect import detect
from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.demo import DEMO_FOLDER
from phototemplate.job import JobFile, load_job
from phototemplate.settings import DetectionSettings
from tests.bench._truth import project

PHOTOS = sorted((DEMO_FOLDER / "photos").glob("*.jpg"))


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    data: dict[str, Any] = json.loads((DEMO_FOLDER / "truth.json").read_text())
    return data


@pytest.fixture(scope="module")
def job() -> JobFile:
    return load_job(DEMO_FOLDER).file


def on_plane(camera: dict[str, Any], uv: np.ndarray, z_mm: float) -> np.ndarray:
    """(N, 3) where the rays of pixels meet the plane z."""
    xy = cv2.undistortPoints(
        uv.reshape(-1, 1, 2), np.array(camera["matrix"]), np.array(camera["dist"]),
        criteria=(cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-10),
    ).reshape(-1, 2)  # fmt: skip
    r, t = np.array(camera["rotation"]), np.array(camera["translation_mm"])
    rays, eye = np.column_stack([xy, np.ones(len(xy))]) @ r, -r.T @ t
    return np.asarray(eye + rays * ((z_mm - eye[2]) / rays[:, 2])[:, None])


def test_twelve_photos_of_twelve_megapixels_within_thirty_megabytes() -> None:
    assert len(PHOTOS) == 12
    assert sum(p.stat().st_size for p in PHOTOS) <= 30e6
    sizes = [Image.open(p).size for p in PHOTOS]
    assert set(sizes) == {(4032, 3024)}


def test_photos_say_what_a_phone_says() -> None:
    metas = [read_meta(p) for p in PHOTOS]
    assert len({m.camera_id for m in metas}) == 1
    assert all(m.focal_mm == pytest.approx(4.25) for m in metas)
    assert sorted(m.orientation for m in metas if m.orientation != 1) == [6, 6, 8]


def test_job_and_truth_name_the_same_things(job: JobFile, truth: dict[str, Any]) -> None:
    assert {e.id for e in job.edges} == {e["id"] for e in truth["edges"]}
    assert {loop.id: loop.edges for loop in job.loops} == truth["loops"]
    assert {p.stem for p in PHOTOS} == {c["id"] for c in truth["cameras"]}


def test_every_traced_edge_is_well_seen_three_times(truth: dict[str, Any]) -> None:
    for edge in truth["edges"]:
        if edge["source"] == "trace":
            assert sum(share >= 0.6 for share in edge["visible"].values()) >= 3, edge["id"]


def test_clicks_are_rough(job: JobFile, truth: dict[str, Any]) -> None:
    """Every click lies 3 to 8 mm beside the true edge, as the job file says: none gives the edge away."""
    true = {e["id"]: np.array(e["points_mm"]) for e in truth["edges"]}
    cameras = {c["id"]: c for c in truth["cameras"]}
    clicked = 0
    for spec in job.edges:
        if spec.photo is None:
            continue
        line = true[spec.id]
        at = on_plane(cameras[spec.photo], np.array(spec.path, float), float(line[:, 2].mean()))
        t = (line[-1] - line[0])[:2] / np.linalg.norm((line[-1] - line[0])[:2])
        aside = np.abs((at[:, :2] - line[0, :2]) @ np.array([-t[1], t[0]]))
        # a cabinet out of level and whole pixels add up to 2 mm
        assert (aside > 1.0).all()
        assert (aside < 10.0).all()
        clicked += len(aside)
    assert clicked >= 8


def test_bar_reading_is_not_the_truth(truth: dict[str, Any]) -> None:
    (bar,) = truth["lengths"]
    at_24 = bar["given_mm"] * (1 + 4 * 23.1e-6)
    assert 0.02 < abs(at_24 - bar["true_mm"]) < 2 * bar["u_mm"]


@pytest.mark.parametrize("photo", [PHOTOS[0], PHOTOS[5]] if len(PHOTOS) == 12 else [], ids=lambda p: p.stem)
def test_strip_points_lie_where_opencv_projects_them(photo: Path, truth: dict[str, Any]) -> None:
    """Renderer, truth file and detector agree: bent strips, distortion and all."""
    camera = next(c for c in truth["cameras"] if c["id"] == photo.stem)
    points = {(s["id"], k): p for s in truth["strips"] for k, p in enumerate(s["points_mm"])}
    meta = read_meta(photo)
    found = detect(read_gray(meta), meta, DetectionSettings())
    keys = [(t, int(k)) for t, k in zip(found.target_ids, found.point_ids, strict=True)]
    mine = np.array([i for i, key in enumerate(keys) if key in points])
    assert len(mine) >= 15
    error = found.uv_px[mine] - project(camera, np.array([points[keys[i]] for i in mine]))
    assert np.median(np.abs(error)) < 0.08
    assert np.abs(error.mean(axis=0)).max() < 0.05
