"""Properties that hold for random outlines and wishes; ``python -m tests.bench template`` tries 2,000."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.template.properties import CHORD_MM, try_one


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1))
def test_a_valid_piece_or_an_error_that_says_what_to_do(seed: int) -> None:
    outcome = try_one(seed)
    assert outcome.area_error_mm2 <= 0.0
    assert outcome.offset_error_mm2 <= CHORD_MM
    beyond = {kind: off for kind, (_, off) in outcome.printed.items() if off > 1e-6}
    assert not beyond, "every printed number is what the DXF alone gives"
    assert not outcome.label_overlaps
