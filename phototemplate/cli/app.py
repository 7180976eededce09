"""``app``: the browser app."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phototemplate.errors import InputError


def app(
    job_dir: Annotated[
        Path | None,
        typer.Argument(metavar="JOBDIR", help="Folder of the job, made where it does not exist; default: this folder where it "
                       "holds a job, else a new folder phototemplate-job in it."),
    ] = None,
    port: Annotated[int, typer.Option(help="Port on this machine; 0 takes a free one.", min=0, max=65535)] = 0,
    browser: Annotated[bool, typer.Option(help="Open the default browser.")] = True,
) -> None:
    """Open the browser app: drop photos, look, mark edges, decide on the stone, hand out the files."""
    from phototemplate.web.serve import serve

    if job_dir is None:
        here = Path()
        job_dir = here if (here / "job.toml").is_file() or (here / "photos").is_dir() else here / "phototemplate-job"
    try:
        job_dir.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise InputError(f"{job_dir} cannot be made: {exc.strerror}; give another folder.") from exc
    serve(job_dir, port, browser, typer.echo)
