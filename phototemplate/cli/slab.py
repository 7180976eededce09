"""``slab``: pieces on a photographed slab."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer


def slab(
    job_dir: Annotated[Path, typer.Argument(metavar="JOBDIR", help="Folder of the measured job whose pieces are laid.")],
    slab_dir: Annotated[
        Path, typer.Argument(metavar="SLABDIR", help="Photos of the slab, job.toml with a known length, slab.toml.")
    ],
    out: Annotated[Path | None, typer.Option(help="Where to write; default: results/ of SLABDIR.")] = None,
) -> None:
    """Lay the pieces of a job on a photographed slab: layout, cutting lines, a picture of every piece, the remnant."""
    from phototemplate.cli.show import console, progress_bar
    from phototemplate.job import load_job
    from phototemplate.job_studies import lay_on_slab
    from phototemplate.opencv_check import require_opencv

    require_opencv()
    job, slab_job = load_job(job_dir), load_job(slab_dir)
    with progress_bar(sys.stderr.isatty()) as tell:
        layout, measured, files = lay_on_slab(job, slab_job, out, tell)
    x0, y0, x1, y1 = layout.slab.bounds
    show = console()
    show.print(f"Slab {x1 - x0:.0f} x {y1 - y0:.0f} mm, U {measured.length_U(x1 - x0):.1f} mm along it, from sheets "
               f"{', '.join(measured.sheets)}", markup=False)
    for part in layout.laid:
        beside = f", pattern runs on to {', '.join(part.with_)}" if part.with_ else ""
        show.print(f"{part.name}: {part.outline.bounds[0]:.0f}, {part.outline.bounds[1]:.0f} mm{beside}", markup=False)
    for names in layout.parted:
        show.print(f"No room side by side, the pattern does not run on: {', '.join(names)}", style="yellow", markup=False)
    if layout.left_over:
        show.print(f"Not laid, no room: {', '.join(layout.left_over)}", style="red", markup=False)
    for path in files.values():
        show.print(f"wrote {path}", markup=False)
