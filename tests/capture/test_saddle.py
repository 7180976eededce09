"""Saddle fits against exact positions, against cornerSubPix, and against the Cramer-Rao bound."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf
from scipy.stats import exponnorm

from phototemplate.capture.constants import FLOOR_PX, SADDLE_CORRELATION
from phototemplate.capture.saddle import fit_saddles
from tests.capture.scene import Shot, develop

SIDE = 64


def corner(
    centre: NDArray[np.float64], jac: NDArray[np.float64], blur: float, step: float = 75.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Noise-free picture (in grey levels) of a blurred corner, black at upper left, and its gradient (11, h, w).

    By the centre and by everything else that is unknown: edge directions, blurs, level, slope, contrast, tone.
    """
    y, x = np.mgrid[0:SIDE, 0:SIDE].astype(float)
    inverse = np.linalg.inv(jac)
    inverse = inverse / np.linalg.norm(inverse, axis=1, keepdims=True)
    angle = np.arctan2(inverse[:, 1], inverse[:, 0])

    def value(p: NDArray[np.float64]) -> NDArray[np.float64]:
        d = [np.cos(p[2 + k]) * (x - p[0]) + np.sin(p[2 + k]) * (y - p[1]) for k in (0, 1)]
        e = erf(d[0] / p[4] / np.sqrt(2)) * erf(d[1] / p[5] / np.sqrt(2))
        return np.asarray(p[6] + p[7] * (x - centre[0]) + p[8] * (y - centre[1]) + p[9] * e + p[10] * e * e)

    truth = np.array([*centre, *angle, blur, blur, 120.0, 0.0, 0.0, step, 0.0])
    h = 1e-4
    gradient = [(value(truth + h * e) - value(truth - h * e)) / (2 * h) for e in np.eye(11)]
    return value(truth), np.stack(gradient)


def _patches(n: int, blur: float, noise: float, seed: int) -> tuple[list[NDArray[np.uint8]], NDArray, NDArray, float]:
    rng = np.random.default_rng(seed)
    pictures, centres, jacs, bound = [], [], [], []
    for _ in range(n):
        angle, squeeze = rng.uniform(-0.6, 0.6), rng.uniform(0.6, 1.0)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        jac = turn @ np.array([[1.6, 0.3], [0.0, -1.6 * squeeze]])  # px per mm; y up
        centre = SIDE / 2 + rng.uniform(-0.5, 0.5, 2)
        value, gradient = corner(centre, jac, blur)
        pictures.append(np.clip(np.round(value + noise * rng.standard_normal(value.shape)), 0, 255).astype(np.uint8))
        inverse = np.linalg.inv(jac)
        scale = 1 / np.linalg.norm(inverse, axis=1)
        y, x = np.mgrid[0:SIDE, 0:SIDE]
        mm = np.abs(np.einsum("ij,jhw->ihw", inverse, np.stack([x - centre[0], y - centre[1]])))
        px = mm * scale[:, None, None]
        reach = np.minimum(np.maximum(5.0 * scale - 2.0 * blur, 2.5 * scale), max(3.0, 3.0 * blur))
        used = (px < reach[:, None, None]).any(axis=0) & (mm.max(axis=0) < 13.0)
        g = gradient[:, used]
        bound.append(np.trace(np.linalg.inv(g @ g.T)[:2, :2]) / 2 * (noise**2 + 1 / 12))
        centres.append(centre)
        jacs.append(jac)
    return pictures, np.array(centres), np.array(jacs), float(np.sqrt(np.mean(bound)))


@pytest.mark.parametrize(("blur", "noise"), [(0.7, 2.0), (1.2, 6.0)])
def test_as_good_as_the_cramer_rao_bound(blur: float, noise: float) -> None:
    """Kay, Fundamentals of Statistical Signal Processing I, 3.9: no unbiased estimate has less than sigma^2 (g g^T)^-1."""
    pictures, centres, jacs, bound = _patches(100, blur, noise, 1)
    rng = np.random.default_rng(2)
    errors, opencv, normalised = [], [], []
    for picture, centre, jac in zip(pictures, centres, jacs, strict=True):
        start = centre + rng.uniform(-0.8, 0.8, 2)
        fit = fit_saddles(picture, start[None], jac[None], np.ones(1), np.array([5.0]), np.array([13.0]))
        assert fit.valid[0]
        assert fit.amplitude[0] > 50
        e = fit.uv_px[0] - centre
        errors.append(e)
        normalised.append(e @ np.linalg.inv((fit.cov_px2[0] - FLOOR_PX**2 * np.eye(2)) / SADDLE_CORRELATION) @ e / 2)
        point = start.astype(np.float32).reshape(1, 1, 2)
        opencv.append(cv2.cornerSubPix(picture, point, (5, 5), (-1, -1), (3, 60, 1e-4)).ravel() - centre)
    rms = float(np.sqrt(np.mean(np.square(errors))))
    assert rms < 1.15 * bound, "efficient"
    assert rms < 0.5 * np.sqrt(np.mean(np.square(opencv))), "and better than cornerSubPix"
    assert 0.8 < np.mean(normalised) < 1.25, "white noise: the covariance is right without the correlation factor"
    assert np.all(np.abs(np.mean(errors, axis=0)) < 4 * rms / np.sqrt(len(errors))), "unbiased"


def test_tone_curve_sharpening_and_slope_of_light_do_not_move_it() -> None:
    """What is even under reflection in the corner raises residuals only (see the module's explanation)."""
    jac = np.array([[1.7, 0.5], [0.3, -1.4]])
    shot = Shot(blur_px=0.0, tone=0.8, sharpen=1.5, full_well=1e9, jpeg=0)
    rng = np.random.default_rng(3)
    errors = []
    for _ in range(40):
        centre = SIDE / 2 + rng.uniform(-0.5, 0.5, 2)
        value, _ = corner(centre, jac, 0.8)
        picture = develop((value / 255 * 0.9).astype(np.float32) ** 2, shot)
        fit = fit_saddles(picture, centre[None] + 0.5, jac[None], np.ones(1), np.array([5.0]), np.array([13.0]))
        errors.append(fit.uv_px[0] - centre)
    assert np.sqrt(np.mean(np.square(errors))) < 0.02


def test_blur_is_measured_across_each_edge() -> None:
    value, _ = corner(np.array([31.8, 32.3]), np.diag([1.6, -1.6]), 0.4)
    smeared = cv2.blur(value.astype(np.float32), (9, 1))
    fit = fit_saddles(
        smeared.astype(np.uint8),
        np.array([[32.0, 32.0]]),
        np.diag([1.6, -1.6])[None],
        np.ones(1),
        np.array([6.0]),
        np.array([13.0]),
    )
    assert np.linalg.norm(fit.uv_px[0] - [31.8, 32.3]) < 0.03
    across_x, across_y = fit.blur_px[0]
    assert across_x == pytest.approx(9 / np.sqrt(12), rel=0.2), "a box of 9 px has a standard deviation of 2.6 px"
    assert across_y < 0.6


def test_hidden_cut_off_and_wrongly_coloured_corners_are_told_apart() -> None:
    jac = np.diag([1.6, -1.6])
    centre = np.array([32.2, 31.7])
    value, _ = corner(centre, jac, 0.7)
    rim, arm = np.array([5.0]), np.array([13.0])
    whole = fit_saddles(value.astype(np.uint8), centre[None], jac[None], np.ones(1), rim, arm)
    hidden = value.copy()
    hidden[34:, 34:] = 30.0  # something dark lies over one square
    covered = fit_saddles(hidden.astype(np.uint8), centre[None], jac[None], np.ones(1), rim, arm)
    assert covered.rms[0] > 10 * whole.rms[0]
    wrong = fit_saddles(value.astype(np.uint8), centre[None], jac[None], -np.ones(1), rim, arm)
    assert wrong.amplitude[0] < 0
    near_border = fit_saddles(value.astype(np.uint8)[25:], centre[None] - [0, 25], jac[None], np.ones(1), rim, arm)
    assert not near_border.valid[0]
    flat = fit_saddles(np.full((64, 64), 90, np.uint8), centre[None], jac[None], np.ones(1), rim, arm)
    assert not (flat.valid[0] and flat.amplitude[0] > 4)
    none = fit_saddles(value.astype(np.uint8), np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(0), np.zeros(0), np.zeros(0))
    assert none.uv_px.shape == (0, 2)


def _peak(tail_px: float) -> float:
    """Peak of a Gaussian blur of 1 px drawn out by an exponential tail (exponnorm, scipy), from the Gaussian's middle."""
    t = np.linspace(0.0, 2.0, 2001)
    return float(np.sign(tail_px) * t[np.argmax(exponnorm.pdf(t, max(abs(tail_px), 1e-3)))])


@pytest.mark.parametrize("tail_px", [0.0, 2.0])
def test_a_lopsided_blur_leaves_open_where_the_centre_is(tail_px: float) -> None:
    """A tail to one side, as coma and a jerk of the hand draw it: U covers the peak of the blur and its middle, across the
    edge that the tail crosses most. Without a tail nothing is added. The pictures are blurred here sample by sample."""
    rng = np.random.default_rng(8)
    fine, ratios = 4, []
    y, x = (np.mgrid[0 : SIDE * fine, 0 : SIDE * fine] + 0.5) / fine - 0.5
    for _ in range(12):
        angle, way = rng.uniform(-0.6, 0.6), rng.uniform(0, 2 * np.pi)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        jac = turn @ np.array([[1.6, 0.3], [0.0, -1.4]])
        tail = tail_px * np.array([np.cos(way), np.sin(way)])
        centre = SIDE / 2 + rng.uniform(-0.5, 0.5, 2)
        places = centre + np.outer(-np.log(1 - np.linspace(0.025, 0.975, 20)), tail)  # equally likely along the tail
        total = np.zeros((SIDE, SIDE))
        for at in places:
            mm = np.einsum("ij,jhw->ihw", np.linalg.inv(jac), np.stack([x - at[0], y - at[1]]))
            total += np.sign(mm[0] * mm[1]).reshape(SIDE, fine, SIDE, fine).mean(axis=(1, 3)) / len(places)
        picture = cv2.GaussianBlur(120.0 + 75.0 * total, (0, 0), 1.0)
        noisy = np.clip(np.round(picture + rng.normal(0, 1.5, picture.shape)), 0, 255).astype(np.uint8)
        fit = fit_saddles(noisy, centre[None], jac[None], np.ones(1), np.array([5.0]), np.array([13.0]))
        n = max(fit.normals[0], key=lambda n: abs(float(n @ tail)))
        u = float(np.sqrt(n @ fit.cov_px2[0] @ n))
        along = float(n @ (fit.uv_px[0] - centre))
        ratios.append([(along - _peak(n @ tail)) / u, (along - n @ tail) / u])
        assert u > 0.2 if tail_px else u < 0.03
    assert np.mean(np.abs(ratios) < 2) > 0.9
