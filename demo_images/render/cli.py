"""Command line: render the demo kitchen, variants of it, or a saved scene."""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from .develop import develop, save_jpeg
from .families import FAMILIES, make
from .job_file import write_job
from .kitchen import demo_scene
from .phone import FULL_WIDTH_PX, PHONES
from .renderer import Renderer
from .scene import Scene
from .survey import survey
from .truth import write_truth
from .variants import make_scene, wall_scene
from .verify import check_photos


def render_scene(
    scene: Scene,
    out: Path,
    *,
    spp: int = 16,
    bake_spp: int = 256,
    only: list[str] | None = None,
    light_samples: int = 1,
    look: bool = False,
    bake_file: Path | None = None,
) -> None:
    """Write ``photos/*.jpg``, ``truth.json`` and ``job.toml`` of a scene into ``out``."""
    photos = out / "photos"
    photos.mkdir(parents=True, exist_ok=True)
    renderer = Renderer(scene, bake_spp=bake_spp, light_samples=light_samples, verbose=True, bake_file=bake_file)
    write_truth(out / "truth.json", scene, renderer)
    write_job(out / "job.toml", scene, renderer)
    if look:
        print(survey(scene, renderer))
        return
    for cam in scene.cameras:
        if only and cam.id not in only:
            continue
        start = time.perf_counter()
        picture = develop(renderer.radiance(cam, spp), cam)
        quality = save_jpeg(picture, cam, photos / f"{cam.id}.jpg")
        print(f"{cam.id}: {cam.width} x {cam.height}, {spp} spp, {time.perf_counter() - start:.1f} s, q {quality}", flush=True)


def print_check(scene: Scene, out: Path) -> None:
    """Saddle points found in finished photos against the truth."""
    rows = check_photos(scene, out / "photos")
    for name, count, rms, bias, weighed in rows:
        print(f"{name}: {count:4d} points, rms {rms:.3f} px, bias {bias[0]:+.4f} {bias[1]:+.4f} px, rms / sigma {weighed:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m demo_images.render", description=__doc__)
    parser.add_argument("what", help="'demo', 'FAMILY:SEED', 'random:SEED', 'wall:BOW_MM', or a saved scene's JSON file")
    parser.add_argument("out", type=Path, help="folder for photos/, truth.json and job.toml")
    parser.add_argument("--phone", help=f"of the demo and the families; a+b: they take turns. One of {', '.join(PHONES)}")
    parser.add_argument("--spp", type=int, default=16, help="rays per pixel")
    parser.add_argument("--scale", type=float, default=1.0, help="size of the photos, e.g. 0.25 for a quick look")
    parser.add_argument("--only", type=lambda text: text.split(","), help="these photos only, comma separated")
    parser.add_argument("--bake-spp", type=int, default=256, help="rays per vertex for indirect light; 1024 is smoother")
    parser.add_argument("--bake-file", type=Path, help="keep the baked light here and use it again for the same scene")
    parser.add_argument("--survey", action="store_true", help="only print what each photo sees; render nothing")
    parser.add_argument("--verify", action="store_true", help="only compare the photos in OUT with the truth")
    args = parser.parse_args()
    kind, _, number = args.what.partition(":")
    phones = tuple(PHONES[name] for name in args.phone.split("+")) if args.phone else None
    with tempfile.TemporaryDirectory() as folder:
        if args.what == "demo":
            scene = demo_scene(Path(folder), *(phones or ())[:1])
        elif kind in FAMILIES:
            scene = make(kind, int(number), Path(folder), phones)
        elif args.what.startswith("random:"):
            scene = make_scene(int(number), Path(folder), FULL_WIDTH_PX)
        elif args.what.startswith("wall:"):
            scene = wall_scene(Path(folder), bow_mm=float(number), width=FULL_WIDTH_PX)
        else:
            scene = Scene.load(Path(args.what))
        if args.verify:
            print_check(scene, args.out)
            return
        render_scene(
            scene.scaled(args.scale),
            args.out,
            spp=args.spp,
            bake_spp=args.bake_spp,
            only=args.only,
            look=args.survey,
            bake_file=args.bake_file,
        )
