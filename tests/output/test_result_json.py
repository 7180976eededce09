"""``result.json``: what goes in comes out, the schema is in step, and bad files get a sentence."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from phototemplate.edges.shapes.evaluate import point_at
from phototemplate.errors import InputError
from phototemplate.output.result_json import read_result, write_result_json
from phototemplate.output.schema import SCHEMA_PATH, schema_text
from phototemplate.output.schema_base import Symmetric, numbers
from tests.output.samples import measurement


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_result_json(measurement(), tmp_path_factory.mktemp("result") / "result.json")


def test_round_trip_of_shape_and_covariance(file: Path) -> None:
    before, stored = measurement().outline, read_result(file)
    after = stored.outline
    assert [s.edge_id for s in after.segments] == [s.edge_id for s in before.segments]
    for a, b in zip(after.segments, before.segments, strict=True):
        where = np.linspace(b.knots_mm[0], b.knots_mm[-1], 7)
        np.testing.assert_allclose(point_at(a, where), point_at(b, where), atol=1e-9)
        assert (a.kind, a.shape, a.source, a.n_photos, a.findings) == (
            b.kind,
            b.shape,
            b.source,
            b.n_photos,
            b.findings,
        )
        np.testing.assert_allclose(a.residuals_mm, b.residuals_mm, atol=1e-5)
    for a_loop, b_loop in zip(after.loops, before.loops, strict=True):
        assert (a_loop.loop_id, a_loop.edge_ids, a_loop.closed) == (b_loop.loop_id, b_loop.edge_ids, b_loop.closed)
        np.testing.assert_allclose(a_loop.corners_mm, b_loop.corners_mm, rtol=1e-11)
        np.testing.assert_allclose(a_loop.corner_cov_mm2, b_loop.corner_cov_mm2, rtol=1e-8, atol=1e-12)

    def state_cov(o: object) -> np.ndarray:
        return o.noise_cov_mm2 + o.shared_jac @ o.influences.cov @ o.shared_jac.T  # type: ignore[attr-defined]

    was, now = state_cov(before), state_cov(after)
    # not only the diagonal: differences of offsets, where correlated errors cancel, keep their uncertainty
    rng = np.random.default_rng(1)
    for _ in range(200):
        i, j = rng.integers(0, was.shape[0], 2)
        g = np.zeros(was.shape[0])
        g[i], g[j] = g[i] + 1, g[j] - 1
        assert g @ now @ g == pytest.approx(g @ was @ g, rel=1e-6, abs=1e-9)
    for cause, part in before.influences.parts.items():
        mapped = before.shared_jac @ part @ before.shared_jac.T
        np.testing.assert_allclose(
            after.shared_jac @ after.influences.parts[cause] @ after.shared_jac.T, mapped, atol=1e-9
        )
    np.testing.assert_allclose(sum(after.influences.parts.values()), after.influences.cov, rtol=1e-12)
    assert np.linalg.eigvalsh(now).min() > 0


def test_round_trip_of_the_rest(file: Path) -> None:
    m, stored = measurement(), read_result(file)
    assert stored.job_name == m.job_name
    assert stored.findings == m.findings
    assert [(h.name, h.group) for h in stored.heights] == [(h.name, h.group) for h in m.work_plane.heights]
    assert stored.lengths == m.network.lengths
    camera = next(iter(m.network.cameras.values()))
    np.testing.assert_allclose(stored.cameras[0].params, camera.params, rtol=1e-11)
    np.testing.assert_allclose(stored.cameras[0].cov, camera.cov, rtol=1e-8)
    for a, b in zip(stored.outline.edges, m.outline.edges, strict=True):
        assert a.offset_U_mm == b.offset_U_mm
        assert [c for c, _ in a.budget] == [c for c, _ in b.budget]
    sheet = next(s for s in stored.file.sheets if s.target == "S07")
    names = m.network.influences.names
    k = names.index("body:S07:tz")
    assert sheet.covariance is not None
    at = sheet.names.index("tz")
    assert sheet.covariance.full()[at, at] == pytest.approx(m.network.influences.cov[k, k], rel=1e-8)
    assert stored.file.photos[4].sightings is not None
    assert min(w for w in stored.file.photos[4].sightings.weight if w is not None) == 0.0


def test_a_length_without_U_is_null_and_comes_back_as_none_known(tmp_path: Path) -> None:
    """An edge that runs free has a length as seen; JSON has no NaN (RFC 8259, section 6), so its U is null."""
    m = measurement()
    free = replace(m.outline.edges[0], length_U_mm=float("nan"))
    outline = replace(m.outline, edges=(free, *m.outline.edges[1:]))
    path = write_result_json(replace(m, outline=outline), tmp_path / "result.json")
    parts = {e["edge"]: e for e in json.loads(path.read_text(encoding="utf-8"))["outline"]["edges"]}
    assert parts[free.edge_id]["length_U_mm"] is None
    assert parts[free.edge_id]["length_mm"] == free.length_mm
    back = {e.edge_id: e for e in read_result(path).outline.edges}
    assert np.isnan(back[free.edge_id].length_U_mm)
    other = m.outline.edges[1]
    assert back[other.edge_id].length_U_mm == other.length_U_mm


def test_schema_file_is_in_step_and_describes_the_file(file: Path) -> None:
    assert SCHEMA_PATH.read_text(encoding="utf-8") == schema_text(), "run: python -m phototemplate.output.schema"
    schema = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    tree = json.loads(file.read_text(encoding="utf-8"))
    assert set(tree) == set(schema["properties"])
    for part in schema["$defs"].values():
        assert part.get("description"), part["title"]


def test_file_is_plain_json_and_compact(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text
    assert len(text) < 1_500_000
    assert sum(line.strip().startswith('"edge": ') for line in text.splitlines()) == 10


def test_symmetric_and_numbers() -> None:
    a = np.array([[4.0, 1.0, -2.0], [1.0, 3.0, 0.5], [-2.0, 0.5, 9.0]])
    part = Symmetric.of(a)
    assert part.lower == [4.0, 1.0, 3.0, -2.0, 0.5, 9.0]
    np.testing.assert_array_equal(part.full(), a)
    assert numbers([1.23456789, np.nan, np.inf], 3) == [1.23, None, None]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not valid JSON"),
        ('{"format": "other"}', "not a measured result"),
        ("[1]", "not a measured result"),
        ('{"format": "phototemplate-result", "version": 99}', "install a newer one"),
        ('{"format": "phototemplate-result", "version": 1}', "cannot be understood"),
    ],
)
def test_bad_files_get_a_sentence(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "result.json"
    path.write_text(text)
    with pytest.raises(InputError, match=said) as caught:
        read_result(path)
    assert str(path) in str(caught.value)


def test_covariance_that_does_not_fit(file: Path, tmp_path: Path) -> None:
    tree = json.loads(file.read_text(encoding="utf-8"))
    del tree["outline"]["edges"][0]
    path = tmp_path / "result.json"
    path.write_text(json.dumps(tree))
    with pytest.raises(InputError, match="does not fit"):
        read_result(path)


def test_folder_and_missing(file: Path, tmp_path: Path) -> None:
    assert read_result(file.parent).job_name == "Sample kitchen"
    with pytest.raises(InputError, match="measure that job first"):
        read_result(tmp_path)
    with pytest.raises(InputError, match="There is no file"):
        read_result(tmp_path / "x.json")
