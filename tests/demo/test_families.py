"""Families of kitchens: what every one of them must be, whatever is drawn."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from shapely import LineString, Polygon

from demo_images.render.families import DEVELOP, FAMILIES, VERIFY, make
from demo_images.render.furniture import door_line, inward
from demo_images.render.phone import IDEAL, PHONES
from demo_images.render.scene import Cabinet, Prism
from demo_images.render.truth import truth

SEEDS = (1, 2)


def test_families_that_judge_are_others() -> None:
    assert not DEVELOP.keys() & VERIFY.keys()
    assert len(DEVELOP) >= 5
    assert len(VERIFY) >= 5
    for a, b in itertools.product(DEVELOP.values(), VERIFY.values()):
        assert a is not b


@pytest.mark.parametrize("name", FAMILIES)
@pytest.mark.parametrize("seed", SEEDS)
def test_kitchen_is_sound(name: str, seed: int) -> None:
    """Loops are simple and anticlockwise, every edge and sheet is there once, cameras are above the tops and in the room."""
    scene = make(name, seed, None)
    data = truth(scene)
    round_tops = [corners for corners in data["corners"].values() if not corners]
    assert len(round_tops) == [e["shape"] for e in data["edges"]].count("circle"), "a whole round top has no corner"
    for corners in filter(None, data["corners"].values()):
        polygon = Polygon(corners)
        assert polygon.is_valid
        assert polygon.exterior.is_ccw
        assert polygon.area > 0.2e6
    ids = [e["id"] for e in data["edges"]]
    assert len(set(ids)) == len(ids)
    assert {e for loop in scene.loops.values() for e in loop} <= set(ids)
    papers = [*(p.id for p in scene.sheets), *(p.id for p in scene.strips)]
    assert len(set(papers)) == len(papers)
    x0, y0, x1, y1 = scene.room
    for camera in scene.cameras:
        assert x0 < camera.eye[0] < x1
        assert y0 < camera.eye[1] < y1
        assert 500 < camera.eye[2] < scene.ceiling_z
    assert all(abs(k["given_mm"] - k["true_mm"]) < 4 * k["u_mm"] for k in data["lengths"])


@pytest.mark.parametrize("name", FAMILIES)
def test_kitchens_of_a_family_differ_and_repeat(name: str) -> None:
    a, b, c = (truth(make(name, seed, None)) for seed in (1, 1, 2))
    assert a == b
    assert a["corners"] != c["corners"]


@pytest.mark.parametrize("name", FAMILIES)
def test_neighbouring_edges_meet_near_their_ends(name: str) -> None:
    """Sides that a wall closes are drawn on over the gap behind the cabinets; nothing else is."""
    data = truth(make(name, 1, None))
    lines = {e["id"]: np.array(e["points_mm"])[:, :2] for e in data["edges"] if e["source"] == "trace"}
    for loop, corners in data["corners"].items():
        for i, corner in enumerate(corners):
            for edge in (data["loops"][loop][i - 1], data["loops"][loop][i]):
                if edge in lines:
                    assert np.linalg.norm(lines[edge][[0, -1]] - corner, axis=1).min() < 80, (edge, corner)


def test_phones_replace_the_one_drawn() -> None:
    two = make("island", 3, None, (IDEAL, PHONES["ultrawide"]))
    assert [c.model for c in two.cameras[:3]] == [IDEAL.model, PHONES["ultrawide"].model, IDEAL.model]
    assert make("island", 3, None).outline == two.outline


def test_door_line_is_proud_and_below() -> None:
    """The upper outer edge of an overlay door lies its thickness before and its gap below the front; an inset one flush."""
    c = Cabinet("c", 100.0, -20.0, 600.0, rot_deg=30.0, dz=-2.0)
    normal = np.array([np.sin(np.radians(30)), -np.cos(np.radians(30))])
    front = c.edge("front")[0]
    door = np.array(door_line(c))
    np.testing.assert_allclose((door[:, :2] - front[:2]) @ normal, 19.0, atol=1e-9)
    np.testing.assert_allclose(door[:, 2], -2.0 - 12.0, atol=1e-9)
    c.inset = True
    np.testing.assert_allclose((np.array(door_line(c))[:, :2] - front[:2]) @ normal, 0.0, atol=1e-9)


def test_outline_moved_inwards_agrees_with_shapely() -> None:
    """The mitred offset of a convex outline is GEOS's (shapely) negative buffer with mitred joins."""
    ring = np.array([[0, 0], [700, -40], [900, 300], [500, 650], [20, 500.0]])
    expected = Polygon(ring).buffer(-18.0, join_style="mitre")
    assert Polygon(inward(ring, 18.0)).symmetric_difference(expected).area < 1e-6


def test_side_of_a_prism_is_its_outline() -> None:
    p = Prism("p", [[0, 0], [400, 0], [400, 300], [0, 300]], -38.0, 1.5)
    assert LineString(p.side(1)[:, :2]).equals(LineString([[400, y] for y in np.linspace(0, 300, 9)]))
    assert set(p.side(1)[:, 2]) == {1.5}
