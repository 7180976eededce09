"""``sheets``: print targets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phototemplate.errors import InputError
from phototemplate.units import usual_paper


def sheets(
    out: Annotated[Path, typer.Option("--out", "-o", help="PDF to write.")] = Path("sheets.pdf"),
    what: Annotated[
        list[str] | None,
        typer.Option(
            "--what", help="set (all of it), or guide, sheets, strips, bars, board, customer, home-check; may be repeated."
        ),
    ] = None,
    paper: Annotated[str, typer.Option(help="A4 or Letter; the board also A3 or Tabloid; left out: what is usual here.")] = "",
    numbers: Annotated[str | None, typer.Option(help="Which numbers of one kind, e.g. 1-12,15.")] = None,
    print_scale: Annotated[
        str,
        typer.Option(help="Measured length divided by the printed one, e.g. 0.997, or across,up: 0.997,0.998."),
    ] = "1",
    guide: Annotated[bool, typer.Option(help="Begin with the guide page.")] = True,
) -> None:
    """Write printable target sheets, wall strips, bar ends and the calibration board as PDF at exact scale."""
    from phototemplate.capture.sheets import write_sheets

    written = write_sheets(out, what or "set", paper or usual_paper(), _scale(print_scale), numbers, guide)
    typer.echo(f"wrote {written.path}: {len(written.pages)} pages {written.paper}, {len(written.target_ids)} targets")
    typer.echo("Print at 100 % (not 'fit to page'), check the ruler on each page, stick on something flat, note the thickness.")


def _scale(text: str) -> float | tuple[float, float]:
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) not in (1, 2):
        raise InputError(f"The print scale {text!r} is not a number, or two with a comma between; write it like 0.997.")
    return values[0] if len(values) == 1 else (values[0], values[1])
