"""The report: self-contained, harmless to foreign names, complete, and plain in what it says."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from phototemplate.capture.photos import read_rgb
from phototemplate.errors import Finding, PhotoError
from phototemplate.model import Candidate, PhotoMeta
from phototemplate.network.rectify import rectify
from phototemplate.output.report import TopPicture, words, write_report
from phototemplate.output.report.build import render_report
from phototemplate.output.report.camera import camera_panels
from phototemplate.output.report.levels import cabinet_levels
from phototemplate.output.report.marks import CLASSES, class_of, fmt, signed, upright_angle
from phototemplate.output.report.plan import sheet_corners, stretches
from phototemplate.settings import OutputSettings
from phototemplate.wording import say
from tests.finding_examples import example
from tests.output.samples import SIZE_PX, measurement


class Page(HTMLParser):
    """Collects tags, addresses, ids and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.ids: set[str] = set()
        self.text = ""
        self.images = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.images += tag == "image"
        for name, value in attrs:
            if name in ("src", "href", "xlink:href", "action", "srcset", "poster", "data"):
                self.addresses.append(value or "")
            if name == "id":
                self.ids.add(value or "")
            assert not name.startswith("on"), f"{tag} has {name}"

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def html(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("report")
    m = measurement(str(folder / "photos"))
    path = write_report(m, folder / "report.html", top_picture=_ground())
    assert path.stat().st_size < 4_000_000
    return path.read_text(encoding="utf-8")


def _ground() -> TopPicture:
    picture = np.full((1200, 1600, 3), 180, np.uint8)
    return TopPicture(picture, 0.5, (-100.0, 200.0))


def test_no_scripts_and_no_requests(html: str) -> None:
    page = Page(html)
    assert not {"script", "iframe", "object", "embed", "link", "form"} & set(page.tags)
    for address in page.addresses:
        assert address.startswith(("data:image/jpeg;base64,", "#")), address[:60]
        if address.startswith("#"):
            assert address[1:] in page.ids
    assert "default-src 'none'" in html
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org)", html)


def test_everything_is_there(html: str) -> None:
    page, m = Page(html), measurement()
    assert page.images == len(m.photos) + 1
    for edge in m.outline.edges:
        assert page.text.count(edge.edge_id) >= 3
        assert f"{edge.length_mm:.1f} mm" in page.text
        assert f"{edge.offset_U_mm[0]:.2f}" in page.text
    for finding in m.findings:
        one = say(finding, "in")
        assert one.message in page.text
        assert one.remedy in page.text
    for photo in m.photos:
        assert photo.path.name in page.text
    for height in m.work_plane.heights:
        assert height.name in page.text
    assert "silica dust" in page.text.lower()
    assert "k = 2" in page.text
    assert "If it were misread by 0.9 mm you would be told" in page.text


def test_from_which_line_overhangs_count_and_where_the_other_is() -> None:
    m = measurement()
    door = Candidate(-19.3, -12.1, 0.98, "face")
    segments = tuple(replace(s, candidates=(door,)) if s.edge_id == "front-2" else s for s in m.outline.segments)
    boxes = Page(render_report(replace(m, outline=replace(m.outline, segments=segments)), settings=OutputSettings(), unit="mm"))
    assert "the edges of the cabinet boxes" in boxes.text
    assert "front-2 19.3 mm before the box, at a height of -12.1 mm" in boxes.text
    edges = tuple(replace(e, line="door") if e.edge_id == "front-2" else e for e in m.outline.edges)
    segments = tuple(replace(s, line="door") if s.edge_id == "front-2" else s for s in segments)
    outline = replace(m.outline, edges=edges, segments=segments)
    doors = Page(render_report(replace(m, outline=outline), settings=OutputSettings(), unit="mm"))
    assert "the faces of the doors at front-2, elsewhere the edges of the cabinet boxes" in doors.text
    assert "before the box" not in doors.text


def test_foreign_names_do_no_harm() -> None:
    m = measurement()
    evil = '<script>alert("x")</script>&'
    edges = tuple(replace(e, edge_id=evil) if e.edge_id == "end-1" else e for e in m.outline.edges)
    segments = tuple(replace(s, edge_id=evil) if s.edge_id == "end-1" else s for s in m.outline.segments)
    loops = tuple(replace(x, edge_ids=tuple(evil if e == "end-1" else e for e in x.edge_ids)) for x in m.outline.loops)
    bad = replace(
        m,
        job_name=evil,
        outline=replace(m.outline, edges=edges, segments=segments, loops=loops),
        findings=(*m.findings, Finding("photo-resaved", evil, software=evil)),
    )
    page = Page(render_report(bad, settings=OutputSettings()))
    assert "script" not in page.tags
    assert page.text.count(evil) >= 5


def test_photos_that_went_away_leave_the_numbers() -> None:
    def gone(meta: PhotoMeta, side: int) -> np.ndarray:
        raise PhotoError(Finding("photo-missing", meta.photo_id, reason="gone"))

    page = Page(render_report(measurement(), settings=OutputSettings(), picture_of=gone))
    assert page.images == 0
    assert page.text.count("could not be read any more") == len(measurement().photos)


def test_nothing_measured_yet() -> None:
    m = measurement()
    net = replace(m.network, photos={}, bodies={}, points=(), residuals=(), lengths=(), cameras={}, scale_known=False)
    outline = replace(m.outline, segments=(), loops=(), edges=(), state_slices={})
    empty = replace(m, network=net, outline=outline, traces=(), work_plane=replace(m.work_plane, heights=()))
    text = Page(render_report(empty, settings=OutputSettings())).text
    assert "No edge was measured yet." in text
    assert "No length was known" in text
    assert "No photo could be placed" in text


def test_unscaled_is_the_first_thing_said() -> None:
    text = Page(render_report(measurement("", True), settings=OutputSettings())).text
    assert "Shape without scale: no length was known. Do not cut from this." in text
    assert "Known to" not in text


def test_top_picture_lies_where_it_belongs(html: str) -> None:
    """The picture's corner pixel, mapped by the matrix in the page, falls on the corner's plan position."""
    m = measurement()
    match = re.search(r'<image class="ground"[^>]*width="(\d+)" height="(\d+)" transform="matrix\(([^)]+)\)"', html)
    assert match
    w, h = int(match[1]), int(match[2])
    a, b, c, d, e, f = map(float, match[3].split())
    # plan = work here; SVG scale and origin follow from two corners of the outline drawn in the same page
    span = (w * a + h * c, w * b + h * d)
    mm = (1600 / 0.5, 1200 / 0.5)
    assert b == pytest.approx(0, abs=1e-9)
    assert c == pytest.approx(0, abs=1e-9)
    scale = span[0] / mm[0]
    assert span[1] / mm[1] == pytest.approx(scale, rel=1e-5)
    corner = m.outline.loops[0].corners_mm[1]
    ellipses = re.findall(r'<ellipse class="corner" cx="([\d.]+)" cy="([\d.]+)"', html)
    x, y = map(float, ellipses[1])
    left, top = -100.0 - 1.0, 200.0 + 1.0  # outer corner of pixel (0, 0): half a pixel of 2 mm
    assert e + (corner[0] - left) * scale == pytest.approx(x, abs=0.1)
    assert f + (top - corner[1]) * scale == pytest.approx(y, abs=0.1)


def test_classes_of_the_scale() -> None:
    letters = [class_of(u, 1.6).letter for u in (0.0, 0.4, 0.41, 0.8, 1.6, 1.61, 3.2, 3.3, float("nan"))]
    assert letters == list("AABBCDDEE")
    assert len({(c.dash, c.width) for c in CLASSES}) == len(CLASSES), "told apart without colour"


def test_verdict_follows_the_guarded_rule() -> None:
    """ISO 14253-1 with the guard U: a deviation of estimate zero is proven inside +-T exactly when U <= T."""
    edge = measurement().outline.edges[0]
    t = 25.4 / 16
    for u, state in ((t - 1e-6, "good"), (t, "good"), (t + 1e-3, "short")):
        assert words.edge_verdict(replace(edge, offset_U_mm=(0.1, u, 0.2)), t).state == state
    short = words.edge_verdict(replace(edge, offset_U_mm=(0.1, 0.2, 2 * t)), t)
    assert "at its end" in short.sentence
    assert "68 %" in short.sentence, "one standard uncertainty: 68 % (normal distribution)"
    assert short.remedy
    look = words.edge_verdict(replace(edge, findings=(example("edge-single-view", "e"),)), t)
    assert look.state == "look"
    assert say(example("edge-single-view", "e")).message in look.sentence
    assert look.remedy == say(example("edge-single-view", "e")).remedy


def test_headline() -> None:
    m, t = measurement(), 25.4 / 16
    verdicts = [words.edge_verdict(e, t) for e in m.outline.edges]
    assert words.headline(m, verdicts, t).startswith("8 of 10 edges are known within 1/16 in (1.6 mm)")
    good = [words.EdgeVerdict("good", "")] * 3
    assert words.headline(m, good, t) == "All 3 edges are known within 1/16 in (1.6 mm)."
    serious = replace(m, findings=(example("sheet-moved", "S01"),))
    assert "1 serious thing" in words.headline(serious, good, t)
    assert words.tolerance_words(1.0) == "1.00 mm (0.039 in)"
    assert words.tolerance_words(25.4 / 8) == "1/8 in (3.2 mm)"


def test_camera_sentence_tells_noise_from_a_bent_lens() -> None:
    m = measurement()
    (panel,) = camera_panels(m)
    assert panel.good
    assert panel.sentence.startswith("The camera is all right")
    middle = np.array(SIZE_PX) / 2
    bent = []
    for r in m.network.residuals:
        out = r.uv_px - middle
        radius = np.hypot(*out.T) / 1000
        bent.append(replace(r, residual_px=r.residual_px + out / 1000 * (0.9 * radius**2 - 0.25)[:, None]))
    (panel,) = camera_panels(replace(m, network=replace(m.network, residuals=tuple(bent))))
    assert not panel.good
    assert "follow a pattern" in panel.sentence
    wild = tuple(replace(r, residual_px=10 * r.residual_px) for r in m.network.residuals)
    (panel,) = camera_panels(replace(m, network=replace(m.network, residuals=wild)))
    assert not panel.good
    assert "Usual causes" in panel.sentence


def test_photos_with_principal_points_of_their_own_share_one_panel() -> None:
    """Lenses split by photo are one camera to the reader; what differs is given from least to largest."""
    m = measurement()
    (whole,) = camera_panels(m)
    (camera,) = m.network.cameras.values()
    apart = {p: replace(camera, camera_id=f"{camera.camera_id} {p}", params=camera.params.copy()) for p in m.network.photos}
    for i, own in enumerate(apart.values()):
        own.params[2] += 10.0 * i
    photos = {p: replace(pose, camera_id=apart[p].camera_id) for p, pose in m.network.photos.items()}
    split = replace(m.network, cameras={c.camera_id: c for c in apart.values()}, photos=photos)
    (panel,) = camera_panels(replace(m, network=split))
    assert (panel.points, panel.photos, panel.rms_px) == (whole.points, whole.photos, pytest.approx(whole.rms_px))
    shown = {p.name: p.value for p in panel.parameters}
    assert " to " in shown["cx"]
    assert " to " not in shown["f"]
    assert "principal point of its own" in panel.origin


def test_levels_in_words() -> None:
    levels = {c.name: c for c in cabinet_levels(measurement().work_plane.heights)}
    assert set(levels) == {"left", "corner", "back", "right"}
    assert "Level with the others" in levels["back"].sentence
    assert "Out of level by 1.8 mm" in levels["right"].sentence


def test_stretches_carry_the_same_uncertainty_as_the_edge_table() -> None:
    m = measurement()
    tops = {s.edge_id: s.U_mm for s in stretches(m.outline)}
    for edge in m.outline.edges:
        if edge.edge_id != "wall-1":  # two loops share it, the table has its whole length
            assert max(tops[edge.edge_id][[0, -1]]) == pytest.approx(max(edge.offset_U_mm[0], edge.offset_U_mm[2]), rel=0.01)


def test_small_helpers() -> None:
    assert [fmt(v) for v in (1.0, 0.04, -0.01, 12.34)] == ["1", "0", "0", "12.3"]
    assert [signed(v) for v in (0.04, -0.04, 1.26, -1.26)] == ["0.0", "0.0", "+1.3", "-1.3"]
    assert all(-90.0 <= upright_angle(a) <= 90.0 for a in range(-360, 361, 15))


def test_many_photos_keep_the_report_small(html: str, tmp_path: Path) -> None:
    m = measurement()

    def picture(meta: PhotoMeta, side: int) -> np.ndarray:
        rng = np.random.default_rng(1)
        return rng.integers(0, 255, (side * 3 // 4, side, 3), dtype=np.uint8)  # noise: the worst case for JPEG

    photos = tuple(replace(m.photos[i % 12], photo_id=f"P{i:02d}") for i in range(60))
    assert len(render_report(replace(m, photos=photos), settings=OutputSettings(), picture_of=picture)) < 25_000_000


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.1, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def _contrast(a: str, b: str) -> float:
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_in_light_dark_and_print() -> None:
    """WCAG 2.1: text 4.5 to 1 (1.4.3 AA), lines of pictures 3 to 1 (1.4.11)."""
    css = files("phototemplate.output").joinpath("templates/report.css").read_text(encoding="utf-8")
    themes = [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", block)) for block in re.findall(r":root \{([^}]*)\}", css)]
    assert len(themes) == 3
    for theme in themes:
        colours = {k: "#" + "".join(c * 2 for c in v[1:]) if len(v) == 4 else v for k, v in theme.items()}
        for ground in ("paper", "card"):
            for text in ("ink", "soft", "accent", "good", "look", "short"):
                assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
            for line in ("class-a", "class-b", "class-c", "class-d", "class-e", "low", "high", "even"):
                assert _contrast(colours[line], colours[ground]) >= 3.0, (line, ground)
        for mood in ("good", "look", "short"):
            assert _contrast(colours["ink"], colours[f"{mood}-ground"]) >= 4.5


def test_sheets_of_the_rectified_picture_lie_under_their_outlines(tmp_path: Path) -> None:
    """``network.rectify`` and the top view agree on frames: a sheet's saddle points are saddle points of the picture."""
    m = measurement(str(tmp_path / "photos"))
    metas = {p.photo_id: p for p in m.photos}
    view = rectify(m.network, m.work_plane, lambda p: read_rgb(metas[p]), px_per_mm=0.5)
    picture = TopPicture.of(view)
    gray = picture.rgb.astype(float).mean(axis=2)
    corners = sheet_corners(m)["S07"]
    x, y = np.mean(corners, axis=0)
    u = np.array([[1.0, 0.0], [0.0, 1.0]]) @ (corners[1] - corners[0]) / 210.0
    v = np.array([-u[1], u[0]])
    quads = []  # the four squares round the saddle point at (-20, 0) of the sheet
    for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        place = np.array([x, y]) + (-20 + 20 * a) * u + 20 * b * v
        column, row = np.round((place - picture.origin_mm) * np.array([1, -1]) * picture.px_per_mm).astype(int)
        quads.append(gray[row, column])
    assert min(abs(quads[0] - quads[1]), abs(quads[1] - quads[2]), abs(quads[2] - quads[3])) > 120
    assert abs(quads[0] - quads[2]) < 60


def test_influences_of_strips_are_said_in_words() -> None:
    assert words.input_words("strip:W04a", "wall-left") == "standing off of strip W04a"
    assert words.input_words("bulge:W05a", "wall-back") == "bulge of strip W05a"
