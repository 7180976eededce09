"""Every setting acts: changed by itself, it changes what comes out of a small case made for it.

``OBSERVED`` names, for every field of every section, the case that shows it and the value it is changed to.
"""

from __future__ import annotations

import pickle
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from phototemplate.capture.detect import detect
from phototemplate.capture.detect_plain import PlainMarkers
from phototemplate.edges.fit import fit_segment
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.readings.choice import choose
from phototemplate.job import JobFile, PaperSpec
from phototemplate.model import EdgeHint, Influences, PhotoMeta, Sightings, WorkPlane
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import Bar, LengthEnd
from phototemplate.network.workplane import fit_work_plane
from phototemplate.output import Material, outline_subject
from phototemplate.output.report.build import render_report
from phototemplate.output.report.topview import TopPicture
from phototemplate.settings import (
    AdjustmentSettings,
    DetectionSettings,
    EdgeSettings,
    OutlineSettings,
    OutputSettings,
    Section,
    Settings,
    WorkPlaneSettings,
)
from phototemplate.stage_inputs import edge_settings_of
from phototemplate.template.outline import LoopEdges, build_outline
from tests.capture.scene import Laid, Shot, take
from tests.edges import shape_data, test_readings, test_sources
from tests.edges.box_scene import BoxScene, kitchen
from tests.network.synthetic import Kitchen
from tests.network.synthetic import kitchen as network_kitchen
from tests.output.samples import measurement
from tests.template.samples import influences, l_kitchen_segments, segment

# ------------------------------------------------------------------------------------------- detection


@cache
def _picture() -> np.ndarray:
    """Two sheets, one of them small, a strip and a plain marker, seen from above."""
    laid = (Laid("S01", -150, 60, 3), Laid("S02", 130, 330, 10), Laid("W03b", 80, -90, 10))
    gray = take(laid, Shot(eye_mm=(20.0, -420.0, 520.0), size_px=(800, 600), focal_px=640.0, supersample=2)).gray
    marker = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 3, 60)
    gray[505:595, 5:95] = 235
    gray[520:580, 20:80] = marker
    return cv2.GaussianBlur(gray, (0, 0), 0.7)


def see(settings: DetectionSettings) -> Sightings:
    """Targets in a small picture."""
    gray = _picture()
    meta = PhotoMeta("P1", Path("P1.jpg"), (gray.shape[1], gray.shape[0]))
    return detect(gray, meta, settings, (PlainMarkers("DICT_4X4_50", 40.0),))


# ---------------------------------------------------------------------------------------------- network


@cache
def _job(kind: str) -> Kitchen:
    more: dict[str, dict[str, Any]] = {
        "plain": {}, "no exif": {"exif": False}, "wrong": {"wrong_share": 0.03},
        "odd": {"odd_scale": {"S03": 0.985}, "curl": {"S04": (2e-4, 0.0, 1e-4)}, "moved": {"S05": (6.0, 0.0, 0.0)}},
        "misread": {}, "shaken": {}, "low": {"low": {"C": 4.0}},
    }  # fmt: skip
    k = network_kitchen(3, n_photos={"odd": 6, "shaken": 8}.get(kind, 5), strips=1, **more[kind])
    if kind == "misread":  # more than half of the points of four sheets lie 6 px off in one photo
        photo = k.photos[1].photo_id
        seen = k.sightings[photo]
        sheets = list(dict.fromkeys(seen.target_ids))[:4]
        there = np.array([t in sheets for t in seen.target_ids]) & (np.random.default_rng(1).random(len(seen)) < 0.6)
        k = replace(k, sightings={**k.sightings, photo: replace(seen, uv_px=seen.uv_px + 6.0 * there[:, None])})
    if kind == "shaken":  # the lens was moved, and the rows of each photo were read while the hand turned
        rng = np.random.default_rng(3)
        moved = {
            p: replace(seen, uv_px=seen.uv_px + rng.normal(0, 15, 2) + np.outer(seen.uv_px[:, 1], rng.normal(0, 2e-3, 2)))
            for p, seen in k.sightings.items()
        }
        k = replace(k, sightings=moved)
    return k


@cache
def _adjusted(kind: str, one: bool = False, marker: bool = False) -> Callable[[AdjustmentSettings], Any]:
    def look(settings: AdjustmentSettings) -> Any:
        k = _job(kind)
        targets = dict(k.targets)
        if marker:
            targets["S01"] = replace(targets["S01"], kind="marker")
        photos = k.photos[:1] if one else k.photos
        bar = Bar("bar", LengthEnd("B01"), LengthEnd("B02"), k.bar_mm, 0.1)
        return adjust({p.photo_id: k.sightings[p.photo_id] for p in photos}, photos, targets, [bar], settings=settings)

    return look


def work_plane(settings: WorkPlaneSettings) -> Any:
    """The plane over cabinets of which one is low."""
    k = _job("low")
    return fit_work_plane(k.truth, k.cabinets, 0.3, settings=settings)


# ------------------------------------------------------------------------------------------------ edges


@cache
def _boxes(low_mm: float) -> BoxScene:
    return kitchen(low_mm)


@cache
def _traced(edge: str) -> Callable[[EdgeSettings], Any]:
    hints = {
        "front": EdgeHint("front", "front", anchor="work", path=np.array([[8.0, -5.0], [412.0, 4.0]])),
        "end": EdgeHint("end", "end", anchor="work", path=np.array([[4.0, 250.0], [-5.0, 30.0]])),
    }
    hints["low"] = hints["front"]

    def look(settings: EdgeSettings) -> Any:
        scene, hint = _boxes(7.0 if edge == "low" else 0.0), hints[edge]
        network = scene.network()
        plane = scene.plane(network, type_b_terms([hint], settings))
        return measure_edges(scene.gray, network, plane, [hint], settings), plane.influences

    return look


def _two_heights(settings: EdgeSettings) -> Any:
    """A faint line at the level of the tops and a sharp one 11 mm above it."""
    low, high = test_readings.line(0.0, evidence=0.1, misfit=2.5), test_readings.line(2.0, rise_mm=11.0)
    return test_readings.choice(low, high, height_limit_mm=settings.height_limit_mm)


def _two_plies(settings: EdgeSettings) -> Any:
    """Two lines 1.2 mm apart, either of which may be the edge."""
    lines = test_readings.line(-0.6, own=0.9), test_readings.line(0.6, own=0.9)
    hint = EdgeHint("end", "end", anchor="work", path=np.array([[0.0, 0.0], [500.0, 0.0]]))
    choice = choose(test_readings.mapped(*lines), hint, settings)
    assert choice is not None
    return choice.rivals_mm


def _butted(settings: EdgeSettings) -> Any:
    network = test_sources.sheets((0.0, 0.01, 0.0))
    return _untraced(network, EdgeHint("wall", "wall", source="contact", targets=("S01", "S02", "S03")), settings)


def _taped(settings: EdgeSettings) -> Any:
    """A strip with one loose point on a wall that swells in its corner."""
    network = test_sources.strip(loose=20)
    swell = 8.0 * np.clip(1.0 - np.array([p.xyz_mm[0] for p in network.points]) / 120.0, 0.0, 1.0) ** 2
    moved = (replace(p, xyz_mm=p.xyz_mm - [0.0, s, 0.0]) for p, s in zip(network.points, swell, strict=True))
    return _untraced(replace(network, points=tuple(moved)), test_sources.STRIP, settings)


def _untraced(network: Any, hint: EdgeHint, settings: EdgeSettings) -> Any:
    terms = type_b_terms([hint], settings)
    cov = np.diag(np.r_[np.diag(network.influences.cov), [t.u_mm**2 for t in terms]])
    shared = Influences(network.influences.names + tuple(t.name for t in terms), cov, {"all": cov})
    plane = WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, shared.size)), shared, ())
    return measure_edges(test_sources.no_photo, network, plane, [hint], settings), shared.cov


@cache
def _fitted(shape: Any, **more: Any) -> Callable[[EdgeSettings], Any]:
    def look(settings: EdgeSettings) -> Any:
        rng = np.random.default_rng(2)
        truth = {"profile": shape_data.wall, "arc": shape_data.bent, "line": shape_data.wall}[shape](rng)
        case = shape_data.scene(rng, truth, **more)
        hint = replace(shape_data.hint(shape), path=case.true_points(np.array([0.0, shape_data.LENGTH])))
        try:
            return fit_segment(case.points, hint, settings, case.influences)
        except Exception as error:  # a refusal is a result too
            return str(error)

    return look


def _claimed_arris(settings: EdgeSettings) -> Any:
    """Its uncertainty counts where a radius is claimed."""
    return _traced("front")(settings.model_copy(update={"arris_mm": 0.7}))


# ----------------------------------------------------------------------------------- outline and output


def outline(settings: OutlineSettings) -> Any:
    """An L with walls, and a run with a flat corner and a gap."""
    walls, loops = l_kitchen_segments()
    p = [[0.0, 0.0], [1000.0, 0.0], [2000.0, 160.0], [2000.0, 700.0], [0.0, 700.0]]
    names = ("front-a", "front-b", "end", "behind", "side")
    run = [segment(n, "front", p[i], p[(i + 1) % 5]) for i, n in enumerate(names)]
    return build_outline([*walls, *run], [*loops, LoopEdges("run", names)], influences(), settings)


def report(settings: OutputSettings) -> Any:
    """The report of an invented measurement, with its top view."""
    m = measurement()
    top = TopPicture(np.full((400, 2400, 3), 128, np.uint8), 0.8, (0.0, 300.0))
    page = render_report(m, settings=settings, top_picture=top, picture_of=lambda _, side: _stripes(side))
    return re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "now", page)


def _stripes(side: int) -> np.ndarray:
    picture = np.zeros((side * 3 // 4, side, 3), np.uint8)
    picture[:, ::7] = 200
    return picture


def drawing(settings: OutputSettings) -> Any:
    """The drawing of the outline."""
    subject = outline_subject(Material(measurement(), settings))
    return subject.draw(settings.text_height_mm), settings.chord_tolerance_mm


Case = Callable[[Any], Any]

OBSERVED: dict[type[Section], Mapping[str, tuple[Case, Any]]] = {
    DetectionSettings: {
        "min_marker_px": (see, 30.0), "search_max_side_px": (see, 500), "max_bit_errors": (see, 0),
        "min_contrast": (see, 250.0), "max_residual": (see, 0.004), "max_patch_residual": (see, 0.004),
        "max_lopsided": (see, 1.05), "arm_of_square": (see, 0.2), "max_arm_px": (see, 4.0),
        "few_points": (see, 500), "blur_warn_px": (see, 0.1), "plain_corner_u_px": (see, 0.3),
    },
    AdjustmentSettings: {
        "lens_model": (_adjusted("plain"), "rational"), "u_focal": (_adjusted("plain"), 0.001),
        "u_focal_guess": (_adjusted("no exif"), 0.01), "u_centre": (_adjusted("plain"), 0.001),
        "stabiliser": (_adjusted("shaken"), False),
        "readout": (_adjusted("shaken"), False), "u_aspect": (_adjusted("plain"), 1e-2), "u_focus": (_adjusted("plain"), 0.0),
        "u_print_common": (_adjusted("plain"), 0.05), "u_print_sheet": (_adjusted("plain"), 0.01),
        "u_marker_px": (_adjusted("plain", marker=True), 3.0), "u_flat_mm": (_adjusted("odd"), 0.3),
        "curl": (_adjusted("odd"), "never"), "thermometer_u_c": (_adjusted("plain"), 20.0),
        "variance": (_adjusted("plain"), "always"), "huber": (_adjusted("wrong"), 0.5), "reject": (_adjusted("wrong"), 2.0),
        "target_reject": (_adjusted("misread"), 1e9), "curl_evidence": (_adjusted("odd"), 1e9),
        "moved_evidence": (_adjusted("odd"), 1e9), "max_iterations": (_adjusted("plain"), 2),
        "plane_height_mm": (_adjusted("plain", one=True), 20.0), "plane_tilt": (_adjusted("plain", one=True), 0.2),
    },
    WorkPlaneSettings: {
        "even_mm": (work_plane, 0.05), "ignore_mm": (work_plane, 9.0), "cabinet_tolerance_mm": (work_plane, 9.0),
        "narrow_mm": (work_plane, 1e4),
    },
    EdgeSettings: {
        **dict.fromkeys(("station_mm", "smooth_mm"), (_traced("front"), 12.0)),
        "rows_per_station": (_traced("front"), 2), "least_px_per_mm": (_traced("front"), 1.9),
        "least_strength": (_traced("front"), 25.0), "candidates": (_traced("end"), 2), "search_low_mm": (_traced("front"), 3.0),
        "search_high_mm": (_traced("low"), 30.0), "height_reach_mm": (_traced("low"), 10.0),
        "height_prior_u_mm": (_traced("front"), 0.2), "height_shape_u_mm": (_traced("front"), 3.0),
        "height_limit_mm": (_two_heights, 40.0), "window_px": (_traced("front"), 1.2),
        "least_u_px": (_traced("front"), 0.5),
        "view_u_px": (_traced("front"), 0.6), "arris_mm": (_traced("front"), 3.0), "arris_u_mm": (_claimed_arris, 1.0),
        "end_margin_mm": (_traced("front"), 30.0), "definition_u_mm": (_traced("front"), 1.0),
        "off_plane_mm": (_traced("low"), 50.0), "close_mm": (_two_plies, 0.9),
        "contact_gap_mm": (_butted, 0.5), "contact_gap_u_mm": (_butted, 0.5), "contact_misfit_mm": (_butted, 0.1),
        "cut_u_mm": (_butted, 0.5), "strip_thickness_mm": (_taped, 1.0), "strip_thickness_u_mm": (_taped, 1.0),
        "strip_standoff_u_mm": (_taped, 1.0), "strip_bulge_u_mm": (_taped, 1.0), "strip_window_mm": (_taped, 2000.0),
        "strip_outlier_mm": (_taped, 9.0), "outlier_factor": (_fitted("line"), 9.0),
        "least_correlation_mm": (_fitted("line", ell=0.0), 60.0), "straight_within_mm": (_fitted("line"), 99.0),
        "end_zone_mm": (_fitted("profile"), 400.0), "max_knots": (_fitted("profile"), 8),
        "min_knot_spacing_mm": (_fitted("profile"), 300.0), "short_edge_mm": (_fitted("line"), 9e3),
        "min_extent_mm": (_fitted("line"), 9e3), "left_out_share": (_fitted("line", wrong=0.1), 0.0),
    },
    OutlineSettings: {
        "max_extension_mm": (outline, 1.0), "unseen_corner_mm": (outline, 0.1), "min_corner_angle_deg": (outline, 5.0),
    },
    OutputSettings: {
        "chord_tolerance_mm": (drawing, 1.0), "text_height_mm": (drawing, 40.0), "band_scale": (drawing, 20.0),
        "inch_denominator": (report, 64), "residual_scale": (report, 20.0), "photo_side_px": (report, 300),
        "photo_quality": (report, 30), "top_view_px": (report, 500),
    },
}  # fmt: skip


@cache
def _usual(case: Case, section: type[Section]) -> bytes:
    return pickle.dumps(case(section()))


@pytest.mark.parametrize(
    ("section", "name"),
    [(s, n) for s, fields in OBSERVED.items() for n in fields],
    ids=lambda v: v if isinstance(v, str) else v.__name__,
)
def test_every_setting_acts(section: type[Section], name: str) -> None:
    case, other = OBSERVED[section][name]
    changed = section.model_validate({name: other})
    assert getattr(changed, name) != getattr(section(), name)
    assert pickle.dumps(case(changed)) != _usual(case, section), f"{section.__name__}.{name} changes nothing"


def test_every_field_of_every_section_has_its_case() -> None:
    sections = {type(getattr(Settings(), name)) for name in Settings.model_fields}
    assert set(OBSERVED) == sections
    for section, fields in OBSERVED.items():
        assert set(fields) == set(section.model_fields), section.__name__


@pytest.mark.parametrize("case", {c for fields in OBSERVED.values() for c, _ in fields.values()}, ids=lambda c: c.__qualname__)
def test_the_same_settings_give_the_same_result(case: Case) -> None:
    """Without this a case that is never the same twice would show every setting."""
    section = next(s for s, fields in OBSERVED.items() if any(c is case for c, _ in fields.values()))
    assert pickle.dumps(case(section())) == _usual(case, section)


def test_the_jobs_paper_goes_before_the_edge_settings() -> None:
    settings = Settings(edges=EdgeSettings(strip_thickness_mm=0.4, strip_thickness_u_mm=0.3))
    assert edge_settings_of(JobFile(settings=settings)) == settings.edges
    said = edge_settings_of(JobFile(settings=settings, paper=PaperSpec(strip_thickness_mm=0.6)))
    assert (said.strip_thickness_mm, said.strip_thickness_u_mm) == (0.6, 0.3)


