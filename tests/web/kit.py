"""What the tests of the app share: a small job of demo photos, the app as a process of its own, a browser."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image

DEMO = Path(__file__).resolve().parents[2] / "demo_images" / "kitchen" / "photos"
SHOWING_THE_RIGHT_RUN = ("IMG_2303", "IMG_2304", "IMG_2305", "IMG_2306")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
ENVIRONMENT = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")


def missing(what: str) -> None:
    """Skip with a reason; fail where the checks are required."""
    if os.environ.get("PHOTOTEMPLATE_REQUIRE_REFERENCE"):
        pytest.fail(what)
    pytest.skip(what)


def demo_photos() -> list[Path]:
    """The demo's photos."""
    photos = sorted(DEMO.glob("*.jpg"))
    if not photos:
        missing("the demo photos are not there; render them first (demo_images/README.md)")
    return photos


def halved(photo: Path, to: Path) -> Path:
    """A demo photo at half size, its camera data kept."""
    with Image.open(photo) as image:
        exif = image.getexif()
        small = image.resize((image.width // 2, image.height // 2), Image.Resampling.BOX)
        small.save(to, quality=92, exif=exif)
    return to


def demo_job(folder: Path, full_size: bool = False) -> None:
    """The demo's job with its photos, at half size unless asked otherwise, in a folder of its own."""
    (folder / "photos").mkdir(parents=True)
    for photo in demo_photos():
        (shutil.copy if full_size else halved)(photo, folder / "photos" / photo.name)
    (folder / "job.toml").write_text((DEMO.parent / "job.toml").read_text(encoding="utf-8"), encoding="utf-8")


def few_photos(folder: Path, names: tuple[str, ...] = SHOWING_THE_RIGHT_RUN) -> list[Path]:
    """Small demo photos that show the right run of cabinets."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [p for p in demo_photos() if p.stem in names]
    return [halved(p, folder / p.name) for p in chosen]


@dataclass
class Served:
    """The app as a process."""

    process: subprocess.Popen[str]
    address: str
    folder: Path

    @property
    def base(self) -> str:
        return self.address.split("/open")[0]

    def kill(self) -> None:
        """As hard as it gets."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)


def start(folder: Path, port: int = 0) -> Served:
    """Start the app on a job folder, which is made where there is none, and wait for its address."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    return start_on(folder, port)


def start_on(folder: Path, port: int = 0) -> Served:
    """Start the app on a folder as it is and wait for its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "phototemplate", "app", str(folder), "--no-browser", "--port", str(port)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=ENVIRONMENT,
    )  # fmt: skip
    assert process.stdout is not None
    line = process.stdout.readline()
    found = re.search(r"http://\S+", line)
    assert found, f"the app printed {line!r}"
    return Served(process, found.group(0), folder)


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """The app for the length of a test."""
    app = start(folder)
    try:
        yield app
    finally:
        app.process.terminate()
        try:
            app.process.wait(8)
        except subprocess.TimeoutExpired:
            app.process.kill()


def browser_path() -> str:
    """Chromium as the system has it."""
    for path in BROWSERS:
        if shutil.which(path):
            return path
    missing("no chromium on this machine; install it (Debian: apt-get install chromium)")
    return ""


def wait_for(what: object, seconds: float = 120.0, step: float = 0.1) -> object:
    """Call until it gives something true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        value = what()  # type: ignore[operator]
        if value:
            return value
        time.sleep(step)
    raise AssertionError("it did not happen in time")
