"""Sides of printed squares in real photographs (the classic calibration toolbox's chessboard, 30 mm), traced as edges."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.bench.real_lines import chessboard_of_paper, traced, widths


@pytest.mark.slow
def test_opposite_sides_of_printed_squares_are_as_far_apart_as_their_corners(reference_photos: Path) -> None:
    """Six squares in 25 pictures: all sides found; with what ink and tone curve do to black taken off, distances inside U."""
    board = chessboard_of_paper(reference_photos)
    board = replace(board, squares={at: board.squares[at] for at in [(4, 5), (5, 5), (6, 5), (4, 6), (5, 6), (6, 6)]})
    found = traced(board)
    assert len(found.sides) == found.asked == 17
    table = widths(board, found)
    error, black = table[:, 0] - table[:, 1], table[:, 3] > 0
    spread = 0.5 * (error[black].mean() - error[~black].mean())
    rest = error - np.where(black, spread, -spread)
    assert np.mean(np.abs(rest) <= table[:, 2]) >= 0.9
    assert np.abs(rest).max() < 0.4
    assert abs(spread) < 0.5
