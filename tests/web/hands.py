"""The three ways in which somebody works the app: by mouse, by finger, and by keyboard alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

FINE_PX = 10.0
"""px. One press of an arrow key moves the picture under the cross by this (canvas.js)"""
MOST_TABS = 700


class Mouse:
    """Presses with the pointer, types with the keys."""

    name = "mouse"
    touch = False

    def __init__(self, page: Any) -> None:
        self.page = page

    def press(self, key: str) -> None:
        """Press what carries this ``data-key``."""
        self._press(self._one(key))

    def write(self, key: str, text: str) -> None:
        """Put ``text`` into a field and leave it."""
        self.press(key)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")

    def choose(self, key: str, value: str) -> None:
        """Choose from a list."""
        self._one(key).select_option(value)

    def hand_over(self, files: list[Path]) -> None:
        """Choose photos in the file chooser that the field of photos opens."""
        with self.page.expect_file_chooser() as chooser:
            self._press(self.page.locator(".drop"))
        chooser.value.set_files([str(f) for f in files])

    def point(self, xy: list[float]) -> None:
        """Press a place of the top view (mm of its own frame)."""
        self._tap(*self._screen(xy))

    def _one(self, key: str) -> Any:
        return self.page.locator(f'[data-key="{key}"]').first

    def _press(self, what: Any) -> None:
        what.click()

    def _tap(self, x: float, y: float) -> None:
        self.page.mouse.click(x, y)

    def _screen(self, xy: list[float]) -> list[float]:
        out: list[float] = self.page.evaluate(
            "p => { const s = window.phototemplateStage, q = s.toScreen(p), b = s.canvas.getBoundingClientRect();"
            " return [q[0] + b.left, q[1] + b.top]; }", xy,
        )  # fmt: skip
        return out


class Touch(Mouse):
    """Taps; the keys are those of a screen keyboard."""

    name = "touch"
    touch = True

    def _press(self, what: Any) -> None:
        what.tap()

    def _tap(self, x: float, y: float) -> None:
        self.page.touchscreen.tap(x, y)


class Keyboard(Mouse):
    """No pointer at all: Tab until the thing has the focus, then Enter."""

    name = "keyboard"

    def _press(self, what: Any) -> None:
        self._reach(what)
        is_field = what.evaluate("e => e.matches('input:not([type=checkbox]):not([type=file])')")
        if not is_field:
            self.page.keyboard.press("Space" if what.evaluate("e => e.matches('input[type=checkbox]')") else "Enter")

    def _reach(self, what: Any) -> None:
        what.wait_for(state="attached")
        for _ in range(MOST_TABS):
            if what.evaluate("e => e === document.activeElement"):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"the keyboard does not reach {what}")

    def hand_over(self, files: list[Path]) -> None:
        with self.page.expect_file_chooser() as chooser:
            self._reach(self.page.locator("#photo-files"))
            self.page.keyboard.press("Enter")
        chooser.value.set_files([str(f) for f in files])

    def choose(self, key: str, value: str) -> None:
        box = self._one(key)
        self._reach(box)
        names: list[str] = box.evaluate("e => [...e.options].map(o => o.value)")
        at = box.evaluate("e => e.selectedIndex")
        for _ in range(abs(names.index(value) - at)):
            self.page.keyboard.press("ArrowDown" if names.index(value) > at else "ArrowUp")

    def point(self, xy: list[float]) -> None:
        """Move the picture until the place lies under the cross in the middle, then Enter."""
        self._reach(self.page.locator("canvas.stage"))
        for axis, (less, more) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
            away = self.page.evaluate(
                "([p, k]) => { const s = window.phototemplateStage; return s.toScreen(p)[k] - [s.width, s.height][k] / 2; }",
                [xy, axis],
            )
            for _ in range(round(abs(away) / FINE_PX)):
                self.page.keyboard.press(more if away > 0 else less)
        self.page.keyboard.press("Enter")


HANDS = (Mouse, Touch, Keyboard)
