"""The plane of a top from one photo to another by what is printed in its surface: grain, joints, things that lie flat on it.

Only features inside the clicked outline are matched, so the homography that most of them agree on is that of the top and not of
the floor or a wall (SIFT: D. Lowe 2004; MAGSAC++: D. Barath et al. 2020, both in OpenCV). It needs no known thing in either
photo; a length somewhere gives the scale.
"""

from __future__ import annotations

import cv2
import numpy as np

from phototemplate.model import Array, GrayImage
from phototemplate.studies.customer import constants as c


def plane_homography(gray: GrayImage, outline_px: Array, other: GrayImage) -> Array | None:
    """(3, 3) px of one photo -> px of another for points of the top whose outline (n, 2) is known in the first; None where too
    little of the surface is seen in both."""
    small, scale = _reduced(gray)
    small_other, scale_other = _reduced(other)
    inside = np.zeros(small.shape, np.uint8)
    cv2.fillPoly(inside, [np.round((outline_px + 0.5) * scale - 0.5).astype(np.int32)], 255)
    finder = cv2.SIFT.create(c.MOST_FEATURES)
    points, words = finder.detectAndCompute(small, inside)
    points_other, words_other = finder.detectAndCompute(small_other, None)
    if words is None or words_other is None or min(len(words), len(words_other)) < c.LEAST_MATCHES:
        return None
    pairs = cv2.BFMatcher().knnMatch(words, words_other, k=2)
    good = [m[0] for m in pairs if len(m) == 2 and m[0].distance < c.CLEARLY_NEARER * m[1].distance]
    if len(good) < c.LEAST_MATCHES:
        return None
    here = (np.array([points[m.queryIdx].pt for m in good]) + 0.5) / scale - 0.5
    there = (np.array([points_other[m.trainIdx].pt for m in good]) + 0.5) / scale_other - 0.5
    found, used = cv2.findHomography(here, there, cv2.USAC_MAGSAC, c.MATCHED_PX / scale_other, maxIters=5000)
    if found is None or np.count_nonzero(used) < c.LEAST_MATCHES:
        return None
    hull = cv2.contourArea(cv2.convexHull(here[np.ravel(used) > 0].astype(np.float32)))
    if hull < c.LEAST_MATCHED_SHARE * cv2.contourArea(cv2.convexHull(outline_px.astype(np.float32))):
        return None
    return np.asarray(found, float)


def _reduced(gray: GrayImage) -> tuple[GrayImage, float]:
    scale = min(1.0, c.MATCH_SIDE_PX / max(gray.shape))
    small = cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1.0 else gray
    return np.asarray(small, np.uint8), scale
