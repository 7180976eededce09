"""``sheets``: print targets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def sheets(
    out: Annotated[Path, typer.Option("--out", "-o", help="PDF to write.")] = Path("sheets.pdf"),
) -> None:
    """Write the printable target sheets, wall strips, bar ends and the calibration board as PDF at exact scale."""
    raise NotImplementedError(out)
