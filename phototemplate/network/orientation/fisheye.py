"""Ultra-wide lenses: Brown's polynomial does not follow a fish-eye to its corners, so both are tried and the photos choose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from phototemplate.errors import Finding
from phototemplate.network import constants
from phototemplate.network.orientation.lens_start import LensStart
from phototemplate.network.orientation.relative_poses import Start, find_start
from phototemplate.network.orientation.views import TargetView
from phototemplate.numerics import lens
from phototemplate.settings import AdjustmentSettings


def start_with_models(
    views: Mapping[str, Mapping[str, TargetView]],
    camera_of: Mapping[str, str],
    lenses: Sequence[LensStart],
    flat_kinds: set[str],
    settings: AdjustmentSettings,
) -> tuple[Start, list[LensStart], list[Finding]]:
    """``find_start``, with the fish-eye tried for ultra-wide lenses without a profile; it is taken where more targets agree."""
    used, best = list(lenses), find_start(views, camera_of, lenses, flat_kinds)
    findings: list[Finding] = []
    for k, one in enumerate(lenses):
        if one.source == "profile" or one.model == "fisheye" or one.params[0] > constants.ULTRA_WIDE * max(one.size_px):
            continue
        f = float(one.params[0])
        sd = float(one.cov[0, 0] ** 0.5) / f
        params = lens.start_params("fisheye", f, one.size_px)
        cov = lens.loose_cov("fisheye", f, one.size_px, sd, settings.u_centre, settings.u_aspect)
        other = [*used[:k], replace(one, model="fisheye", params=params, cov=cov), *used[k + 1 :]]
        tried = find_start(views, camera_of, other, flat_kinds)
        if (len(tried.photos), tried.views) > (len(best.photos), best.views):
            findings.append(Finding("lens-model", one.camera_id, n_agree=tried.views, n_pinhole=best.views))
            best, used = tried, other
    return best, used, findings
