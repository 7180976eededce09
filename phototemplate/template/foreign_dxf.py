"""Opening DXF files that somebody else made: what could hang or crash a reader is refused first."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from phototemplate.errors import InputError
from phototemplate.template.constants import LARGEST_DXF_BYTES, LARGEST_DXF_VALUE, NUMBER_CODES


def open_dxf(path: Path) -> Any:
    """An ezdxf document.

    Raises ``InputError`` for a file that cannot be read, is larger than a drawing of one part, or holds numbers that are not
    finite or beyond any drawing: readers of arcs and splines loop over such numbers without end.
    """
    from ezdxf.filemanagement import readfile

    try:
        size = path.stat().st_size
        if size > LARGEST_DXF_BYTES:
            raise InputError(f"{path.name} has {size / 1e6:.0f} MB, too much for a drawing of one part; save that part alone.")
        _check_numbers(path.read_bytes(), path.name)
        return readfile(path)
    except InputError:
        raise
    except Exception as exc:  # readers meet damaged files with many kinds of exception
        reason = str(exc).splitlines()[0] if str(exc) else type(exc).__name__
        raise InputError(f"{path.name} cannot be read as DXF ({reason}); save it again as DXF.") from exc


def _check_numbers(data: bytes, name: str) -> None:
    if data.startswith(b"AutoCAD Binary DXF"):
        return
    lines, drawn = data.splitlines(), False
    for k in range(0, len(lines) - 1, 2):
        code = lines[k].strip()
        if code == b"2" and k >= 2 and lines[k - 1].strip() == b"SECTION":
            drawn = lines[k + 1].strip() in (b"ENTITIES", b"BLOCKS")  # headers hold 1e20 for an extent that is not known
        if not drawn or not code.isdigit() or int(code[:6]) not in NUMBER_CODES:
            continue
        try:
            value = float(lines[k + 1])
        except ValueError:
            value = math.nan
        if not abs(value) <= LARGEST_DXF_VALUE:  # NaN is not
            shown = lines[k + 1].strip()[:20].decode("ascii", "replace")
            raise InputError(f"{name} line {k + 2} has {shown} for a number, which no drawing has; save it again as DXF.")
