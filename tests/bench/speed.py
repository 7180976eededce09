"""Time and memory of the demo, beside the floor: decoding plus one plain marker pass per photo."""

from __future__ import annotations

import time

import cv2

from phototemplate.capture.photos import read_gray, read_meta
from phototemplate.demo import DEMO_FOLDER
from tests.bench import BenchResult
from tests.bench._demo import demo_json


def run(quick: bool) -> BenchResult:
    """``quick``: the floor from three photos only."""
    photos = sorted((DEMO_FOLDER / "photos").iterdir())
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000))
    used = photos[:3] if quick else photos
    start = time.perf_counter()
    for path in used:
        detector.detectMarkers(read_gray(read_meta(path)))
    floor = (time.perf_counter() - start) / len(used)
    demo = demo_json()
    result = BenchResult("Speed on the demo kitchen (12 photos of 12 MP)")
    result.rows = [{"what": "photos to results, s", "value": demo["seconds"]}]
    result.rows += [{"what": f"  of this {k}, s", "value": v} for k, v in demo.get("stage_seconds", {}).items()]
    result.rows += [
        {"what": "floor (decode + plain marker pass), s per photo", "value": floor},
        {"what": "floor for all photos, s", "value": floor * len(photos)},
        {"what": "peak memory, MB", "value": demo["peak_mb"]},
    ]
    result.target("photos to DXF", "<= 20 s", demo["seconds"], demo["seconds"] <= 20)
    result.target("memory", "<= 1500 MB", demo["peak_mb"], demo["peak_mb"] <= 1500)
    return result
