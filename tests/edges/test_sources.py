"""The sources of edge points: one contract for all, and contact sheets and wall strips against exact geometry."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from phototemplate.edges.fit import fit_segment
from phototemplate.edges.levels import BY_NAME
from phototemplate.edges.measure import measure_edges, type_b_terms
from phototemplate.edges.sources import SOURCES
from phototemplate.errors import Finding
from phototemplate.model import (
    Array,
    BodyPose,
    EdgeHint,
    FreePoint,
    GrayImage,
    Influences,
    Network,
    PlanePoints,
    Target,
    WorkPlane,
)
from phototemplate.numerics.rigid import exp_rotation
from phototemplate.settings import EdgeSettings
from tests.edges.box_scene import kitchen

SETTINGS = EdgeSettings(strip_thickness_mm=0.3, contact_gap_mm=0.1)


def no_photo(photo_id: str) -> GrayImage:
    raise AssertionError(f"nobody should look at {photo_id}")


def measure(network: Network, hint: EdgeHint) -> tuple[PlanePoints | None, tuple[Finding, ...], Influences]:
    terms = type_b_terms([hint], SETTINGS)
    base = network.influences
    cov = np.diag(np.r_[np.diag(base.cov), [t.u_mm**2 for t in terms]])
    influences = Influences(base.names + tuple(t.name for t in terms), cov, {"all": cov})
    plane = WorkPlane(np.eye(3), np.zeros(3), np.zeros((6, influences.size)), influences, ())
    points, _, findings = measure_edges(no_photo, network, plane, [hint], SETTINGS)
    return (points[0] if points else None), findings, influences


# ------------------------------------------------------------------------------------------- contract


@pytest.mark.parametrize("source", SOURCES, ids=lambda s: s.NAME)
def test_contract(source: ModuleType) -> None:
    hint = EdgeHint("e1", "wall", source=source.NAME, anchor="work", path=np.array([[0.0, 0.0], [1.0, 0.0]]))
    assert BY_NAME[source.NAME] is source
    terms = source.type_b_terms(hint, EdgeSettings())
    assert terms
    assert all(t.u_mm > 0 and t.group for t in terms)
    network = replace(kitchen().network(), photos={}, points=(), bodies={})
    points, findings, _ = measure(network, hint)
    assert points is None
    assert {f.code for f in findings} == {"edge-not-found"}
    assert {f.where for f in findings} == {"e1"}


def test_type_b_terms_are_listed_once() -> None:
    hints = [EdgeHint(f"w{k}", "wall", source="strip") for k in range(3)]
    names = [t.name for t in type_b_terms(hints, EdgeSettings())]
    assert names == ["strip thickness"]
    mixed = [EdgeHint("a", "front"), EdgeHint("b", "end", source="contact"), *hints]
    names = [t.name for t in type_b_terms(mixed, EdgeSettings())]
    assert len(names) == len(set(names))


# -------------------------------------------------------------------------------------- contact sheets


def sheets(turn_rad: tuple[float, ...]) -> Network:
    """Sheets butted with their upper edge against the wall y = 1000, each lying a little turned about it."""
    network = kitchen().network()
    bodies, targets, names = {}, {}, list(network.influences.names)
    for k, turn in enumerate(turn_rad):
        target_id = f"S{k + 1:02d}"
        edge = np.array([[-100.0, 70.0], [100.0, 70.0]])
        targets[target_id] = Target(target_id, "sheet", np.zeros((0, 3)), True, (200.0, 140.0), edge)
        rotation = exp_rotation(np.array([0.0, 0.0, turn]))
        middle = np.array([300.0 * k, 1000.0, 2.0])
        bodies[target_id] = BodyPose(target_id, rotation, middle - rotation @ np.array([0.0, 70.0, 0.0]))
        names += [f"body:{target_id}:{c}" for c in ("wx", "wy", "wz", "tx", "ty", "tz")]
    sigma = np.r_[np.sqrt(np.diag(network.influences.cov)), np.tile([1e-4] * 3 + [0.03] * 3, len(turn_rad))]
    influences = Influences(tuple(names), np.diag(sigma**2), {})
    return replace(network, bodies=bodies, targets=targets, influences=influences)


def test_contact_edge_stands_at_the_wall() -> None:
    hint = EdgeHint("wall", "wall", source="contact", targets=("S01", "S02"))
    points, findings, influences = measure(sheets((0.0, 0.0)), hint)
    assert points is not None
    assert not findings
    # the wall is the usual gap beyond the paper
    assert points.xy_mm[:, 1] == pytest.approx(1000.0 + 0.1, abs=1e-9)
    assert np.ptp(points.xy_mm[:, 0]) == pytest.approx(500.0)
    assert points.height_mm == pytest.approx(2.0)
    gap = influences.names.index("gap:wall")
    assert points.shared_jac[:, 1, gap] == pytest.approx(1.0)
    assert points.shared_jac[:, 0, gap] == pytest.approx(0.0, abs=1e-12)
    # a sheet moved by its own ty moves its own points alone
    ty = influences.names.index("body:S01:ty")
    mine = points.xy_mm[:, 0] < 110
    assert points.shared_jac[mine, 1, ty] == pytest.approx(1.0)
    assert points.shared_jac[~mine, 1, ty] == pytest.approx(0.0, abs=1e-12)


def test_contact_sheet_that_does_not_touch() -> None:
    network = sheets((0.0, 0.0, 0.0))
    body = network.bodies["S02"]
    moved = replace(body, translation_mm=body.translation_mm - [0.0, 3.0, 0.0])
    hint = EdgeHint("wall", "wall", source="contact", targets=("S01", "S02", "S03"))
    _, findings, _ = measure(replace(network, bodies={**network.bodies, "S02": moved}), hint)
    assert {f.code for f in findings} == {"contact-sheets-uneven"}


def test_contact_sheet_unknown_to_the_network() -> None:
    hint = EdgeHint("wall", "wall", source="contact", targets=("S01", "S07"))
    points, findings, _ = measure(sheets((0.0,)), hint)
    assert points is not None
    assert [f.facts["sheet"] for f in findings] == ["S07"]


# --------------------------------------------------------------------------------------------- strips


def bowed(x: Array) -> Array:
    """A wall that bows 8 mm into the room over 2 m."""
    return 300.0 - 8.0 * (1 - (x / 1000.0 - 1.0) ** 2)


def strip(loose: int | None = None, turned: bool = False) -> Network:
    """Targets every 40 mm on a strip, its face 0.3 mm before the wall; the cameras stand at smaller y."""
    scene = kitchen()
    network = scene.network()
    x = np.arange(0.0, 2001.0, 40.0)
    slope = np.gradient(bowed(x), x)
    normal = np.stack([slope, -np.ones_like(x)], axis=1) / np.hypot(slope, 1.0)[:, None]
    face = np.column_stack([x, bowed(x)]) + 0.3 * normal
    if loose is not None:
        face[loose] += 4.0 * normal[loose]
    if turned:
        face = face[::-1]
    no_jac = np.zeros((3, network.influences.size))
    points = tuple(
        FreePoint(f"W01{'abcdefghij'[k // 6]}", k % 6, np.r_[p, 12.0], np.eye(3) * 1e-4, no_jac, 3)
        for k, p in enumerate(face)
    )
    at = np.column_stack([40.0 * (np.arange(6) - 2.5), np.zeros((6, 2))])
    pieces = {p.target_id: Target(p.target_id, "strip", at, rigid=False, size_mm=(240.0, 60.0)) for p in points}
    return replace(network, points=points, targets={**network.targets, **pieces})


STRIP = EdgeHint("back", "wall", source="strip", shape="profile", targets=tuple(f"W01{c}" for c in "abcdefghi"))


@pytest.mark.parametrize("turned", [False, True], ids=["left to right", "right to left"])
def test_strip_gives_the_wall_behind_it(turned: bool) -> None:
    points, findings, influences = measure(strip(turned=turned), STRIP)
    assert points is not None
    assert not findings
    off = points.xy_mm[:, 1] - bowed(points.xy_mm[:, 0])
    assert np.abs(off).max() < 0.02
    along = points.xy_mm[:, 0]
    assert (np.diff(along) > 0).all() or (np.diff(along) < 0).all()
    assert points.height_mm == pytest.approx(12.0)
    column = influences.names.index("strip thickness")
    assert points.shared_jac[:, 1, column] == pytest.approx(1.0, abs=0.01)


def test_a_strip_piece_may_stand_off_and_bulge() -> None:
    """First buckling mode of a strip clamped at both ends, (1 - cos(2 pi x / L)) / 2 (Timoshenko and Gere, Theory of Elastic
    Stability): nothing at the ends, half of it at a quarter of the length."""
    points, _, influences = measure(strip(), STRIP)
    assert points is not None
    first = points.xy_mm[:, 0] < 220.0  # W01a, which lies from -20 to 220 mm
    jac = points.shared_jac[:, 1]
    assert jac[first, influences.names.index("strip:W01a")] == pytest.approx(1.0, abs=0.01)
    assert not jac[~first, influences.names.index("strip:W01a")].any()
    x = points.xy_mm[first, 0] + 20.0
    bulge = jac[first, influences.names.index("bulge:W01a")]
    assert bulge == pytest.approx(0.5 * (1.0 - np.cos(2.0 * np.pi * x / 240.0)), abs=0.02)
    assert not jac[~first, influences.names.index("bulge:W01a")].any()


def test_a_swollen_corner_is_not_taken_for_a_loose_strip() -> None:
    """Mud of 8 mm over the last 120 mm: the outermost points stand off a quadratic through their neighbours and are true, for
    the source and for the profile's own rejection."""
    network = strip()
    swell = 8.0 * np.clip(1.0 - np.array([p.xyz_mm[0] for p in network.points]) / 120.0, 0.0, 1.0) ** 2
    moved = tuple(
        replace(p, xyz_mm=p.xyz_mm - np.array([0.0, s, 0.0])) for p, s in zip(network.points, swell, strict=True)
    )
    points, findings, influences = measure(replace(network, points=moved), STRIP)
    assert points is not None
    assert not findings
    segment = fit_segment(points, STRIP, SETTINGS, influences)
    assert len(segment.points_mm) == len(moved)


def test_wrong_point_of_a_strip_is_left_out_and_named() -> None:
    clean, _, _ = measure(strip(), STRIP)
    points, findings, _ = measure(strip(loose=20), STRIP)
    assert clean is not None
    assert points is not None
    assert len(points.xy_mm) == len(clean.xy_mm) - 1
    assert [f.code for f in findings] == ["strip-loose"]
    assert findings[0].facts["strip"] == "W01d"
    assert np.abs(points.xy_mm[:, 1] - bowed(points.xy_mm[:, 0])).max() < 0.05


def test_strip_not_found() -> None:
    points, findings, _ = measure(strip(), replace(STRIP, targets=("W09a",)))
    assert points is None
    assert "edge-not-found" in {f.code for f in findings}
