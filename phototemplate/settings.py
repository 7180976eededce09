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
    """Smallest side of a marker that is looked for. Chosen on: not recorded."""
    search_max_side_px: int = 6000
    """Larger pictures are searched for markers at half size; points are always measured at full size. Chosen on: not
    recorded."""
    max_bit_errors: int = 1
    """count. Wrong bits of a marker that are forgiven. Chosen on: not recorded."""
    min_contrast: float = 16.0
    """grey levels. Least step from black to white that a saddle point must have. Chosen on: not recorded."""
    max_residual: float = 0.3
    """ratio. Largest rms residual of a saddle point's fit, as a share of half its contrast. Chosen on: not recorded."""
    max_patch_residual: float = 0.4
    """ratio. The same for points so small that all around them is fitted, markers included, in units of light. Chosen on: not
    recorded."""
    max_lopsided: float = 1.95
    """ratio. Largest rms residual of one of the four squares over that of all; 2 means all of it lies in one. Chosen on: not
    recorded."""
    arm_of_square: float = 0.38
    """ratio. Length of a saddle point's window along its edges, as a share of the printed square. Chosen on: not recorded."""
    max_arm_px: float = 24.0
    """The largest such length, however large the square. Chosen on: not recorded."""
    few_points: int = 8
    """count. Fewer target points than this in a photo are remarked on. Chosen on: not recorded."""
    blur_warn_px: float = 2.0
    """Blur (1 sigma) from which a photo 4000 px wide is named; smaller pictures in proportion. Chosen on: not recorded."""
    plain_corner_u_px: float = 0.14
    """Standard uncertainty of the corners of plain markers. Chosen on: not recorded; feeds U."""


class AdjustmentSettings(StageSettings):
    """Bundle adjustment (``network``)."""

    lens_model: str = "brown"
    """Lens model of cameras without a profile: brown, rational or fisheye."""
    u_focal: float = 0.05
    """ratio. Relative standard uncertainty of a principal distance taken from EXIF. Chosen on: not recorded; feeds U."""
    u_focal_guess: float = 0.3
    """ratio. Relative standard uncertainty of a principal distance that is only a guess. Chosen on: not recorded; feeds U."""
    u_centre: float = 0.015
    """ratio. Standard uncertainty of the principal point, as a share of the longer side of the picture. Chosen on: not
    recorded; feeds U."""
    u_aspect: float = 1e-4
    """ratio. Standard uncertainty of the pixels' aspect (phones: square). Chosen on: not recorded; feeds U."""
    u_focus: float = 0.004
    """ratio. Standard deviation of a photo's own change of the principal distance by focusing; 0: none. Chosen on: not
    recorded; feeds U."""
    stabiliser: bool = True
    """Photos may have their image shifted by a stabiliser; how far is estimated."""
    readout: bool = True
    """The camera may move while the rows of a photo are read; how far is estimated."""
    u_print_common: float = 0.005
    """ratio. Standard uncertainty of the print scale all targets of one kind share. Chosen on: not recorded; feeds U."""
    u_print_sheet: float = 0.0005
    """ratio. Standard deviation of a single target's print scale about the common one. Chosen on: not recorded; feeds U."""
    u_marker_px: float = 0.5
    """Added to the uncertainty of plain markers' corners: blur and exposure shift black edges, all of a marker together. Chosen
    on: not recorded; feeds U."""
    u_flat_mm: float = 3.0
    """Standard deviation of the rise of a sheet's corner where its curl is released. Chosen on: not recorded; feeds U."""
    curl: Literal["auto", "never", "always"] = "auto"
    """Release the curl of sheets: where the photos show it, never, or everywhere."""
    thermometer_u_c: float = 4.0
    """Standard uncertainty in degC of a known length's temperature where none is given (taken as 20 degC). Chosen on: not
    recorded; feeds U."""
    variance: Literal["up", "always", "never"] = "up"
    """Scale the sightings' covariance by what their residuals show: only upwards and if significant, always, or never."""
    huber: float = 2.0
    """ratio. Normalized residual from which a sighting counts less in the robust rounds. Chosen on: not recorded."""
    reject: float = 4.13
    """ratio. Normalized residual (of the two coordinates together, as a normal quantile) beyond which a sighting is rejected.
    Chosen on: not recorded; Baarda's (1968) test at 0.1 % finds an error of this size with a power of 80 %."""
    target_reject: float = 4.0
    """ratio. Median normalized residual beyond which all sightings of a target in a photo are rejected together. Chosen on: not
    recorded."""
    curl_evidence: float = 40.0
    """ratio. Drop in chi-squared for which a sheet's curl is released. Chosen on: not recorded."""
    moved_evidence: float = 50.0
    """ratio. Drop in chi-squared for which a target is taken to have moved between photos. Chosen on: not recorded."""
    max_iterations: int = 40
    """count. Iterations of one least-squares run. Chosen on: not recorded."""
    plane_height_mm: float = 2.0
    """One photo only: standard deviation of the sheets' heights about a common plane. Chosen on: not recorded; feeds U."""
    plane_tilt: float = 0.01
    """rad. One photo only: standard deviation of the sheets' tilt against a common plane. Chosen on: not recorded; feeds U."""


class WorkPlaneSettings(StageSettings):
    """Work plane and level map (``network.workplane``)."""

    even_mm: float = 1.0
    """Sheets within this distance of the plane count fully. Chosen on: not recorded."""
    ignore_mm: float = 3.0
    """Sheets farther than this from the plane do not count at all. Chosen on: not recorded."""
    cabinet_tolerance_mm: float = 1.0
    """A cabinet is called low or high where its height minus U exceeds this. Chosen on: not recorded."""
    narrow_mm: float = 120.0
    """Spread of the sheets across their longest direction below which the plane's tilt is called weak. Chosen on: not
    recorded."""


class EdgeSettings(StageSettings):
    """Tracing and fitting edges (``edges``)."""

    station_mm: float = 5.0
    """Distance between the stations along an edge at which photos are read. Chosen on: not recorded."""
    rows_per_station: int = 10
    """count. Most profiles averaged at one station. Chosen on: not recorded."""
    least_px_per_mm: float = 0.25
    """px/mm. A photo in which the edge moves by less than this per mm is not read. Chosen on: not recorded."""
    least_strength: float = 4.0
    """ratio. Weakest grey step that votes, in units of its noise. Chosen on: not recorded."""
    candidates: int = 16
    """count. Lines examined per edge. Chosen on: not recorded."""
    search_low_mm: float = 14.0
    """How far below the expected height lines are looked for (doors, rails), to know them for what they are. Chosen on: not
    recorded."""
    search_high_mm: float = 12.0
    """How far above. Chosen on: not recorded."""
    height_reach_mm: float = 750.0
    """Sheets within this distance say at which height an edge is expected. Chosen on: not recorded."""
    height_prior_u_mm: float = 1.5
    """Standard uncertainty of that expected height. Chosen on: not recorded; feeds U."""
    height_shape_u_mm: float = 0.3
    """Tilt and sag by which an edge's height departs from the plane of its cabinet's sheets (standard deviation). Chosen on:
    not recorded; feeds U."""
    height_limit_mm: float = 5.0
    """An edge further off its expected height than this is taken for another edge. Chosen on: not recorded."""
    window_px: float = 2.5
    """Half width (one sigma) of the window in which a step's position is fitted. Chosen on: not recorded."""
    least_u_px: float = 0.02
    """No single position is trusted better than this. Chosen on: not recorded; feeds U."""
    view_u_px: float = 0.12
    """Light, grain, lens colour and sharpening move an edge by about this much in each photo, much the same along it. Chosen
    on: not recorded; feeds U."""
    smooth_mm: float = 60.0
    """Length over which photos must agree when wrong positions are rejected. Chosen on: not recorded."""
    arris_mm: float | None = None
    """Radius of the rounded arrises of all tops where somebody knows it, 0 where they are sharp; left out, it is measured at
    every edge. An edge of the job may claim its own. Convention: measured."""
    arris_u_mm: float = 0.1
    """Standard uncertainty of a radius that is claimed. Convention: read off a gauge; feeds U."""
    end_margin_mm: float = 6.0
    """Stretch at both ends of a hint that is not read: the neighbouring edge begins there. Chosen on: not recorded."""
    definition_u_mm: float = 0.2
    """Nominal standard uncertainty of where an edge lies on its rounding; the sensitivities carry the size found. Chosen on:
    rendered kitchens; feeds U."""
    contact_gap_mm: float = 0.1
    """How far a butted contact sheet usually stands off (it can touch, it cannot enter). Chosen on: not recorded."""
    contact_gap_u_mm: float = 0.2
    """Standard uncertainty of that gap. Chosen on: not recorded; feeds U."""
    contact_misfit_mm: float = 1.0
    """Contact sheets of one straight edge further off its line than this give the finding ``contact-sheets-uneven``. Chosen on:
    not recorded."""
    cut_u_mm: float = 0.15
    """How well a sheet is cut along its line (standard uncertainty, each sheet for itself). Chosen on: not recorded; feeds
    U."""
    strip_thickness_mm: float = 0.2
    """Paper and tape between a wall strip's print and the wall, where ``[paper]`` does not say it. Chosen on: not recorded."""
    strip_thickness_u_mm: float = 0.1
    """Standard uncertainty of that thickness. Chosen on: not recorded; feeds U."""
    strip_standoff_u_mm: float = 0.1
    """How far a piece of wall strip stands off the wall as a whole (tape under it, dust, a rough wall), standard uncertainty.
    Chosen on: not recorded; feeds U."""
    strip_bulge_u_mm: float = 0.2
    """How far the middle of a piece bulges off the wall between its taped ends, standard uncertainty. A piece that is a
    thousandth of a mm longer than its place already stands off by 0.3 mm (a sine arch of length L and height h is longer by
    pi^2 h^2 / (4 L)), so no care in taping rules it out. Chosen on: not recorded; feeds U."""
    strip_window_mm: float = 120.0
    """Neighbours within this distance tell whether a target of a strip is where it should be. Chosen on: not recorded."""
    strip_outlier_mm: float = 0.8
    """Targets of a strip are left out only if they stand further off their neighbours than this. Chosen on: not recorded."""
    off_plane_mm: float = 2.0
    """Height over or under the plane from which an edge gets a finding. Chosen on: not recorded."""
    close_mm: float = 25.0
    """Other candidates within this distance of the chosen edge may be what was meant. Chosen on: not recorded."""
    outlier_factor: float = 4.0
    """ratio. Points further from the fit than this many standard deviations are left out. Chosen on: not recorded."""
    least_correlation_mm: float = 10.0
    """Noise of traced points is taken as correlated over at least this length along the edge. Chosen on: not recorded; feeds
    U."""
    straight_within_mm: float = 0.5
    """A line that departs from straight by more gives the finding ``edge-not-straight``. Chosen on: not recorded."""
    end_zone_mm: float = 150.0
    """Profiles are finer within about this distance of their ends, where walls swell. Chosen on: not recorded."""
    max_knots: int = 100
    """count. Most knots at which a profile is fitted; those that say nothing of their own are left out afterwards. Chosen on:
    not recorded."""
    min_knot_spacing_mm: float = 20.0
    """Distance of these knots is not smaller than this. Chosen on: not recorded."""
    short_edge_mm: float = 150.0
    """An edge of which less was seen gives the finding ``edge-short``. Chosen on: not recorded."""
    min_extent_mm: float = 10.0
    """Points within so short a stretch have no direction. Chosen on: not recorded."""
    left_out_share: float = 0.25
    """ratio. Share of points left out that gives the finding ``edge-outliers``. Chosen on: not recorded."""


class OutlineSettings(StageSettings):
    """Joining edges to loops (``template.outline``)."""

    max_extension_mm: float = 600.0
    """How far an edge may be run on beyond what was seen of it to meet its neighbour. Chosen on: not recorded."""
    unseen_corner_mm: float = 60.0
    """A wall profile run on further than this to its corner gives the finding ``corner-unseen``. Chosen on: not recorded."""
    min_corner_angle_deg: float = 15.0
    """Edges that meet at a flatter angle give the finding ``corner-grazing``. Chosen on: not recorded."""


class OutputSettings(StageSettings):
    """Files written (``output``)."""

    chord_tolerance_mm: float = 0.05
    """Largest distance of a drawn curve's polyline from the fitted curve. Convention: half of the usual cutting tolerance of
    0.1 mm."""
    text_height_mm: float = 25.0
    """Height of the texts in the DXF of the outline. Convention: 2.5 mm at 1:10."""
    band_scale: float = 50.0
    """ratio. How much larger than true the uncertainty is drawn beside an edge. Convention: layout."""
    inch_denominator: int = 16
    """count. Fractions of an inch are rounded to one of so many parts. Convention: trade, as tape measures are divided."""
    residual_scale: float = 50.0
    """ratio. How much larger than true residuals are drawn over the photos. Convention: layout."""
    photo_side_px: int = 960
    """Longer side of a photo in the report; smaller where there are many photos. Convention: layout."""
    photo_quality: int = 72
    """per cent. JPEG quality of the pictures in the report. Convention: the size of the file."""
    top_view_px: int = 1600
    """Longer side of the rectified picture in the report. Convention: layout."""


class Settings(Section):
    """All sections."""

    detection: DetectionSettings = DetectionSettings()
    adjustment: AdjustmentSettings = AdjustmentSettings()
    work_plane: WorkPlaneSettings = WorkPlaneSettings()
    edges: EdgeSettings = EdgeSettings()
    outline: OutlineSettings = OutlineSettings()
    output: OutputSettings = OutputSettings()
