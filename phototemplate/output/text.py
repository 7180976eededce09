"""Text for formats with a small alphabet."""

from __future__ import annotations

import unicodedata

_PLAIN = {"\u2212": "-", "\u2032": "'", "\u2033": '"', "\u2713": "+", "\u25b2": "!", "\u2715": "x"}
"""Minus, minute and second signs; marks of verdicts"""


def cp1252(text: str) -> str:
    """The text in Windows' western alphabet, which R12 readers and the PDF base fonts know: other signs by their plain
    form (``⅛`` as 1/8)."""
    out: list[str] = []
    for sign in text:
        try:
            sign.encode("cp1252")
            out.append(sign)
        except UnicodeEncodeError:
            plain = _PLAIN.get(sign) or unicodedata.normalize("NFKD", sign).replace("\u2044", "/")
            lead = " " if "/" in plain and out and out[-1].isdigit() else ""  # 1⅛ is 1 1/8, not 11/8
            out.append(lead + plain.encode("cp1252", "ignore").decode("cp1252"))
    return "".join(out)
