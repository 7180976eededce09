"""The whole adjustment on synthetic kitchens with known truth: recovery, honest uncertainty, and every fault found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phototemplate.errors import InputError, MeasureError
from phototemplate.model import Array, Network, Sightings
from phototemplate.network.adjustment.adjust import adjust
from phototemplate.network.adjustment.known_lengths import Bar, Caliper, KnownLength, LengthEnd, Tape
from phototemplate.network.adjustment.pseudo_observations import EXPOSURE_PARTS
from phototemplate.network.projection import bend, body_points, project
from phototemplate.numerics import rigid
from phototemplate.settings import AdjustmentSettings
from tests.network.survey import inner_constraint_cov
from tests.network.synthetic import Kitchen, kitchen


def bar_of(k: Kitchen, off_mm: float = 0.0) -> Bar:
    """The scale bar, measured to 0.1 mm."""
    ends = LengthEnd("B01"), LengthEnd("B02")
    return Bar("bar", *ends, k.bar_mm + off_mm, 0.1, temperature_c=20.0, u_temperature_c=0.5)


def tape_of(k: Kitchen, a: str, b: str, off_mm: float = 0.0) -> Tape:
    """A tape reading between two sheets' centres, to 0.5 mm."""
    size = float(np.linalg.norm(k.truth.bodies[a].translation_mm - k.truth.bodies[b].translation_mm))
    return Tape(f"tape {a}-{b}", LengthEnd(a), LengthEnd(b), size + off_mm, 0.5, temperature_c=20.0, u_temperature_c=0.5)


def run(k: Kitchen, *lengths: KnownLength, settings: AdjustmentSettings | None = None) -> Network:
    """Adjust one kitchen."""
    return adjust(k.sightings, k.photos, k.targets, lengths, settings=settings)


def codes(network: Network, *without: str) -> list[str]:
    """Finding codes but for the notes every job with one bar has."""
    skip = {"length-unchecked", "sighting-rejected", *without}
    return [f.code for f in network.findings if f.code not in skip]


def errors_and_cov(network: Network, k: Kitchen, leave_out: tuple[str, ...] = ()) -> tuple[Array, Array]:
    """Errors (3M,) of three points per sheet and of all free points against the truth, datum removed, and covariance."""
    found, true, jacs, noise = [], [], [], []
    for t in network.bodies:
        if t in leave_out:
            continue
        sheet = k.targets[t].kind == "sheet"
        local = np.array([[0.0, 0, 0], [60, 0, 0], [0, 30, 0]]) if sheet else np.zeros((1, 3))
        points = body_points(network, t, local)
        jac = np.zeros((len(local), 3, network.influences.size))
        jac[:, :, points.columns] = points.d_influences
        body = k.truth.bodies[t]
        found += list(points.xyz_mm)
        true += list(bend(body, local) @ body.rotation.T + body.translation_mm)
        jacs += list(jac)
        noise += [np.zeros((3, 3))] * len(local)
    for p in network.points:
        if p.target_id in leave_out:
            continue
        found.append(p.xyz_mm)
        true.append(k.points_mm[p.target_id, p.point_id])
        jacs.append(p.shared_jac)
        noise.append(p.noise_cov_mm2)
    xyz, truth = np.array(found), np.array(true)
    flat = np.array(jacs).reshape(3 * len(xyz), -1)
    cov = flat @ network.influences.cov @ flat.T
    for i, block in enumerate(noise):
        cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += block
    error = (xyz - rigid.transform(rigid.fit_rigid(truth, xyz), truth)).ravel()
    return error, inner_constraint_cov(xyz, cov)


def normalized_square(error: Array, cov: Array) -> tuple[float, int]:
    """Error in units of its full covariance, squared, and its degrees of freedom."""
    value, vector = np.linalg.eigh(cov)
    good = value > 1e-9 * value.max()
    return float(np.sum((vector[:, good].T @ error) ** 2 / value[good])), int(good.sum())


_FEW = 2
"""Wall strips where the fault is one of sheets, photos or lengths: quicker, and errors of sheets weigh more"""


@pytest.fixture(scope="module")
def plain() -> tuple[Kitchen, Network]:
    k = kitchen(31, n_photos=8)
    return k, run(k, bar_of(k))


def test_everything_is_placed_and_nothing_complained(plain: tuple[Kitchen, Network]) -> None:
    k, network = plain
    assert set(network.photos) == {p.photo_id for p in k.photos}
    assert set(network.bodies) == {t for t, target in k.targets.items() if target.rigid}
    assert codes(network) == []
    assert network.scale_known
    assert network.sigma0 == pytest.approx(1.0, abs=0.05)


def test_parts_of_the_covariance_are_no_less_than_nothing(plain: tuple[Kitchen, Network]) -> None:
    influences = plain[1].influences
    size = np.sqrt(np.outer(np.diag(influences.cov), np.diag(influences.cov))) + 1e-30
    known = {"known length: bar", "lens prior", "sheet print scale", *EXPOSURE_PARTS}
    assert known | {"target sightings"} == set(influences.parts)
    for part in influences.parts.values():
        assert np.linalg.eigvalsh(part / size).min() > -1e-8


def test_residuals_are_what_projection_says(plain: tuple[Kitchen, Network]) -> None:
    """The result alone reproduces every residual: nothing hides in the adjustment."""
    _, network = plain
    points = {(p.target_id, p.point_id): p.xyz_mm for p in network.points}
    for r in network.residuals[:3]:
        for t, n, uv, residual in zip(r.target_ids, r.point_ids, r.uv_px, r.residual_px, strict=True):
            if t in network.bodies:
                xyz = body_points(network, t, network.targets[t].points_mm[n][None]).xyz_mm
            else:
                xyz = points[t, int(n)][None]
            assert np.allclose(uv - project(network, r.photo_id, xyz).uv_px[0], residual, atol=1e-6)


@pytest.mark.slow
def test_normalized_errors_have_unit_variance() -> None:
    """344 degrees of freedom a kitchen; without EXIF, with 2 % wrong sightings, few photos, two cameras."""
    total, degrees = 0.0, 0
    cases = [{"exif": False, "wrong_share": 0.02, "n_photos": 8}, {"n_photos": 5, "sigma_px": 0.2, "two_cameras": True}, {}]
    for seed, case in enumerate(cases):
        k = kitchen(200 + seed, **case)  # type: ignore[arg-type]
        network = run(k, bar_of(k, float(np.random.default_rng(seed).normal(0, 0.1))))
        square, n = normalized_square(*errors_and_cov(network, k))
        total, degrees = total + square, degrees + n
    # Rejecting at 4.13 sigma hardly truncates; the standard deviation of the mean is sqrt(2 / degrees) = 0.03.
    assert total / degrees == pytest.approx(1.0, abs=0.14)


def test_datum_does_not_matter(plain: tuple[Kitchen, Network]) -> None:
    """Same photos, another sheet as datum (by the order of evidence): same lengths, same uncertainties."""
    k, network = plain
    datum = next(t for t in network.bodies if not network.influences.cov[network.influences.names.index(f"body:{t}:tx")].any())
    # The datum is the sheet with the most sightings: thin it out so that another one takes over.
    thin = {
        p: Sightings(p, tuple(np.array(s.target_ids)[keep]), s.point_ids[keep], s.uv_px[keep], s.cov_px2[keep])
        for p, s in k.sightings.items()
        for keep in [np.array([t != datum or n % 2 == 0 for t, n in zip(s.target_ids, s.point_ids, strict=True)])]
    }
    other = run(replace(k, sightings=thin), bar_of(k))
    again = next(t for t in other.bodies if not other.influences.cov[other.influences.names.index(f"body:{t}:tx")].any())
    assert again != datum
    for a, b in (("S02", "S08"), ("S09", "S04")):
        size, u = zip(*(_distance(n, a, b) for n in (network, other)), strict=True)
        assert size[0] == pytest.approx(size[1], abs=0.5 * u[0])
        assert u[0] == pytest.approx(u[1], rel=0.1)


def _distance(network: Network, a: str, b: str) -> tuple[float, float]:
    pa, pb = (body_points(network, t, np.zeros((1, 3))) for t in (a, b))
    d = pb.xyz_mm[0] - pa.xyz_mm[0]
    size = float(np.linalg.norm(d))
    gradient = np.zeros(network.influences.size)
    gradient[pb.columns] += d / size @ pb.d_influences[0]
    gradient[pa.columns] -= d / size @ pa.d_influences[0]
    return size, float(np.sqrt(gradient @ network.influences.cov @ gradient))


def test_wrong_sightings_are_found() -> None:
    k = kitchen(34, wrong_share=0.03, n_photos=7)
    network = run(k, bar_of(k))
    rejected = {
        (r.photo_id, t, int(n))
        for r in network.residuals
        for t, n, w in zip(r.target_ids, r.point_ids, r.weight, strict=True)
        if w == 0
    }
    sighted = {(r.photo_id, t, int(n)) for r in network.residuals for t, n in zip(r.target_ids, r.point_ids, strict=True)}
    wrong = k.wrong & sighted
    assert len(wrong) > 20
    assert len(rejected & wrong) >= 0.95 * len(wrong)
    assert len(rejected - wrong) <= 6
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25
    assert "sighting-rejected" in {f.code for f in network.findings}


@pytest.mark.parametrize("shift", [(1.5, 1.0, 0.0), (40.0, 25.0, 0.1)])
def test_moved_sheet_is_found_and_left_out(shift: tuple[float, float, float]) -> None:
    k = kitchen(35, moved={"S03": shift}, n_photos=7)
    network = run(k, bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code == "sheet-moved"] == [("sheet-moved", "S03")]
    square, n = normalized_square(*errors_and_cov(network, k, leave_out=("S03",)))
    assert square / n < 1.25
    size, u = stated_shift(network)
    assert abs(size - np.hypot(*shift[:2])) <= 1.5 * u, "three standard uncertainties"
    assert u < 0.3


def stated_shift(network: Network) -> tuple[float, float]:
    """Shift and its U in mm that the first finding about a moved sheet states."""
    facts = next(f.facts for f in network.findings if f.code == "sheet-moved")
    return facts["shift_mm"], facts["U_mm"]  # type: ignore[return-value]


@pytest.mark.slow
def test_move_that_bends_the_network_is_found() -> None:
    """10 mm between photos that share little: the residuals hardly rise (median below 2.5 sigma in most photos), yet the
    score test with free cameras names the sheet, and every other one is where it should be."""
    shift = (9.77, 2.13, 0.0)
    k = kitchen(1004, moved={"S06": shift}, n_photos=8, strips=_FEW, wrong_share=0.02)
    network = run(k, bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code == "sheet-moved"] == [("sheet-moved", "S06")]
    assert "sheet-print-scale" not in {f.code for f in network.findings}
    square, n = normalized_square(*errors_and_cov(network, k, leave_out=("S06",)))
    assert square / n < 1.25
    size, u = stated_shift(network)
    assert abs(size - np.hypot(*shift[:2])) <= 1.5 * u, "three standard uncertainties"


@pytest.mark.slow
def test_sheet_moved_twice_has_three_places() -> None:
    """A second move in the last photos: each place is stated by itself, against the one that most photos show."""
    k = kitchen(45, moved={"S03": (0.0, 9.0, 0.0)}, n_photos=12, strips=_FEW)
    again = kitchen(45, moved={"S03": (14.0, -20.0, 0.3)}, n_photos=12, strips=_FEW)
    late = {p: again.sightings[p] for p in ("IMG_0010", "IMG_0011", "IMG_0012")}
    network = run(replace(k, sightings={**k.sightings, **late}), bar_of(k))
    moved = [f for f in network.findings if f.code == "sheet-moved"]
    assert {f.where for f in moved} == {"S03"}
    sizes = [f.facts["shift_mm"] for f in moved]
    first, second = np.array([0.0, 9.0]), np.array([14.0, -20.0])
    places = [np.zeros(2), first, second]
    gaps = [sorted(float(np.linalg.norm(a - b)) for b in places if b is not a) for a in places]
    assert any(np.allclose(sorted(sizes), gap, atol=0.4) for gap in gaps), (sizes, gaps)


def test_sheet_at_97_percent() -> None:
    k = kitchen(36, odd_scale={"S04": 0.97}, n_photos=7, strips=_FEW)
    network = run(k, bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code == "sheet-print-scale"] == [("sheet-print-scale", "S04")]
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25
    assert network.bodies["S04"].scale_xy == pytest.approx(k.truth.bodies["S04"].scale_xy, abs=5e-4)


def test_whole_print_at_97_percent_against_the_bar() -> None:
    k = kitchen(37, print_scale=0.97, n_photos=7, strips=_FEW)
    network = run(k, bar_of(k))
    assert "batch-print-scale" in codes(network)
    assert _distance(network, "S01", "S08")[0] == pytest.approx(_distance_true(k, "S01", "S08"), abs=1.5)


def _distance_true(k: Kitchen, a: str, b: str) -> float:
    return float(np.linalg.norm(k.truth.bodies[a].translation_mm - k.truth.bodies[b].translation_mm))


def test_curled_sheet_is_released() -> None:
    k = kitchen(38, curl={"S06": (8e-4, 1e-4, 0.0)}, n_photos=7, strips=_FEW)
    network = run(k, bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code != "sighting-rejected"][:1] == [("sheet-curled", "S06")]
    assert network.bodies["S06"].curl_per_mm == pytest.approx((8e-4, 1e-4, 0.0), abs=6e-5)
    assert network.bodies["S05"].curl_per_mm == (0.0, 0.0, 0.0)


def test_misread_number_is_left_out() -> None:
    k = kitchen(39, n_photos=7, strips=_FEW)
    first = k.sightings["IMG_0001"]
    assert {"S01", "S02"} <= set(first.target_ids)
    keep = np.array([t != "S10" for t in first.target_ids])
    ids = tuple("S10" if t == "S02" else t for t in np.array(first.target_ids)[keep])
    wrong = Sightings("IMG_0001", ids, first.point_ids[keep], first.uv_px[keep], first.cov_px2[keep])
    network = run(replace(k, sightings={**k.sightings, "IMG_0001": wrong}), bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code in ("target-elsewhere", "sheet-moved")] == [
        ("target-elsewhere", "S10")
    ]
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25


def test_noisy_photo_counts_less_and_moves_nothing() -> None:
    k = kitchen(40, n_photos=7, strips=_FEW)
    rng = np.random.default_rng(1)
    s = k.sightings["IMG_0004"]
    blurred = replace(s, uv_px=s.uv_px + rng.normal(0, 0.6, s.uv_px.shape))
    network = run(replace(k, sightings={**k.sightings, "IMG_0004": blurred}), bar_of(k))
    assert codes(network) == []
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25


@pytest.mark.slow
def test_covariances_stated_too_small_are_scaled_up() -> None:
    k = kitchen(41, n_photos=7, strips=_FEW)
    small = {p: replace(s, cov_px2=s.cov_px2 / 4) for p, s in k.sightings.items()}
    network = run(replace(k, sightings=small), bar_of(k))
    assert network.sigma0 == pytest.approx(2.0, rel=0.06)
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25
    trusting = run(replace(k, sightings=small), bar_of(k), settings=AdjustmentSettings(variance="never"))
    square, n = normalized_square(*errors_and_cov(trusting, k))
    assert square / n > 2


def test_two_lengths_that_disagree_are_said_and_widen_the_result() -> None:
    k = kitchen(42, n_photos=7, strips=_FEW)
    network = run(k, bar_of(k), tape_of(k, "S01", "S08", 20.0))
    assert "lengths-disagree" in codes(network)
    error, cov = errors_and_cov(network, k)
    assert np.max(np.abs(error)) < 2.5 * np.sqrt(np.max(np.diag(cov)))


def test_of_three_lengths_the_wrong_one_is_named_and_left_out() -> None:
    k = kitchen(42, n_photos=7, strips=_FEW)
    network = run(k, bar_of(k), tape_of(k, "S01", "S08", 0.3), tape_of(k, "S01", "S13", -25.4))
    assert [f.where for f in network.findings if f.code == "length-contradicted"] == ["tape S01-S13"]
    assert [r.used for r in network.lengths] == [True, True, False]
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25


def test_lengths_that_agree_check_each_other(plain: tuple[Kitchen, Network]) -> None:
    k, one = plain
    two = run(k, bar_of(k), tape_of(k, "S01", "S08"))
    assert "length-unchecked" in {f.code for f in one.findings}
    assert "length-unchecked" not in {f.code for f in two.findings}
    assert two.lengths[0].smallest_detectable_mm < 2.0 < one.lengths[0].smallest_detectable_mm


def test_without_a_known_length_the_shape_is_right_and_the_scale_said_to_be_missing() -> None:
    k = kitchen(43, n_photos=8)
    network = run(k)
    assert "scale-missing" in codes(network)
    assert not network.scale_known
    size, u = _distance(network, "S01", "S08")
    assert abs(size - _distance_true(k, "S01", "S08")) < 3 * u
    assert u / size == pytest.approx(AdjustmentSettings().u_print_common, rel=0.2)


def test_one_photo_works_on_the_plane_assumption() -> None:
    k = kitchen(44, n_photos=7)
    first = k.photos[0].photo_id
    network = adjust({first: k.sightings[first]}, k.photos[:1], k.targets, [bar_of(k)])
    assert "single-photo" in codes(network)
    assert "plane assumption" in network.influences.parts
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.6


def test_photo_without_connection_is_named() -> None:
    k = kitchen(45, n_photos=8, strips=_FEW)
    alone = k.sightings["IMG_0003"]
    ids = tuple(f"X{t}" for t in alone.target_ids)
    targets = {**k.targets, **{f"X{t}": replace(target, target_id=f"X{t}") for t, target in k.targets.items()}}
    network = run(replace(k, sightings={**k.sightings, "IMG_0003": replace(alone, target_ids=ids)}, targets=targets), bar_of(k))
    assert [(f.code, f.where) for f in network.findings if f.code == "photo-unconnected"] == [("photo-unconnected", "IMG_0003")]
    assert "IMG_0003" not in network.photos
    assert len(network.photos) == 7


def test_no_targets_at_all_is_an_error_that_says_what_to_do() -> None:
    k = kitchen(46)
    empty = Sightings("IMG_0001", (), np.zeros(0, dtype=np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    with pytest.raises(MeasureError, match="photograph the sheets"):
        adjust([empty], k.photos[:1], k.targets, [])


def test_length_to_a_missing_target_is_unused() -> None:
    k = kitchen(47, n_photos=6, strips=_FEW)
    network = run(k, bar_of(k), Tape("door", LengthEnd("S01"), LengthEnd("S60"), 1000.0, 1.0))
    assert [f.where for f in network.findings if f.code == "length-unused"] == ["door"]


def test_caliper_and_point_to_point_lengths() -> None:
    """A calliper value on one sheet, and a tape between points of a wall strip (free points)."""
    k = kitchen(48, n_photos=8)
    body, points = k.truth.bodies["S05"], k.targets["S05"].points_mm
    width = float(np.linalg.norm(bend(body, points[[4]])[0] - bend(body, points[[0]])[0]))
    strip = float(np.linalg.norm(k.points_mm["W01a", 0] - k.points_mm["W03a", 7]))
    caliper = Caliper("calliper", LengthEnd("S05", 0), LengthEnd("S05", 4), width, 0.02, 20.0)
    tape = Tape("strip to strip", LengthEnd("W01a", 0), LengthEnd("W03a", 7), strip, 0.5, 20.0)
    network = run(k, caliper, tape)
    assert [r.used for r in network.lengths] == [True, True]
    assert codes(network) == []
    assert max(abs(r.normalized_residual) for r in network.lengths) < 4
    square, n = normalized_square(*errors_and_cov(network, k))
    assert square / n < 1.25


def test_thermal_expansion_of_known_lengths() -> None:
    """1 m steel and +10 K: 115 um; aluminium 231 um (coefficients: Swyt, J. Res. NIST 99 (1994) 31)."""
    ends = LengthEnd("B01"), LengthEnd("B02")
    steel = Bar("a", *ends, 1000.0, 0.01, temperature_c=30.0, u_temperature_c=0.0)
    alu = Bar("b", *ends, 1000.0, 0.01, temperature_c=30.0, u_temperature_c=0.0, material="aluminium")
    assert steel.at_photos(4.0)[0] == pytest.approx(1000.115)
    assert alu.at_photos(4.0)[0] == pytest.approx(1000.231)
    unknown = Bar("c", *ends, 1000.0, 0.01)
    assert unknown.at_photos(4.0) == (pytest.approx(1000.0), pytest.approx(np.hypot(0.01, 0.046)))


@pytest.mark.parametrize(
    ("value", "u", "material", "text"),
    [(-5.0, 0.1, "steel", "not a length"), (10.0, 0.0, "steel", "uncertainty"), (10.0, 0.1, "cheese", "material")],
)
def test_bad_known_lengths_are_refused(value: float, u: float, material: str, text: str) -> None:
    with pytest.raises(InputError, match=text):
        Bar("bar", LengthEnd("B01"), LengthEnd("B02"), value, u, material=material)
