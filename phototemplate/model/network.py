"""What the adjustment and the work plane leave behind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from phototemplate.errors import Finding
from phototemplate.model.arrays import Array, IntArray
from phototemplate.model.capture import Target

EXPOSURE = (
    "focus", "centre_x", "centre_y", "turn_x", "turn_y", "turn_z", "shift_x", "shift_y", "shift_z"
)  # fmt: skip
"""What one exposure does to the camera, in the order of :attr:`PhotoPose.exposure`: the principal distance (relative), the
image on the sensor (px), and how the camera turns (rad) and shifts (mm) from the first to the last row that is read."""


@dataclass(frozen=True)
class Camera:
    """One lens at one setting. ``params`` in the order of ``numerics.lens.LENS_MODELS[model].names``."""

    camera_id: str
    model: str
    size_px: tuple[int, int]
    params: Array
    cov: Array
    """(p, p); a profile's own covariance, or that after the adjustment."""
    source: str = "exif"
    """Where the start value came from: profile, exif, vanishing, adjusted, default."""
    distortion_moves: bool = True
    """Whether the distortion moves with the image where the stabiliser shifts it (sensor or whole lens), or stays (a group of
    lenses)."""
    exposure_sd: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Standard deviations over the photos of what exposures do: focus (relative), image shift (px), turn (rad) and shift (mm)
    during the readout; zeros where nothing is known of them."""


@dataclass(frozen=True)
class PhotoPose:
    """Orientation of one photo in the network."""

    photo_id: str
    camera_id: str
    rotation: Array
    """(3, 3) of cam_from_world"""
    translation_mm: Array
    """(3,) of cam_from_world"""
    focus: float = 0.0
    """Relative change of the principal distance of this photo: f_i = f (1 + focus)."""
    centre_px: tuple[float, float] = (0.0, 0.0)
    """Shift of the image on the sensor in this photo, by the stabiliser."""
    readout_turn_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Turn of the scene about the camera's axes from the first to the last row that is read."""
    readout_shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Shift of the scene along the camera's axes from the first to the last row that is read."""

    @property
    def exposure(self) -> Array:
        """(9,) in the order of :data:`EXPOSURE`."""
        return np.array([self.focus, *self.centre_px, *self.readout_turn_rad, *self.readout_shift_mm])

    @classmethod
    def with_exposure(
        cls, photo_id: str, camera_id: str, rotation: Array, translation_mm: Array, exposure: Array
    ) -> PhotoPose:
        """A pose with ``exposure`` (9,) in the order of :data:`EXPOSURE`."""
        e = [float(value) for value in exposure]
        return cls(photo_id, camera_id, rotation, translation_mm, e[0], (e[1], e[2]), (e[3], e[4], e[5]), (e[6], e[7], e[8]))


@dataclass(frozen=True)
class BodyPose:
    """Pose and shape of one rigid target in the network: x_world = R diag(sx, sy, 1) bend(x_target) + t."""

    target_id: str
    rotation: Array
    """(3, 3) of world_from_target"""
    translation_mm: Array
    """(3,) of world_from_target"""
    scale_xy: tuple[float, float] = (1.0, 1.0)
    """Print scale along the sheet's x and y."""
    curl_per_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Second-order bend (cxx, cxy, cyy): z = cxx x^2/2 + cxy x y + cyy y^2/2; zeros unless released."""


@dataclass(frozen=True)
class FreePoint:
    """An adjusted point that belongs to no rigid body (wall strip, plain marker corner)."""

    target_id: str
    point_id: int
    xyz_mm: Array
    """(3,) world"""
    noise_cov_mm2: Array
    """(3, 3) independent part, from this point's own image noise"""
    shared_jac: Array
    """(3, K) sensitivity to the influences"""
    n_photos: int


@dataclass(frozen=True)
class Influences:
    """The shared error sources of one measurement and their joint covariance."""

    names: tuple[str, ...]
    """(K,) e.g. ``"lens:main:f"``, ``"photo:IMG_0003:wx"``, ``"body:S07:tz"``, ``"gap:S04"``."""
    cov: Array
    """(K, K)"""
    parts: Mapping[str, Array]
    """What causes the covariance: group -> (K, K), and the parts sum to ``cov``. Groups are observation groups
    (``"target sightings"``, ``"known length: bar"``, ``"lens prior"``, ``"sheet print scale"``) and type B terms
    (``"paper thickness"``, ``"contact gap"``, ``"edge definition"``)."""

    @property
    def size(self) -> int:
        return len(self.names)


@dataclass(frozen=True)
class TypeB:
    """One further influence that no photo can show, after the GUM's type B evaluation."""

    name: str
    """e.g. ``"gap:back"``, ``"thickness:sheet"``, ``"definition:front-1"``"""
    group: str
    """Budget line: ``"paper thickness"``, ``"contact gap"``, ``"strip thickness"``, ``"edge definition"``"""
    u_mm: float


@dataclass(frozen=True)
class KnownLengthResult:
    """How one known length fared in the adjustment."""

    name: str
    given_mm: float
    """At the temperature of the photos: what was given at 20 degC, expanded to the temperature stated with it"""
    u_mm: float
    adjusted_mm: float
    normalized_residual: float
    smallest_detectable_mm: float
    """Blunder that the network would notice with 80 % power at 0.1 % level (Baarda)."""
    used: bool = True


@dataclass(frozen=True)
class FitTest:
    """One test of an adjustment's residuals against the noise that was stated."""

    name: str
    """What was tested: all sightings, photo, target, targets in photos, parts of the picture, directions"""
    where: str
    """Photo, target or direction; empty where all are tested together"""
    ratio: float
    """Observed over expected variance"""
    limit: float
    """What chance exceeds at the level of the test"""
    exceeded: bool
    """Beyond chance, and larger than noise can be stated"""
    hopeless: bool
    """Too large for a matter of noise"""


@dataclass(frozen=True)
class FitQuality:
    """Whether an adjustment is to be believed."""

    converged: bool = True
    tests: tuple[FitTest, ...] = ()
    birge: float = 1.0
    """By how much the standard deviations of the sightings were enlarged (Birge ratio)"""
    apart_deg: float = 180.0
    """Angle between the directions that targets are seen from, the widest of each, the median of all"""
    withheld: bool = False
    """Not to be cut from: no U can be stated, and nothing may be said to meet a tolerance"""


@dataclass(frozen=True)
class Network:
    """Result of the adjustment: every camera, photo and target in one world frame, with joint covariance."""

    cameras: Mapping[str, Camera]
    photos: Mapping[str, PhotoPose]
    bodies: Mapping[str, BodyPose]
    points: tuple[FreePoint, ...]
    targets: Mapping[str, Target]
    influences: Influences
    """Influences of the network alone; names index lens, photo and body parameters (``network.adjustment.parameters``)."""
    residuals: tuple[PhotoResiduals, ...]
    lengths: tuple[KnownLengthResult, ...]
    scale_known: bool
    sigma0: float
    """Standard deviation of unit weight after the adjustment (expected 1)."""
    redundancy: float
    findings: tuple[Finding, ...] = ()
    quality: FitQuality = FitQuality()


@dataclass(frozen=True)
class PhotoResiduals:
    """Sightings of one photo with what the adjustment made of them."""

    photo_id: str
    target_ids: tuple[str, ...]
    point_ids: IntArray
    uv_px: Array
    """(N, 2) measured"""
    residual_px: Array
    """(N, 2) measured minus adjusted"""
    weight: Array
    """(N,) 1 used, 0 rejected as a wrong sighting, between: down-weighted"""


@dataclass(frozen=True)
class HeightPoint:
    """Height of one sheet or one place of a cabinet above the work plane."""

    name: str
    xy_mm: Array
    """(2,) work frame"""
    height_mm: float
    u_mm: float
    group: str = ""
    """Cabinet it stands for."""
    level: str = ""
    """Level of the tops it lies on; empty where they lie on one."""


@dataclass(frozen=True)
class Level:
    """Tops at about one height: those of a run of cabinets, a raised bar, a lowered baking top."""

    name: str
    height_mm: float
    """Mean height of its sheets over the work plane"""
    u_mm: float
    sheets: tuple[str, ...]


@dataclass(frozen=True)
class WorkPlane:
    """The plane of the cabinet tops and the frame fixed to it; where the tops lie on several levels, that of the main one."""

    rotation: Array
    """(3, 3) of work_from_world"""
    translation_mm: Array
    """(3,) of work_from_world"""
    shared_jac: Array
    """(6, K) perturbation (w, d) of work_from_world per influence; rows as in ``numerics.rigid``."""
    influences: Influences
    """The network's influences, followed by the type B terms of thickness, gaps and edge definition."""
    heights: tuple[HeightPoint, ...]
    findings: tuple[Finding, ...] = ()
    levels: tuple[Level, ...] = ()
    """The main level first, then the others from the highest down; empty where nobody has looked"""
    elsewhere: tuple[HeightPoint, ...] = ()
    """Sheets on other levels than the one this plane was moved to (``network.workplane.on_level``)"""
