"""Geometry of rendered scenes: what the truth file says must be where the triangles are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from demo_images.render.camera import Camera
from demo_images.render.kitchen import demo_scene
from demo_images.render.paper import strip_point, strip_truth, target_point
from demo_images.render.prints import Printer, print_points
from demo_images.render.scene import Scene, Wall, bowed_line
from demo_images.render.truth import truth
from demo_images.render.variants import make_scene, wall_scene
from phototemplate.capture import design


@pytest.fixture(scope="module")
def scene() -> Scene:
    return demo_scene(None)


def test_wall_bows_as_stated() -> None:
    line = np.array(bowed_line((0, 0), (3000, 0), bow_mm=8.0, n=61))
    assert line[:, 1].min() == pytest.approx(-8.0)
    assert line[np.argmin(line[:, 1]), 0] == pytest.approx(1500)


def test_strips_lie_on_their_wall_and_do_not_stretch(scene: Scene) -> None:
    for strip in scene.strips:
        entry = strip_truth(strip, scene)
        wall = scene.wall(strip.wall)
        pts, normal = wall.line()
        face = LineString(pts + normal * (wall.lean_mm_per_m * strip.z / 1000))
        u = np.linspace(0, strip.length, 50)
        xyz = strip_point(entry, u, strip.height)
        off = [face.distance(Point(*p[:2])) for p in xyz]
        assert min(off) > strip.gap - 0.01
        assert max(off) < strip.gap + strip.loose + 0.01
        dense = strip_point(entry, np.linspace(0, strip.length, 2001), strip.height)
        assert np.linalg.norm(np.diff(dense, axis=0), axis=1).sum() == pytest.approx(strip.length, abs=0.02)


def test_strips_read_from_the_room(scene: Scene) -> None:
    """Seen from the room, a strip's image runs from left to right: x grows along the back wall, y along the left one."""
    for strip in scene.strips:
        points = print_points(strip, scene)
        d = points[-1] - points[0]
        assert (d[0] if strip.wall == "back" else d[1]) > 0


def test_contact_edges_stand_off_by_their_gaps(scene: Scene) -> None:
    by_id = {e.id: e for e in scene.outline}
    for edge_id, sheets in (("gap-right", ("S12", "S13")), ("panel-right", ("S14", "S15"))):
        line = np.array(by_id[edge_id].points)[:, :2]
        t = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
        for name in sheets:
            sheet = next(s for s in scene.sheets if s.id == name)
            ends = target_point(sheet, scene, np.array(sheet.contact)[:, :2])
            assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(sheet.w, abs=0.01)
            off = np.abs((ends[:, :2] - line[0]) @ np.array([-t[1], t[0]]))
            assert (off > 0.03).all()
            assert (off < 0.16).all()


def test_bar_has_its_length_at_24_degrees(scene: Scene) -> None:
    """Aluminium expands by 23.1e-6 per K (Swyt, J. Res. NIST 99 (1994) 31)."""
    a, b = (target_point(next(s for s in scene.sheets if s.id == k), scene, [0.0, 0.0]) for k in ("B01", "B02"))
    assert np.linalg.norm(b - a) == pytest.approx(1187.34 * (1 + 4 * 23.1e-6), abs=0.002)


def test_print_scale_is_applied_about_the_pattern(scene: Scene) -> None:
    sheet = next(s for s in scene.sheets if s.id == "S07")
    marks = design.tape_marks("S07")
    p = print_points(sheet, scene)
    nominal = np.array(design.target("S07").points_mm)
    for a, b, k in (("A", "C", 0), ("D", "E", 1)):
        true = np.linalg.norm(p[marks[a]] - p[marks[b]])
        assert true == pytest.approx(np.linalg.norm(nominal[marks[a]] - nominal[marks[b]]) * sheet.scale[k], abs=1e-6)
    assert p[marks["B"]] == pytest.approx(target_point(sheet, scene, [0.0, 0.0]))


def test_picture_of_a_print_matches_its_region(tmp_path: Path) -> None:
    """A trimmed picture keeps every point where it was."""
    printer = Printer(tmp_path)
    _, whole = printer.picture("W01a")
    _, trimmed = printer.picture("W01a", trim_left_mm=10.0)
    assert trimmed == pytest.approx([whole[0] + 10, *whole[1:]])


def test_camera_scaled_sees_the_same() -> None:
    cam = Camera("c", [0, -1500, 1000], [100, 0, 0], roll_deg=12, dist=[0.08, -0.2, 5e-4, -4e-4, 0.1], rs_deg=[0.02, 0.05, 0])
    points = np.random.default_rng(1).uniform(-500, 500, (20, 3))
    full, half = cam.project(points), cam.scaled(0.5).project(points)
    np.testing.assert_allclose(half, (full + 0.5) / 2 - 0.5, atol=0.02)


def test_loops_are_simple_and_anticlockwise(scene: Scene) -> None:
    for corners in truth(scene)["corners"].values():
        polygon = Polygon(corners)
        assert polygon.is_valid
        assert polygon.exterior.is_ccw


def test_random_kitchens_differ_and_repeat() -> None:
    a, b, c = (truth(make_scene(k, None)) for k in (1, 1, 2))
    assert a == b
    assert a["corners"] != c["corners"]
    for corners in c["corners"].values():
        assert Polygon(corners).is_valid


def test_wall_scene_takes_a_given_wall() -> None:
    shape = [[-150, 0], [700, -9], [2300, 0]]
    s = wall_scene(None, wall_points=shape)
    wall = next(e for e in truth(s)["edges"] if e["id"] == "wall")
    np.testing.assert_allclose(np.array(wall["points_mm"])[:, :2], shape)


def test_sheet_too_long_for_its_wall_is_an_error(tmp_path: Path) -> None:
    s = Scene("short wall", walls=[Wall("w", [[0, 0], [200, 0]])])
    strip = Printer(tmp_path, draw=False).strip("W01a", "w", 0.0, 0.2)
    with pytest.raises(ValueError, match="W01a needs w"):
        strip_truth(strip, s)


def test_rays_agree_with_opencv(tmp_path: Path) -> None:
    """Texture points hit by the renderer's rays through pixels that ``cv2.projectPoints`` computed."""
    pytest.importorskip("mitsuba", reason="needs the extra 'render'")
    from demo_images.render.rays import ray_round_trip_px
    from demo_images.render.renderer import Renderer
    from demo_images.render.verify import check_rays

    printer = Printer(tmp_path)
    s = Scene("small", walls=[Wall("w", bowed_line((-300, 300), (900, 300), bow_mm=9))])
    s.sheets = [printer.sheet("S01", 200, 0, 7, None, 1.5)]
    s.strips = [printer.strip("W01a", "w", 300, 0.2, 0.3)]
    s.cameras = [Camera("c", [150, -900, 700], [250, 50, 0], roll_deg=5, dist=[0.085, -0.19, 6e-4, -4e-4, 0.1])]
    for cam in s.cameras:
        assert ray_round_trip_px(cam, 64) < 0.01
    worst = check_rays(s, Renderer(s, bake_spp=1))
    assert worst.keys() == {"S01", "W01a"}
    assert max(worst.values()) < 0.01
