"""One contract for every format: writes its file whole, names it, and leaves the old one where the disk fails."""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pyogrio
import pypdfium2
import pytest
import shapely

from phototemplate.errors import Finding, InputError, MeasureError, OutputError
from phototemplate.model import Measurement
from phototemplate.output import FORMATS, Material, OutputFormat, Subject, outline_subject, write_formats
from phototemplate.output.result_reader import read_result
from phototemplate.template.piece_types import Template
from phototemplate.template.pieces import build_template
from phototemplate.template.spec import PieceSpec, ShopSpec, TemplateSpec
from tests.output.samples import measurement


def _material(unscaled: bool = False, allow: bool = False) -> Material:
    m = measurement("", unscaled)
    return Material(m, unit="mm", allow_unscaled=allow)


def _subject(one: OutputFormat, material: Material) -> Subject | None:
    return outline_subject(material) if one.of == "drawing" else None


def _template(m: Measurement) -> Template:
    spec = TemplateSpec(
        pieces=[PieceSpec(id="left", loop="left"), PieceSpec(id="right", loop="right")], shop=ShopSpec(end_overhang=25.0)
    )
    return build_template(m.outline, spec, m.work_plane.heights).whole()


def test_names_are_unique_and_files_differ() -> None:
    assert len({f.name for f in FORMATS}) == len(FORMATS)
    names = [f.file_name("outline" if f.of == "drawing" else None, False) for f in FORMATS]
    assert len(set(names)) == len(names)
    assert {"outline.dxf", "result.json", "report.html"} <= set(names)
    assert all(f.meaning for f in FORMATS)


@pytest.mark.parametrize("one", FORMATS, ids=lambda f: f.name)
def test_contract(one: OutputFormat, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    material = _material()
    if one.of == "pieces":
        material = replace(material, template=_template(material.measurement))
    path = tmp_path / one.file_name("outline" if one.of == "drawing" else None, False)
    assert one.write(material, _subject(one, material), path) == path
    assert path.stat().st_size > 500
    files = sorted(p.name for p in tmp_path.iterdir())
    assert files == [path.name] or one.name == "cut"
    before = path.read_bytes()

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="disk is full") as caught:
        one.write(material, _subject(one, material), path)
    assert one.name == "cut" or path.name in str(caught.value)
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == files


def test_all_at_once(tmp_path: Path) -> None:
    written = write_formats(_material(), tmp_path)
    assert set(written) == {f.name for f in FORMATS if f.of != "pieces"}
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(p.name for p in written.values())


def test_a_shape_without_scale(tmp_path: Path) -> None:
    with pytest.raises(MeasureError, match="--unscaled"):
        write_formats(_material(unscaled=True), tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["report.html", "result.json"]
    written = write_formats(_material(unscaled=True, allow=True), tmp_path, ["dxf", "svg", "pdf", "full-size"])
    assert sorted(p.name for p in written.values()) == ["outline-unscaled.dxf", "outline-unscaled.pdf", "outline-unscaled.svg"]
    assert "NOT SCALED" in written["dxf"].read_text(encoding="utf-8")
    assert "NOT SCALED" in written["svg"].read_text(encoding="utf-8")


def test_unknown_format(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="choose from result, report"):
        write_formats(_material(), tmp_path, ["docx"])


def test_pieces_in_every_format(tmp_path: Path) -> None:
    template = _template(measurement())
    written = write_formats(replace(_material(), template=template), tmp_path)
    assert set(written) == {f.name for f in FORMATS} | {f"pieces {f.name}" for f in FORMATS if f.of == "drawing"}
    assert written["pieces dxf"].name == "pieces.dxf"
    assert {p.name for p in tmp_path.iterdir()} >= {"pieces-edges.csv", "pieces-sizes.csv", "pieces-full-size.pdf"}
    _, _, geometry, fields = pyogrio.raw.read(str(written["pieces dxf"]), columns=["Layer"])
    rings = [g for g, name in zip(shapely.from_wkb(geometry), fields[0], strict=True) if name == "STONE-SHAPE"]
    areas = sorted(shapely.Polygon(r).area for r in rings)
    # GDAL chords arcs by about 4 degrees; end-2 with 25 mm overhang has R 551 over 45 degrees: short by under 200 mm2
    assert areas == pytest.approx(sorted(p.area.value for p in template.pieces), abs=200)
    text = written["report"].read_text(encoding="utf-8")
    assert "Finished dimensions" in text
    assert 'id="pieces"' in text
    front = pypdfium2.PdfDocument(written["pieces pdf"])[1].get_textpage().get_text_bounded()
    assert "±" in front
    assert "agreed for cutting" in front


def test_nothing_that_a_machine_runs_where_nothing_is_to_be_cut_from(tmp_path: Path) -> None:
    """Drawings for people carry the reason; files without a word on them, and the print to lay on site, are not written."""
    material = _material()
    m = material.measurement
    doubt = Finding("residuals-unexplained", "network", larger_ratio=6.0, places=("S03",))
    withheld = replace(m.network, quality=replace(m.network.quality, withheld=True))
    material = replace(material, measurement=replace(m, network=withheld, findings=(doubt,)), template=_template(m))
    written = write_formats(material, tmp_path, [])
    assert {"result", "report", "csv", "dxf", "pdf"} <= set(written)
    assert not {"cut", "pieces", "full-size"} & set(written)
    assert any("S03" in warning for warning in material.warnings)


def _numbers(tree: object, key: str) -> Iterator[tuple[str, float]]:
    """Every number under a key that the schema says is an uncertainty or covariance, but for those of given lengths."""
    if isinstance(tree, dict):
        for name, value in tree.items():
            if name != "lengths":
                yield from _numbers(value, key if name in ("lower", "causes_mm2") else name)
    elif isinstance(tree, list):
        for value in tree:
            yield from _numbers(value, key)
    elif isinstance(tree, float) and re.search(r"^U_|_U_|^u_|covariance|noise_mm2|causes_mm2|budget|detectable", key):
        yield key, tree


def test_no_uncertainty_is_shown_where_none_can_be_stated(tmp_path: Path) -> None:
    """Every number that a sound job shows as an uncertainty is replaced by a word; the lines stay where they are."""
    material = _material()
    m = material.measurement
    network = replace(m.network, quality=replace(m.network.quality, withheld=True))
    doubt = Finding("residuals-unexplained", "network", larger_ratio=6.0, places=("S03",))
    doubted = replace(material, measurement=replace(m, network=network, findings=(doubt,)), template=_template(m))
    for name in ("sound", "withheld"):
        (tmp_path / name).mkdir()
    write_formats(replace(material, template=_template(m)), tmp_path / "sound")
    written = write_formats(doubted, tmp_path / "withheld")
    pages = "".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(written["pieces pdf"]))
    dxf = written["dxf"].read_text(encoding="utf-8", errors="replace")
    table = written["csv"].read_text(encoding="utf-8")
    report = written["report"].read_text(encoding="utf-8")
    assert "U withheld" in pages
    assert "nothing is to be cut" in " ".join(pages.split())
    assert "U withheld" in dxf
    assert "withheld" in report
    assert "% inside" not in report, "no verdict without an uncertainty"
    result = json.loads(written["result"].read_text(encoding="utf-8"))
    assert result["withheld"] is True
    assert result["judgements"] is None
    assert "residuals-unexplained" in {f["code"] for f in result["findings"]}
    assert list(_numbers(result, "")) == []
    assert list(_numbers(json.loads((tmp_path / "sound" / "result.json").read_text(encoding="utf-8")), "")) != []
    with pytest.raises(InputError, match="contradict each other"):
        read_result(written["result"])
    largest = max(max(e.offset_U_mm) for e in m.outline.edges)
    for stated in (f"{largest:.2f}", f"{largest:.3f}"):
        assert stated in (tmp_path / "sound" / "outline-edges.csv").read_text(encoding="utf-8") + (
            tmp_path / "sound" / "report.html"
        ).read_text(encoding="utf-8")
        assert stated not in table
    for e in m.outline.edges:
        assert f"±{e.length_U_mm:.1f} mm" not in dxf + report + pages
        assert e.edge_id in dxf
