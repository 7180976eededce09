"""Photos of every kind a phone or a messenger leaves, sent to the app as the page sends them, and thirty at once."""

from __future__ import annotations

import io
import json
import threading
import urllib.request
from collections.abc import Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from tests.web.kit import Served, demo_photos, served, wait_for

ORIENTATION = 0x0112


class Client:
    """What the page does, without a page."""

    def __init__(self, app: Served) -> None:
        self.app = app
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        self.opener.open(app.address).read()

    def send(self, name: str, data: bytes) -> dict[str, Any]:
        request = urllib.request.Request(
            f"{self.app.base}/api/photos?name={name}", data=data, method="PUT", headers={"origin": self.app.base}
        )
        facts: dict[str, Any] = json.load(self.opener.open(request))
        return facts

    def state(self) -> dict[str, Any]:
        facts: dict[str, Any] = json.load(self.opener.open(f"{self.app.base}/api/state"))
        return facts

    def looked_at(self, count: int) -> dict[str, dict[str, Any]]:
        """Photos by name, once all of them have been looked at."""

        def done() -> dict[str, dict[str, Any]] | None:
            photos = {p["id"]: p for p in self.state()["photos"]}
            return photos if len(photos) == count and all(p["state"] in ("seen", "bad") for p in photos.values()) else None

        return wait_for(done, 240)  # type: ignore[return-value]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    with served(tmp_path) as app:
        yield Client(app)


def test_every_kind_of_file_shows_its_targets(client: Client) -> None:
    """One picture as JPEG, HEIC, PNG, and stored lying on its side with the Exif orientation that says so."""
    with Image.open(next(p for p in demo_photos() if p.stem == "IMG_2303")) as image:
        exif = image.getexif()
        small = image.resize((image.width // 2, image.height // 2), Image.Resampling.BOX)

    def packed(picture: Image.Image, kind: str, **options: Any) -> bytes:
        buffer = io.BytesIO()
        picture.save(buffer, kind, **options)
        return buffer.getvalue()

    pillow_heif.register_heif_opener()
    turned = Image.Exif()
    turned.load(exif.tobytes())
    turned[ORIENTATION] = 6  # Exif 2.32, 4.6.5: row 0 is the right-hand side, so the viewer turns it clockwise
    client.send("plain.jpg", packed(small, "JPEG", quality=92, exif=exif))
    client.send("phone.heic", packed(small, "HEIF", quality=92, exif=exif.tobytes()))
    client.send("screen.png", packed(small, "PNG"))
    client.send("turned.jpg", packed(small.transpose(Image.Transpose.ROTATE_90), "JPEG", quality=92, exif=turned))
    photos = client.looked_at(4)
    assert {p["file"] for p in photos.values()} == {"plain.jpg", "phone.heic", "screen.png", "turned.jpg"}
    assert all(p["state"] == "seen" for p in photos.values()), [p["trouble"] for p in photos.values()]
    targets = {name: {t["id"] for t in p["seen"]["targets"]} for name, p in photos.items()}
    assert len(targets["plain"]) >= 15
    for name in ("phone", "screen", "turned"):
        assert len(targets[name] & targets["plain"]) >= len(targets["plain"]) - 2, name
    # stored as it lies, shown upright
    assert photos["turned"]["seen"]["size"] == [small.height, small.width]
    assert photos["turned"]["seen"]["orientation"] == 6
    for name, p in photos.items():
        with Image.open(io.BytesIO(client.opener.open(f"{client.app.base}/thumb/{name}/{p['version']}").read())) as thumb:
            assert thumb.width > thumb.height, name
            small_grey = np.asarray(small.convert("L").resize(thumb.size), float)
            assert np.corrcoef(np.asarray(thumb.convert("L"), float).ravel(), small_grey.ravel())[0, 1] > 0.97, name
        tile = client.opener.open(f"{client.app.base}/tiles/photo/{name}/{p['version']}/2/0/0").read()
        assert tile[:2] == b"\xff\xd8"


def test_thirty_photos_at_once_all_arrive(client: Client) -> None:
    rng = np.random.default_rng(3)
    pictures = []
    for _ in range(30):
        buffer = io.BytesIO()
        Image.fromarray(rng.integers(0, 255, (60, 80, 3), dtype=np.uint8)).resize((640, 480)).save(buffer, "JPEG")
        pictures.append(buffer.getvalue())
    threads = [
        threading.Thread(target=lambda part=part: [client.send("IMG.jpg", p) for p in part])
        for part in (pictures[::3], pictures[1::3], pictures[2::3])
    ]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    photos = client.looked_at(30)
    assert not {name: p["trouble"] for name, p in photos.items() if p["state"] != "seen"}
    stored = {p.read_bytes() for p in (client.app.folder / "photos").iterdir()}
    assert stored == set(pictures)
    trouble = wait_for(lambda: client.state()["trouble"], 60)
    assert "No printed target" in trouble["detail"]  # type: ignore[index]
