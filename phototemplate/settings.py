"""Settings, one frozen section per stage. Unknown keys are refused. A stage receives its own section only.

The job file's ``[settings.<section>]`` tables map onto these classes; every field has a default, a unit in its name and a
line that says what it does.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, model_validator


class Section(BaseModel):
    """Base of all sections: frozen, unknown keys refused, field docstrings become descriptions."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _true_is_no_number(cls, data: Any) -> Any:
        """Python, and with it pydantic, takes ``true`` for 1; somebody who writes a job file does not mean that."""
        if isinstance(data, Mapping):
            for name, info in cls.model_fields.items():
                value = data.get(info.alias or name)
                if isinstance(value, bool) and bool not in (info.annotation, *get_args(info.annotation)):
                    raise ValueError(f"`{info.alias or name}` takes a value, not {str(value).lower()}")
        return data


class StageSettings(Section):
    """Base of the sections below: sizes, counts and thresholds, none of them below zero."""

    @model_validator(mode="after")
    def _not_negative(self) -> StageSettings:
        for name, value in self:
            if isinstance(value, int | float) and value < 0:
                raise ValueError(f"`{name}` cannot be below zero, as {value:g} is")
        return self


class DetectionSettings(StageSettings):
    """Finding targets in photos (``capture``)."""

    min_marker_px: float = 8.0
    """Smallest side of a marker that is looked for"""
    search_max_side_px: int = 6000
    """Larger pictures are searched for markers at half size; points are always measured at full size"""
    max_bit_errors: int = 1
    """Wrong bits of a marker that are forgiven"""
    min_contrast: float = 16.0
    """Grey levels between black and white that a saddle point must have"""
    max_residual: float = 0.3
    """Largest rms residual of a saddle point's fit, as a share of half its contrast"""
    max_patch_residual: float = 0.4
    """The same for points so small that all around them is fitted, markers included, in units of light"""
    max_lopsided: float = 1.95
    """Largest rms residual of one of the four squares over that of all; 2 means all of it lies in one"""
    arm_of_square: float = 0.38
    """Length of a saddle point's window along its edges, as a share of the printed square"""
    max_arm_px: float = 24.0
    """The same, in pixels"""
    few_points: int = 8
    """Fewer target points than this in a photo are remarked on"""
    blur_warn_px: float = 2.0
    """Blur (1 sigma) from which a photo 4000 px wide is named; smaller pictures in proportion"""
    plain_corner_u_px: float = 0.14
    """Standard uncertainty of the corners of plain markers"""


class AdjustmentSettings(StageSettings):
    """Bundle adjustment (``network``)."""

    lens_model: str = "brown"
    """Lens model of cameras without a profile: brown, rational or fisheye."""
    u_focal: float = 0.05
    """Relative standard uncertainty of a principal distance taken from EXIF."""
    u_focal_guess: float = 0.3
    """Relative standard uncertainty of a principal distance that is only a guess."""
    u_centre: float = 0.015
    """Standard uncertainty of the principal point, as a share of the longer side of the picture."""
    u_aspect: float = 1e-4
    """Standard uncertainty of the pixels' aspect (phones: square)."""
    u_focus: float = 0.004
    """Standard deviation of a photo's own change of the principal distance by focusing; 0: none."""
    stabiliser: bool = True
    """Photos may have their image shifted by a stabiliser; how far is estimated."""
    readout: bool = True
    """The camera may move while the rows of a photo are read; how far is estimated."""
    u_print_common: float = 0.005
    """Standard uncertainty of the print scale all targets of one kind share."""
    u_print_sheet: float = 0.0005
    """Standard deviation of a single target's print scale about the common one."""
    u_marker_px: float = 0.5
    """Added to the uncertainty of plain markers' corners: blur and exposure shift black edges, all of a marker together."""
    u_flat_mm: float = 3.0
    """Standard deviation of the rise of a sheet's corner where its curl is released."""
    curl: Literal["auto", "never", "always"] = "auto"
    """Release the curl of sheets: where the photos show it, never, or everywhere."""
    thermometer_u_c: float = 4.0
    """Standard uncertainty in degC of a known length's temperature where none is given (taken as 20 degC)."""
    variance: Literal["up", "always", "never"] = "up"
    """Scale the sightings' covariance by what their residuals show: only upwards and if significant, always, or never."""
    huber: float = 2.0
    """Normalized residual from which a sighting counts less in the robust rounds."""
    reject: float = 4.13
    """Normalized residual (of the two coordinates together, as a normal quantile) beyond which a sighting is rejected."""
    target_reject: float = 4.0
    """Median normalized residual beyond which all sightings of a target in a photo are rejected together."""
    curl_evidence: float = 40.0
    """Drop in chi-squared for which a sheet's curl is released."""
    moved_evidence: float = 50.0
    """Drop in chi-squared for which a target is taken to have moved between photos."""
    max_iterations: int = 40
    """Iterations of one least-squares run."""
    plane_height_mm: float = 2.0
    """One photo only: standard deviation of the sheets' heights about a common plane."""
    plane_tilt: float = 0.01
    """One photo only: standard deviation of the sheets' tilt against a common plane in rad."""


class WorkPlaneSettings(StageSettings):
    """Work plane and level map (``network.workplane``)."""

    even_mm: float = 1.0
    """Sheets within this distance of the plane count fully."""
    ignore_mm: float = 3.0
    """Sheets farther than this from the plane do not count at all."""
    cabinet_tolerance_mm: float = 1.0
    """A cabinet is called low or high where its height minus U exceeds this."""
    narrow_mm: float = 120.0
    """Spread of the sheets across their longest direction below which the plane's tilt is called weak."""


class EdgeSettings(StageSettings):
    """Tracing and fitting edges (``edges``)."""

    station_mm: float = 5.0
    """Distance between the stations along an edge at which photos are read"""
    rows_per_station: int = 10
    """Most profiles averaged at one station"""
    least_px_per_mm: float = 0.25
    """A photo in which the edge moves by less than this per mm is not read"""
    least_strength: float = 4.0
    """Weakest grey step that votes, in units of its noise"""
    candidates: int = 16
    """Lines examined per edge"""
    search_low_mm: float = 14.0
    """How far below the expected height lines are looked for (doors, rails), to know them for what they are"""
    search_high_mm: float = 12.0
    """How far above"""
    height_reach_mm: float = 750.0
    """Sheets within this distance say at which height an edge is expected"""
    height_prior_u_mm: float = 1.5
    """Standard uncertainty of that expected height"""
    height_shape_u_mm: float = 0.3
    """Tilt and sag by which an edge's height departs from the plane of its cabinet's sheets (standard deviation)"""
    height_limit_mm: float = 5.0
    """An edge further off its expected height than this is taken for another edge"""
    window_px: float = 2.5
    """Half width (one sigma) of the window in which a step's position is fitted"""
    least_u_px: float = 0.02
    """No single position is trusted better than this"""
    view_u_px: float = 0.12
    """Light, grain, lens colour and sharpening move an edge by about this much in each photo, much the same along it"""
    smooth_mm: float = 60.0
    """Length over which photos must agree when wrong positions are rejected"""
    arris_mm: float = 0.75
    """Radius of the rounded edges of cabinet tops, where it is not known better (edges are commonly eased to 1/32 in); the
    correction to the outermost line in plan scales with it"""
    arris_u_mm: float = 0.25
    """Standard uncertainty of that radius"""
    end_margin_mm: float = 6.0
    """Stretch at both ends of a hint that is not read: the neighbouring edge begins there"""
    definition_u_mm: float = 0.2
    """Nominal standard uncertainty of where an edge lies on its rounding; the sensitivities carry the size found"""
    contact_gap_mm: float = 0.1
    """How far a butted contact sheet usually stands off (it can touch, it cannot enter)"""
    contact_gap_u_mm: float = 0.2
    """Standard uncertainty of that gap"""
    contact_misfit_mm: float = 1.0
    """Contact sheets of one straight edge further off its line than this give the finding ``contact-sheets-uneven``"""
    cut_u_mm: float = 0.15
    """How well a sheet is cut along its line (standard uncertainty, each sheet for itself)"""
    strip_thickness_mm: float = 0.2
    """Paper and tape between a wall strip's print and the wall, where ``[paper]`` does not say it"""
    strip_thickness_u_mm: float = 0.1
    """Standard uncertainty of that thickness"""
    strip_standoff_u_mm: float = 0.1
    """How far a piece of wall strip stands off the wall as a whole (tape under it, dust, a rough wall), standard uncertainty"""
    strip_bulge_u_mm: float = 0.2
    """How far the middle of a piece bulges off the wall between its taped ends, standard uncertainty. A piece that is a
    thousandth of a mm longer than its place already stands off by 0.3 mm (a sine arch of length L and height h is longer by
    pi^2 h^2 / (4 L)), so no care in taping rules it out."""
    strip_window_mm: float = 120.0
    """Neighbours within this distance tell whether a target of a strip is where it should be"""
    strip_outlier_mm: float = 0.8
    """Targets of a strip are left out only if they stand further off their neighbours than this"""
    off_plane_mm: float = 2.0
    """Height over or under the plane from which an edge gets a finding"""
    close_mm: float = 25.0
    """Other candidates within this distance of the chosen edge may be what was meant"""
    outlier_factor: float = 4.0
    """Points further from the fit than this many standard deviations are left out"""
    least_correlation_mm: float = 10.0
    """Noise of traced points is taken as correlated over at least this length along the edge"""
    straight_within_mm: float = 0.5
    """A line that departs from straight by more gives the finding ``edge-not-straight``"""
    end_zone_mm: float = 150.0
    """Profiles are finer within about this distance of their ends, where walls swell"""
    max_knots: int = 100
    """Most knots at which a profile is fitted; those that say nothing of their own are left out afterwards"""
    min_knot_spacing_mm: float = 20.0
    """Distance of these knots is not smaller than this"""
    short_edge_mm: float = 150.0
    """An edge of which less was seen gives the finding ``edge-short``"""
    min_extent_mm: float = 10.0
    """Points within so short a stretch have no direction"""
    left_out_share: float = 0.25
    """Share of points left out that gives the finding ``edge-outliers``"""


class OutlineSettings(StageSettings):
    """Joining edges to loops (``template.outline``)."""

    max_extension_mm: float = 600.0
    """How far an edge may be run on beyond what was seen of it to meet its neighbour"""
    unseen_corner_mm: float = 60.0
    """A wall profile run on further than this to its corner gives the finding ``corner-unseen``"""
    min_corner_angle_deg: float = 15.0
    """Edges that meet at a flatter angle give the finding ``corner-grazing``"""


class OutputSettings(StageSettings):
    """Files written (``output``)."""

    chord_tolerance_mm: float = 0.05
    """Largest distance of a drawn curve's polyline from the fitted curve."""
    text_height_mm: float = 25.0
    """Height of the texts in the DXF of the outline."""
    band_scale: float = 50.0
    """How much larger than true the uncertainty is drawn beside an edge."""
    inch_denominator: int = 16
    """Fractions of an inch are rounded to one of so many parts."""
    residual_scale: float = 50.0
    """How much larger than true residuals are drawn over the photos."""
    photo_side_px: int = 960
    """Longer side of a photo in the report; smaller where there are many photos."""
    photo_quality: int = 72
    """JPEG quality of the pictures in the report."""
    top_view_px: int = 1600
    """Longer side of the rectified picture in the report."""


class Settings(Section):
    """All sections."""

    detection: DetectionSettings = DetectionSettings()
    adjustment: AdjustmentSettings = AdjustmentSettings()
    work_plane: WorkPlaneSettings = WorkPlaneSettings()
    edges: EdgeSettings = EdgeSettings()
    outline: OutlineSettings = OutlineSettings()
    output: OutputSettings = OutputSettings()
