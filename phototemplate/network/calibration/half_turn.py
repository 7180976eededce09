"""Boards that look the same after half a turn: which way round each photo numbered them, by what they have in common.

A chessboard with an even sum of inner corners does not tell its own half turn, so in some photos its corners are numbered from
the other end. On a board exactly as designed nobody can tell, and nothing depends on it. A board that is bent or badly printed
has one shape in all photos, and that shape fits only if all photos are numbered alike. So photos are turned one at a time,
each time the one that makes one common free shape most probable (``Fit.criterion``), until no turn helps. A bent board's
paraboloid looks the same after half a turn, which makes it a sound place to start from.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.errors import MeasureError
from phototemplate.model import Array
from phototemplate.network.calibration.board_fit import fit, unexplained_px
from phototemplate.network.calibration.board_model import BoardPhotos, Fit, Form, Start
from phototemplate.network.calibration.constants import HALF_TURN
from phototemplate.network.constants import HALF_TURN_EVIDENCE, HUBER_BOARD
from phototemplate.network.orientation.views import TargetView
from phototemplate.numerics.rigid import Pose


def numbered_alike(photos: BoardPhotos, start: Start, model: str, exposures: bool = False) -> tuple[BoardPhotos, float]:
    """The photos with their boards numbered from the same end, the first photo's, and the evidence for that: by how much the
    criterion of any other numbering is larger; 0 where the board does not show its half turn.

    Raises :class:`MeasureError` where the photos do not determine the lens.
    """
    bent = fit(photos, Form(model, "bent", exposures), start, huber=HUBER_BOARD)
    extra, form = unexplained_px(bent), Form(model, "free", exposures)
    poses = dict(bent.poses())
    best = fit(photos, form, Start(bent.params, poses), None, extra)
    names = [n for n in photos.views if n in poses]
    for _ in names:
        trials = [(name, _with_turned(photos, best, name, extra, form)) for name in names[1:]]
        _, (turned, found) = min(trials, key=lambda trial: trial[1][1].criterion)
        evidence = found.criterion - best.criterion
        if evidence >= 0.0:
            return photos, evidence if evidence > HALF_TURN_EVIDENCE else 0.0
        photos, best = turned, found
    return photos, 0.0


def _with_turned(photos: BoardPhotos, now: Fit, name: str, extra: float, form: Form) -> tuple[BoardPhotos, Fit]:
    view = photos.views[name]
    points = photos.targets[view.target_id].points_mm
    turned = replace(photos, views={**photos.views, name: _turned(view, points)})
    poses = {**now.poses(), name: _turned_pose(now.poses()[name], points)}
    try:
        return turned, fit(turned, form, Start(now.params, poses), None, extra)
    except (MeasureError, np.linalg.LinAlgError):
        return photos, now


def _turned(view: TargetView, points: Array) -> TargetView:
    """The same corners, numbered from the other end."""
    ids = len(points) - 1 - view.point_ids
    return replace(view, point_ids=ids, local=points[ids])


def _turned_pose(pose: Pose, points: Array) -> Pose:
    """cam_from_board of the turned board."""
    rotation, translation = pose[0], pose[1]
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    return rotation @ HALF_TURN, translation + rotation @ (2.0 * middle * [1.0, 1.0, 0.0])
