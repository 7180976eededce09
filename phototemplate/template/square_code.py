"""Codes of pieces, and square codes (QR, ISO/IEC 18004) to read them by."""

from __future__ import annotations

import hashlib
import json

import cv2
import numpy as np

from phototemplate.template.constants import CODE_DIGITS, CODE_LAYER, QUIET_ZONE
from phototemplate.template.drawing import Item, Polyline
from phototemplate.template.piece_types import Piece, Splash, Template


def modules(text: str) -> list[list[int]]:
    """A text as rows of modules from the top, 1 where it is dark, with the four light modules around it."""
    picture = cv2.QRCodeEncoder.create().encode(text)
    dark = (np.asarray(picture) < 128).astype(int)
    inside = dark[np.ix_(dark.any(axis=1), dark.any(axis=0))]
    rows: list[list[int]] = np.pad(inside, QUIET_ZONE).tolist()
    return rows


def square_code(text: str, corner: tuple[float, float], side_mm: float) -> list[Item]:
    """The code as filled bars, its upper left corner at a place, light rim included."""
    rows = modules(text)
    step = side_mm / len(rows)
    x0, y0 = corner
    out: list[Item] = []
    for i, row in enumerate(rows):
        y = y0 - (i + 1) * step
        k = 0
        while k < len(row):
            n = next((j for j in range(k, len(row)) if row[j] != row[k]), len(row)) - k
            if row[k]:
                a, b = x0 + k * step, x0 + (k + n) * step
                top = y + 1.02 * step  # a hair higher, so that no light line shows between rows
                out.append(Polyline(CODE_LAYER, ((a, y, 0.0), (b, y, 0.0), (b, top, 0.0), (a, top, 0.0)), True, filled=True))
            k += n
    return out


def piece_code(template: Template, part: Piece | Splash, revision: str = "") -> str:
    """``03-B-7F3A2C``: number of the piece, revision, and a fingerprint of what is cut, which differs once a size does."""
    shape = [part.vertices, [c.vertices for c in part.cutouts if not c.across_seam]]
    if isinstance(part, Piece):
        shape.append([(h.centre, h.diameter_mm) for h in part.holes])
    text = json.dumps(shape, default=str)
    rounded = json.dumps(json.loads(text, parse_float=lambda s: round(float(s), 2) + 0.0))
    number = 1 + next(k for k, p in enumerate(template.parts) if p is part)
    mark = hashlib.sha256(rounded.encode()).hexdigest()[:CODE_DIGITS].upper()
    return "-".join([f"{number:02d}", *([revision] if revision else []), mark])


def code_text(job: str, part: Piece | Splash, code: str) -> str:
    """What the square code says."""
    return f"{job} / {part.piece_id} / {code}"
