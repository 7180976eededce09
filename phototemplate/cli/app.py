"""``app``: the browser app."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def app(
    job_dir: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="Folder of a job, which is opened, or of many jobs, which the first page lists. "
                       "Default: this folder."),
    ] = Path(),
    port: Annotated[int, typer.Option(help="Port on this machine; 0 takes a free one.", min=0, max=65535)] = 0,
    browser: Annotated[bool, typer.Option(help="Open the default browser.")] = True,
) -> None:
    """Open the browser app: jobs, photos, lengths, edges, stone, the files to hand over."""
    from phototemplate.web.serve import serve

    serve(job_dir, port, browser, typer.echo)
