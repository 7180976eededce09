"""What can be printed. A new kind of page is one more entry of ``PRINT_KINDS``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from phototemplate.capture import constants, design
from phototemplate.capture.sheets.constants import BAR_ENDS_OF_PAGE, USUAL_SHEETS
from phototemplate.capture.sheets.customer import customer_page
from phototemplate.capture.sheets.drawing import Page
from phototemplate.capture.sheets.guide import guide_page
from phototemplate.capture.sheets.home_check import home_check_page
from phototemplate.capture.sheets.target_pages import bar_page, board_page, sheet_page, strip_page

SMALL_PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class PrintKind:
    """One kind of page."""

    name: str
    summary: str
    page: Callable[[int, str, tuple[float, float]], Page]
    """(number, paper, print scale) -> page"""
    papers: tuple[str, ...]
    numbers: Callable[[str], tuple[int, ...]]
    """Paper -> every number there is"""
    usual: Callable[[str], tuple[int, ...]]
    """Paper -> the numbers printed when none are asked for"""
    noun: str
    """How a message calls one of them"""


def _first(count: int) -> Callable[[str], tuple[int, ...]]:
    return lambda paper: tuple(range(1, count + 1))


def _only_one(paper: str) -> tuple[int, ...]:
    return (1,)


def _boards(paper: str) -> tuple[int, ...]:
    return tuple(int(board[1:]) for board in design.board_ids() if paper in design.papers(board))


PRINT_KINDS: tuple[PrintKind, ...] = (
    PrintKind(
        "guide",
        "one page of pictures: how to do it",
        guide_page,
        SMALL_PAPERS,
        _only_one,
        _only_one,
        "guide page",
    ),
    PrintKind(
        "sheets",
        "target sheets that lie on the cabinet tops",
        sheet_page,
        SMALL_PAPERS,
        _first(constants.SHEET_COUNT),
        _first(USUAL_SHEETS),
        "target sheet",
    ),
    PrintKind(
        "strips",
        "wall strips, two pieces on a page",
        strip_page,
        SMALL_PAPERS,
        _first(constants.STRIP_COUNT),
        _first(constants.STRIP_COUNT),
        "wall strip",
    ),
    PrintKind(
        "bars",
        "ends for two scale bars on a page",
        bar_page,
        SMALL_PAPERS,
        _first(constants.BAR_END_COUNT // BAR_ENDS_OF_PAGE),
        _only_one,
        "page of bar ends",
    ),
    PrintKind(
        "board",
        "board to calibrate a camera with",
        board_page,
        ("A4", "Letter", "A3", "Tabloid"),
        _boards,
        _boards,
        "calibration board",
    ),
    PrintKind(
        "customer",
        "one page of plain instructions for a customer",
        customer_page,
        SMALL_PAPERS,
        _only_one,
        _only_one,
        "customer page",
    ),
    PrintKind(
        "home-check",
        "one page: how to check printer, phone and program on a straight edge",
        home_check_page,
        SMALL_PAPERS,
        _only_one,
        _only_one,
        "home check page",
    ),
)
"""Every kind of page, in the order in which a set is printed."""

FULL_SET = ("guide", "sheets", "strips", "bars", "board")
"""What ``set`` prints."""
