"""Who may talk to the app, and what an answer allows the page to do.

The attacks are those of the OWASP cheat sheets "Cross-Site Request Forgery Prevention" and "Content Security Policy", and DNS
rebinding (a foreign name that resolves to this machine, seen by its Host header).
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from phototemplate.web.access import Keys
from phototemplate.web.app import STATIC, build_app
from phototemplate.web.constants import BODY_LIMIT, UPLOAD_LIMIT
from phototemplate.web.photo_files import free_stem, stem_of
from phototemplate.web.serve import handed_over
from phototemplate.web.workspace import Workspace

HOST = "127.0.0.1:8000"
OURS = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
EVERYWHERE = [
    ("GET", "/"), ("GET", "/static/main.js"), ("GET", "/api/state"), ("GET", "/api/result"), ("GET", "/api/schema"),
    ("PUT", "/api/photos?name=a.jpg"), ("POST", "/api/edit"), ("POST", "/api/undo"), ("POST", "/api/measure"),
    ("POST", "/api/cancel"), ("POST", "/api/ask/photos-showing"), ("POST", "/api/finish"), ("GET", "/download/dxf"),
    ("GET", "/report"), ("GET", "/thumb/a/b"), ("GET", "/api/jobs"),
    ("POST", "/api/jobs/leave"), ("POST", "/api/jobs/make"), ("GET", "/picture/a"),
     ("GET", "/tiles/top/a/0/0/0"), ("GET", "/nowhere"),
]  # fmt: skip


@pytest.fixture
def keys() -> Keys:
    return Keys()


@pytest.fixture
def client(tmp_path: Path, keys: Keys) -> Iterator[TestClient]:
    (tmp_path / "secret.txt").write_text("not for anyone")
    (tmp_path / "photos").mkdir()
    workspace = Workspace(tmp_path.parent, open_name=tmp_path.name)
    app = build_app(workspace, frozenset({HOST, "localhost:8000"}), keys)
    opened = workspace.opened
    client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
    yield client
    opened.worker.close()


@pytest.fixture
def guest(client: TestClient, keys: Keys) -> TestClient:
    """A page that the app itself has opened."""
    assert client.get(f"/open?key={keys.start}").status_code == 200
    return client


@pytest.mark.parametrize(("method", "path"), EVERYWHERE)
def test_nothing_without_the_key(client: TestClient, method: str, path: str) -> None:
    assert client.request(method, path, headers=OURS).status_code == 401


@pytest.mark.parametrize(("method", "path"), EVERYWHERE)
@pytest.mark.parametrize(
    "host", ["example.org", "example.org:8000", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8000.example.org", ""]
)
def test_foreign_host_refused(guest: TestClient, method: str, path: str, host: str) -> None:
    assert guest.request(method, path, headers={**OURS, "host": host}).status_code == 421


@pytest.mark.parametrize(("method", "path"), EVERYWHERE)
@pytest.mark.parametrize("origin", ["http://example.org", "null", "https://127.0.0.1:8000", "http://127.0.0.1:8001"])
def test_foreign_origin_refused(guest: TestClient, method: str, path: str, origin: str) -> None:
    assert guest.request(method, path, headers={"origin": origin}).status_code == 403


@pytest.mark.parametrize(("method", "path"), [e for e in EVERYWHERE if e[0] != "GET"])
def test_change_without_origin_refused(guest: TestClient, method: str, path: str) -> None:
    assert guest.request(method, path).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize(("method", "path"), [*EVERYWHERE, ("GET", "/open?key=x")])
def test_foreign_site_refused(guest: TestClient, method: str, path: str, site: str) -> None:
    headers = {"sec-fetch-site": site} | ({"origin": f"http://{HOST}"} if method != "GET" else {})
    assert guest.request(method, path, headers=headers).status_code == 403


def test_key_opens_and_wrong_key_does_not(client: TestClient, keys: Keys) -> None:
    for wrong in ("", "x", keys.session, keys.start[:-1]):
        assert client.get("/open", params={"key": wrong}).status_code == 403
    answer = client.get("/open", params={"key": keys.start}, headers={"sec-fetch-site": "none"})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie
    assert keys.start.lower() not in cookie  # the address is no use for the cookie, nor the other way round
    assert client.get("/").status_code == 200


def test_the_key_opens_once(client: TestClient, keys: Keys) -> None:
    """Who reads it later has nothing; the page that was let in may use its old address."""
    from_a_file = {"sec-fetch-site": "cross-site"}
    assert client.get("/open", params={"key": keys.start}, headers=from_a_file).status_code == 200
    assert client.get("/open", params={"key": keys.start}).status_code == 200
    client.cookies.clear()
    assert client.get("/open", params={"key": keys.start}).status_code == 403


@pytest.mark.skipif(os.name == "nt", reason="modes of POSIX")
def test_the_key_is_handed_over_in_a_file_of_the_user_alone(tmp_path: Path) -> None:
    with handed_over(tmp_path, "http://127.0.0.1:8000/open?key=abc") as page:
        assert page is not None
        assert page.stat().st_mode & 0o077 == 0
        assert "key=abc" in page.read_text()
        assert "abc" not in page.as_uri()
    assert not page.exists()
    with handed_over(tmp_path / "nowhere", "http://127.0.0.1:8000/") as nothing:
        assert nothing is None


def test_keys_differ_between_starts() -> None:
    many = {k for _ in range(50) for k in (Keys().start, Keys().session)}
    assert len(many) == 100
    assert min(map(len, many)) >= 43  # 256 bits in base 64


@pytest.mark.parametrize(("method", "path"), [e for e in EVERYWHERE if e[1] not in ("/api/finish", "/api/ask/photos-showing")])
def test_every_answer_is_locked_down(guest: TestClient, method: str, path: str) -> None:
    for headers in (OURS, {"host": "example.org"}):
        answer = guest.request(method, path, headers=headers)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:")
        assert "connect-src 'self'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers


def test_pages_hold_nothing_the_policy_forbids() -> None:
    for path in STATIC.iterdir():
        text = path.read_text(encoding="utf-8")
        foreign = set(re.findall(r"https?://[^\s'\"]+", text)) - {"http://www.w3.org/2000/svg"}
        assert not foreign, f"{path.name} names {foreign}"
        assert "innerHTML" not in text
        assert "eval(" not in text
        if path.suffix == ".html":
            assert not re.search(r"<script(?![^>]*src=)|<style|\son\w+=|style=", text)


UGLY = [
    "..%2f..%2fsecret.txt",
    "%2e%2e/secret.txt",
    "..\\secret.txt",
    "/etc/passwd",
    "secret.txt",
    "job.toml",
    "%00",
    "a" * 3000,
]


@pytest.mark.parametrize("ugly", UGLY)
def test_no_path_of_the_client_is_a_path(guest: TestClient, ugly: str) -> None:
    for place in ("/static/{}", "/download/{}", "/thumb/{}/x", "/thumb/x/{}", "/tiles/photo/{}/x/0/0/0", "/tiles/top/{}/0/0/0",
                  "/api/photos/{}/marks", "/tiles/photo/x/x/{}/0/0"):  # fmt: skip
        answer = guest.get(place.format(ugly))
        assert answer.status_code in (404, 405)
        assert b"not for anyone" not in answer.content


def test_large_uploads_are_refused_before_and_while_they_arrive(guest: TestClient, tmp_path: Path) -> None:
    told = guest.put("/api/photos?name=big.jpg", headers={**OURS, "content-length": str(100_000_000)}, content=b"\xff\xd8\xff")
    assert (told.status_code, told.json()["error"]) == (413, "photo-too-large")

    def untold() -> Iterator[bytes]:
        yield b"\xff\xd8\xff\xe0" + bytes(1 << 20)
        for _ in range(UPLOAD_LIMIT >> 20):
            yield bytes(1 << 20)

    answer = guest.put("/api/photos?name=big.jpg", headers=OURS, content=untold())
    assert (answer.status_code, answer.json()["error"]) == (413, "photo-too-large")
    assert not [p for p in (tmp_path / "photos").glob("*") if p.is_file()]


@pytest.mark.parametrize(
    "data", [b"", b"x", b"GIF89a" + bytes(50), b"PK\x03\x04" + bytes(50), b"<svg onload=alert(1)>" + bytes(50)]
)
def test_what_is_no_photo_is_refused(guest: TestClient, tmp_path: Path, data: bytes) -> None:
    answer = guest.put("/api/photos?name=a.jpg", headers=OURS, content=data)
    assert (answer.status_code, answer.json()["error"]) == (415, "not-a-photo")
    assert not [p for p in (tmp_path / "photos").glob("*") if p.is_file()]


def test_a_makers_drawing_is_kept_with_the_job_and_nothing_else_is(guest: TestClient, tmp_path: Path) -> None:
    drawing = b"999\nsink\n  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n"
    answer = guest.put("/api/drawing?name=../Sink%20770.dxf", headers=OURS, content=drawing)
    assert answer.status_code == 201
    assert answer.json()["file"] == "drawings/Sink-770.dxf"
    assert (tmp_path / "drawings" / "Sink-770.dxf").read_bytes() == drawing
    again = guest.put("/api/drawing?name=Sink-770.dxf", headers=OURS, content=drawing)
    assert again.json()["file"] == "drawings/Sink-770-2.dxf"
    for other in (b"", b"PK\x03\x04", b"<svg/>", b"hello SECTION"):
        refused = guest.put("/api/drawing?name=a.dxf", headers=OURS, content=other)
        assert (refused.status_code, refused.json()["error"]) == (415, "not-a-drawing")


def test_upload_cut_short_leaves_nothing(guest: TestClient, tmp_path: Path) -> None:
    answer = guest.put(
        "/api/photos?name=a.jpg", headers={**OURS, "content-length": "5000"}, content=b"\xff\xd8\xff" + bytes(100)
    )
    assert (answer.status_code, answer.json()["error"]) == (400, "cut-short")
    assert not list((tmp_path / "photos").glob("*"))


def test_long_bodies_and_what_is_no_json(guest: TestClient) -> None:
    assert guest.post("/api/edit", headers=OURS, content=b"[" * (BODY_LIMIT + 10)).status_code == 413

    def untold() -> Iterator[bytes]:
        for _ in range(5):
            yield b"[" * (BODY_LIMIT // 4)

    assert guest.post("/api/edit", headers=OURS, content=untold()).status_code == 413
    for body in (b"{", b"[]", b"1", b"[" * 100_000, b"\xff\xfe"):
        answer = guest.post("/api/edit", headers=OURS, content=body)
        assert (answer.status_code, answer.json()["error"]) == (422, "bad-question")


@given(st.text(max_size=300))
def test_names_of_photos_are_harmless(name: str) -> None:
    stem = stem_of(name)
    assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,47}", stem) or re.fullmatch(r"[A-Za-z0-9_-]{1,48}", stem)
    assert not stem.startswith(("-", "."))


def test_names_stay_readable_and_never_collide() -> None:
    assert stem_of("C:\\Users\\x\\IMG_2301.JPG") == "IMG_2301"
    assert stem_of("../../etc/passwd") == "passwd"
    assert stem_of("Küche 1.heic") == "K-che-1"
    assert free_stem("img_1", {"IMG_1", "img_1-2"}) == "img_1-3"
