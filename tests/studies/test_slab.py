"""Pieces on a photographed slab: scale and place against the truth of drawn photos, layouts against shapely, pictures by marks.

The slab is drawn here: an even grey with coloured dots at known places, photographed as ``tests.capture.scene`` does.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import shapely
from PIL import Image

from phototemplate.errors import InputError, MeasureError
from phototemplate.job import load_job
from phototemplate.job_studies import lay_on_slab
from phototemplate.results import Wanted, write_drawn
from phototemplate.studies.slab_layout import Group, Part, groups_of, lay_out
from tests.capture.scene import Laid, Shot, take

SLAB_MM = (1500.0, 900.0)
SHEETS = [Laid("S01", -560.0, -280.0), Laid("S02", 560.0, 270.0, 90.0), Laid("S03", -540.0, 290.0)]
VIEWS = [((0.0, -900.0, 1500.0), 0), ((700.0, 500.0, 1500.0), 1), ((-800.0, 300.0, 1450.0), 2), ((100.0, 100.0, 1800.0), 3)]
DOTS = {(300.0, 200.0): (200, 30, 30), (900.0, 500.0): (30, 160, 30), (1200.0, 250.0): (30, 30, 200)}
"""mm from the slab's lower left corner -> colour"""
CRACK = [(620.0, 100.0), (660.0, 420.0)]


def world(slab_mm: Any) -> np.ndarray:
    xy = np.atleast_2d(np.array(slab_mm, float)) - np.array(SLAB_MM) / 2.0
    return np.column_stack([xy, np.zeros(len(xy))])


def slab_folder(folder: Path, extra: str = "", sheets: int = 3) -> Path:
    (folder / "photos").mkdir(parents=True)
    first: Shot | None = None
    for eye, seed in VIEWS:
        shot = Shot(eye, (0.0, 0.0, 0.0), (3000, 2250), 2350.0, seed=seed, jpeg=95, supersample=2)
        first = first or shot
        rgb = np.dstack([take(SHEETS[:sheets], shot, 0.4).gray] * 3)
        for at, colour in DOTS.items():
            ring = [(at[0] + 25.0 * np.cos(a), at[1] + 25.0 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 60)]
            cv2.fillPoly(rgb, [np.round(shot.project(world(ring)) * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
        Image.fromarray(rgb).save(folder / "photos" / f"slab{seed}.jpg", quality=95)
    assert first is not None
    corners = first.project(world([(0, 0), (SLAB_MM[0], 0), SLAB_MM, (0, SLAB_MM[1])])).round(1).tolist()
    crack = first.project(world(CRACK)).round(1).tolist()
    (folder / "job.toml").write_text(
        f'[paper]\nthickness_mm = 0.0\nlies_on = "cabinet"\n[[lengths]]\nkind = "tape"\nfrom = "S01:0"\nto = "S02:0"\n'
        f'value = "{_between_saddles():.3f} mm"\nu = "0.3 mm"\n')
    (folder / "slab.toml").write_text(f'photo = "slab0"\noutline = {corners}\nmargin = "20 mm"\nkerf = "4 mm"\n{extra}\n'
                                      f'[[faults]]\nname = "crack"\noutline = {crack}\nclearance = "10 mm"\n')
    return folder


def _between_saddles() -> float:
    """Distance of the two points that the known length names."""
    from phototemplate.capture import design

    ends = [s.world(design.target(s.target_id).points_mm[:1])[0] for s in SHEETS[:2]]
    return float(np.linalg.norm(ends[0] - ends[1]))


JOB = """
[[drawn]]
id = "bar"
width = "900 mm"
depth = "300 mm"
[[pieces]]
id = "bar top"
loop = "bar"
[[pieces.seams]]
id = "joint"
run = "bar front"
along = { edge = "bar left", distance = "500 mm" }
[[pieces.splashes]]
id = "panel"
edge = "bar left"
kind = "waterfall"
height = "250 mm"
joint = "mitred"
"""


@pytest.fixture(scope="module")
def laid(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, Any, dict[str, Path], dict[str, Any]]:
    base = tmp_path_factory.mktemp("slab")
    job = base / "job"
    job.mkdir()
    (job / "job.toml").write_text(JOB)
    write_drawn(load_job(job), Wanted(("pieces",)))
    layout, slab, files = lay_on_slab(load_job(job), load_job(slab_folder(base / "stone")))
    return layout, slab, files, json.loads((job / "results" / "pieces.json").read_text(encoding="utf-8"))


def test_the_slab_has_its_true_size_within_its_uncertainty(laid: Any) -> None:
    _, slab, _, _ = laid
    x0, y0, x1, y1 = slab.outline.bounds
    for found, true in ((x1 - x0, SLAB_MM[0]), (y1 - y0, SLAB_MM[1])):
        assert abs(found - true) <= slab.length_U(true)
        assert slab.length_U(true) < 10.0
    assert 0.0 < slab.scale_u < 2e-3
    ((name, shape),) = slab.faults
    assert name == "crack"
    assert shape.distance(shapely.LineString(CRACK)) < 5.0


def test_pieces_keep_margin_kerf_and_faults_and_run_on(laid: Any) -> None:
    layout, _, _, pieces = laid
    assert layout.left_over == layout.parted == ()
    assert {p.name for p in layout.laid} == {"bar top-1", "bar top-2", "panel"}
    for k, a in enumerate(layout.laid):
        assert layout.slab.exterior.distance(a.outline) >= 20.0 - 0.02
        assert all(not shape.intersects(a.outline.buffer(-0.02)) for _, shape in layout.faults)
        for b in layout.laid[k + 1 :]:
            assert a.outline.distance(b.outline) >= 4.0 - 0.02
    by = {p.name: p for p in layout.laid}
    assert by["bar top-1"].outline.distance(by["bar top-2"].outline) == pytest.approx(4.0, abs=0.01), "over the seam"
    assert by["panel"].outline.distance(by["bar top-1"].outline) == pytest.approx(4.0, abs=0.01), "over the mitre"
    areas = {p["id"]: p["area_mm2"]["value"] for p in pieces["pieces"]}
    assert {n: pytest.approx(by[n].outline.area) for n in areas} == areas


def test_remnants_are_what_no_piece_or_fault_took(laid: Any) -> None:
    layout, _, _, _ = laid
    assert layout.remnants
    for r in layout.remnants:
        assert all(r.distance(p.outline) >= 4.0 - 0.02 for p in layout.laid)
        assert all(r.intersection(shape).area < 1.0 for _, shape in layout.faults)
        assert layout.usable.buffer(0.02).contains(r)


def test_a_picture_of_a_piece_shows_the_stone_that_it_is_cut_from(laid: Any) -> None:
    layout, _, files, pieces = laid
    picture = np.asarray(Image.open(files["picture"]).convert("RGB")).astype(int)
    rows = picture.shape[0]
    for (x, y), colour in DOTS.items():
        inside = [p for p in layout.laid if p.outline.buffer(-30).contains(shapely.Point(x, y))]
        assert np.abs(picture[rows - 1 - round(y), round(x)] - colour).max() < 60, "the dot stands where it is on the slab"
        for p in inside:
            own = np.linalg.inv(p.move) @ np.array([x, y, 1.0])
            source = next(q for q in (*pieces["pieces"], *pieces["upright"]) if q["id"] == p.name)
            low, high = np.array(source["outline"])[:, :2].min(axis=0), np.array(source["outline"])[:, :2].max(axis=0)
            image = np.asarray(Image.open(files[f"piece {p.name}"])).astype(int)
            pixel = image[int(high[1] - own[1]), int(own[0] - low[0])]
            assert pixel[3] == 255
            assert np.abs(pixel[:3] - colour).max() < 60
    assert all(path.stat().st_size > 0 for path in files.values())


def test_by_hand_and_refusals(tmp_path: Path) -> None:
    job = tmp_path / "job"
    job.mkdir()
    (job / "job.toml").write_text(JOB)
    with pytest.raises(InputError, match="measure it first"):
        lay_on_slab(load_job(job), load_job(slab_folder(tmp_path / "a")))
    write_drawn(load_job(job), Wanted(("pieces",)))
    with pytest.raises(InputError, match=r"no slab\.toml"):
        lay_on_slab(load_job(job), load_job(job))
    one = slab_folder(tmp_path / "one", sheets=1)
    (one / "job.toml").write_text("")
    with pytest.raises(MeasureError):
        lay_on_slab(load_job(job), load_job(one))


def square(name: str, side: float) -> Group:
    return (Part(name, shapely.box(0, 0, side, side), ()),)


def test_a_layout_by_hand_is_kept_or_refused() -> None:
    slab = shapely.box(0, 0, 1000, 600)
    made = lay_out([square("a", 200.0), square("b", 300.0)], slab, 20.0, 4.0, by_hand={"a": ((700.0, 300.0), 90.0)})
    assert next(p for p in made.laid if p.name == "a").outline.bounds == pytest.approx((700, 300, 900, 500))
    assert next(p for p in made.laid if p.name == "b").outline.bounds == pytest.approx((20, 20, 320, 320), abs=0.1)
    for at, word in (((850.0, 300.0), "margin"), ((400.0, 300.0), "crack")):
        crack = ("crack", shapely.box(450, 350, 460, 360))
        with pytest.raises(InputError, match=word):
            lay_out([square("a", 200.0)], slab, 20.0, 4.0, [crack], by_hand={"a": (at, 0.0)})
    with pytest.raises(InputError, match="no kerf"):
        lay_out([square("a", 200.0), square("b", 200.0)], slab, 20.0, 4.0,
                by_hand={"a": ((100.0, 100.0), 0.0), "b": ((302.0, 100.0), 0.0)})
    with pytest.raises(InputError, match="there is none"):
        lay_out([square("a", 200.0)], slab, 20.0, 4.0, by_hand={"x": ((100.0, 100.0), 0.0)})


@pytest.mark.parametrize("seed", range(6))
def test_random_pieces_never_meet_each_other_a_fault_or_the_margin(seed: int) -> None:
    rng = np.random.default_rng(seed)
    slab = shapely.Polygon([(0, 0), (2900, 40), (2880, 1500), (900, 1520), (0, 1200)])
    faults = [("f", shapely.Point(*rng.uniform((300, 200), (2500, 1100))).buffer(40.0)) for _ in range(3)]
    groups: list[Group] = []
    for k in range(8):
        w, h, n = *rng.uniform(200, 900, 2), int(rng.integers(2))
        shape = shapely.box(0, 0, w, h)
        groups.append((Part(f"p{k}", shape.difference(shapely.box(w / 2, h / 2, w, h)) if n else shape, ()),))
    made = lay_out(groups, slab, 25.0, 4.0, faults)
    assert len(made.laid) + len(made.left_over) == 8
    assert len(made.laid) >= 4
    for k, a in enumerate(made.laid):
        assert slab.buffer(-25.0 + 0.02).contains(a.outline)
        assert all(not shape.intersects(a.outline.buffer(-0.02)) for _, shape in faults)
        assert all(a.outline.distance(b.outline) >= 4.0 - 0.02 for b in made.laid[k + 1 :])
    assert made.remnants


def test_without_matching_every_piece_is_a_group_of_its_own(laid: Any) -> None:
    _, _, _, pieces = laid
    assert [len(g) for g in groups_of(pieces, 4.0, False)] == [1, 1, 1]
    assert [len(g) for g in groups_of(pieces, 4.0, True)] == [3]
