"""The types that flow from stage to stage. Frozen, documented, no algorithms.

Conventions, declared once for the whole project
-----------------------------------------------
* Lengths in mm, angles in rad, image positions in px; names say so (``_mm _rad _px``).
  Inches and degrees exist only at the user's edge (1 in = 25.4 mm exactly).
* Pixel (0, 0) is the centre of the first pixel, as in OpenCV; image positions are in *stored*
  sensor pixels, before any EXIF rotation.
* Transforms are named ``target_from_source``; a pose is ``(rotation (3,3), translation (3,))`` and maps
  ``x_target = R @ x_source + t``. A pose perturbation is ``(w, d)``, six numbers, rotation first:
  ``R = exp([w]x) R0``, ``t = t0 + d`` (see ``numerics.rigid``).
* Camera frame: x right, y down, z forward (OpenCV).
* Frames: *world* (datum of the adjustment), *target* (one printed sheet: x right, y up when its number
  is readable, z out of the paper), *work* (z = 0 the plane of the cabinet tops, z up, fixed to the sheets),
  *plan* (work turned and shifted within the plane so that x runs along the longest run, y away from the room).
* Uncertainties are standard uncertainties; covariance names end in ``cov``. Reports print U at k = 2.

Shared error (principle 5)
--------------------------
Every stage after the adjustment carries two things side by side: the covariance of its own independent noise,
and the sensitivity (Jacobian) to one common vector of K *influences* (camera poses, lens, sheet poses, scale,
paper thickness, contact gaps ...). The covariance of any result is ``noise_cov + J @ influences.cov @ J.T``.
"""

from __future__ import annotations

from phototemplate.model.arrays import Array, BoolArray, GrayImage, IntArray
from phototemplate.model.capture import PhotoMeta, Sightings, Target
from phototemplate.model.edges import Candidate, EdgeHint, EdgeKind, EdgeTrace, LineName, PlanePoints, Segment, ShapeKind
from phototemplate.model.network import (
    BodyPose,
    Camera,
    FreePoint,
    HeightPoint,
    Influences,
    KnownLengthResult,
    Level,
    Network,
    PhotoPose,
    PhotoResiduals,
    TypeB,
    WorkPlane,
)
from phototemplate.model.outline import EdgeReport, Measurement, Outline, OutlineLoop

__all__ = [
    "Array",
    "BodyPose",
    "BoolArray",
    "Camera",
    "Candidate",
    "EdgeHint",
    "EdgeKind",
    "EdgeReport",
    "EdgeTrace",
    "FreePoint",
    "GrayImage",
    "HeightPoint",
    "Influences",
    "IntArray",
    "KnownLengthResult",
    "Level",
    "LineName",
    "Measurement",
    "Network",
    "Outline",
    "OutlineLoop",
    "PhotoMeta",
    "PhotoPose",
    "PhotoResiduals",
    "PlanePoints",
    "Segment",
    "ShapeKind",
    "Sightings",
    "Target",
    "TypeB",
    "WorkPlane",
]
