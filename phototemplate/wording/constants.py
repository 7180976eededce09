"""Constants of the wording, with unit and origin."""

from __future__ import annotations

from typing import Final

MOST_NAMES: Final = 4
"""count. Names listed one by one; of more, the first three are named and the others counted. Convention: layout."""
MOST_DECIMALS: Final = 4
"""count. Decimals of an uncertainty, which is never written as nothing. Convention: a tenth of a micrometre."""
