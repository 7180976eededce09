"""The calibration of a flat board as a bundle adjustment of COLMAP (Schoenberger and Frahm, CVPR 2016), through pycolmap.

Its own projection, derivatives, Ceres solver and covariance; only the corners and the start of each pose are given. COLMAP's
pixel (0.5, 0.5) is the centre of the first pixel. All corners weigh alike, with a standard deviation of one pixel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from phototemplate.network.calibration.board_model import BoardPhotos
from phototemplate.numerics.rigid import Pose

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ColmapLens:
    """fx, fy, cx, cy (ours: pixel 0 is the first pixel's centre), k1, k2, p1, p2."""

    params: Array
    """(8,)"""
    cov: Array
    """(8, 8) for corners of one pixel standard deviation"""
    poses: Mapping[str, Pose]
    """cam_from_board"""


def adjust_flat_board(photos: BoardPhotos, poses: Mapping[str, Pose], f_px: float) -> ColmapLens:
    """Poses and the OPENCV camera of all ``photos``, the board's points held where they were designed."""
    pycolmap = pytest.importorskip("pycolmap")
    w, h = photos.size_px
    made = pycolmap.Reconstruction()
    camera = pycolmap.Camera(
        camera_id=1, model="OPENCV", width=w, height=h, params=[f_px, f_px, w / 2, h / 2, 0, 0, 0, 0]
    )
    made.add_camera_with_trivial_rig(camera)
    (target_id,) = {v.target_id for v in photos.views.values()}
    points = [made.add_point3D(xyz, pycolmap.Track()) for xyz in photos.targets[target_id].points_mm]
    config = pycolmap.BundleAdjustmentConfig()
    for i, (name, view) in enumerate(photos.views.items()):
        rotation, translation = poses[name]
        image = pycolmap.Image(name=name, camera_id=1, image_id=i + 1, points2D=[pycolmap.Point2D(uv) for uv in view.uv + 0.5])
        made.add_image_with_trivial_frame(image, pycolmap.Rigid3d(pycolmap.Rotation3d(rotation), translation))
        for k, point in enumerate(view.point_ids):
            made.add_observation(points[point], pycolmap.TrackElement(i + 1, k))
        config.add_image(i + 1)
    for point in points:
        config.add_constant_point(point)
    options = pycolmap.BundleAdjustmentOptions()
    options.refine_principal_point = True
    options.print_summary = False
    options.ceres.solver_options.num_threads = 1
    options.ceres.solver_options.gradient_tolerance = 1e-8
    adjuster = pycolmap.create_default_ceres_bundle_adjuster(options, config, made)
    adjuster.solve()
    asked = pycolmap.BACovarianceOptions()
    asked.params = pycolmap.BACovarianceOptionsParams.ALL
    cov = pycolmap.estimate_ba_covariance(asked, made, adjuster).get_other_params_cov(made.cameras[1].params)
    params = np.array(made.cameras[1].params)
    params[2:4] -= 0.5
    ends = {}
    for image in made.images.values():
        pose = image.cam_from_world()
        ends[image.name] = pose.rotation.matrix(), np.array(pose.translation)
    return ColmapLens(params, np.array(cov), ends)
