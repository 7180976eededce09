"""A line with equal light on both sides is no proof of an end."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from phototemplate.edges.tracing.edge_contrast import PLY_U_MM, faint_finding, faint_u_mm, light_ratio
from phototemplate.edges.tracing.grey_profiles import Band
from phototemplate.edges.tracing.step_position import StepFit
from phototemplate.model import Array
from tests.edges.box_scene import srgb_grey

COUNT = 40
STEP = np.arange(-12.0, 13.0)


def seen(light: Array) -> tuple[list[Band], list[StepFit], Array]:
    """One photo whose profiles all have this light (W,), and a step found at zero."""
    rng = np.random.default_rng(6)
    grey = srgb_grey(np.tile(light, (COUNT, 1))) + rng.normal(0, 1.0, (COUNT, len(STEP)))
    none = np.zeros((COUNT, 2))
    ones = np.ones(COUNT)
    band = Band("P", none, none, ones, ones, STEP, grey, np.zeros(grey.shape, dtype=bool), 1.0)
    fit = StepFit(np.zeros(COUNT), 0.05 * ones, 50 * ones, 0.6, np.ones(COUNT, dtype=bool))
    return [band], [fit], np.ones((1, COUNT))


def test_step_between_two_lights_has_their_ratio() -> None:
    ratio = light_ratio(*seen(0.1 + 0.4 * ndtr(STEP / 0.6)))
    assert ratio == pytest.approx(5.0, rel=0.05)
    assert faint_u_mm(ratio, "end") == 0.0
    assert faint_finding("end", 0.0) == ()


def test_dark_line_on_one_material_is_faint() -> None:
    line = 0.6 - 0.35 * np.exp(-0.5 * (STEP / 0.6) ** 2)
    ratio = light_ratio(*seen(line))
    assert ratio == pytest.approx(1.0, abs=0.05)
    assert faint_u_mm(ratio, "end") == faint_u_mm(ratio, "front") == PLY_U_MM
    (finding,) = faint_finding("end", PLY_U_MM)
    assert finding.code == "edge-faint"
    assert finding.severity == "warning"


def test_where_nothing_can_be_said_nothing_is_added() -> None:
    bands, fits, weight = seen(np.full(len(STEP), 0.5))
    assert faint_u_mm(light_ratio(bands, fits, 0 * weight), "end") == 0.0
    assert faint_u_mm(light_ratio([], [], np.zeros((0, COUNT))), "end") == 0.0


def test_panels_on_edge_are_doubted_longer_than_frames() -> None:
    """A front's top is a frame or a flat rail; only a panel that stands on its edge shows plies (joinery, common practice)."""
    assert faint_u_mm(1.5, "end") > 0.3
    assert faint_u_mm(1.5, "front") == 0.0
