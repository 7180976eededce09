"""Is the camera all right? Residuals over the picture and against the distance from its middle, and a plain sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from phototemplate.model import Array, Camera, Measurement
from phototemplate.network.calibration.photo_gain import ASSUMED, DETERMINED, prior_shares
from phototemplate.numerics.lens import LENS_MODELS
from phototemplate.output.constants import (
    LARGE_RMS_PX,
    LEAST_COVERAGE,
    LEAST_TOP_PX,
    MOST_TICKS,
    PLOT_HEIGHT,
    PLOT_WIDTH,
    RING_ERRORS,
    RINGS,
    SAME_OF_U,
    SYSTEMATIC_PX,
    TICKS_PX,
    TOP_PERCENTILE,
    TOP_ROOM,
)
from phototemplate.output.report.marks import dots, fmt, label, path, vectors
from phototemplate.units import WITHHELD

SOURCE_WORDS = {
    "adjusted": "found from these photos",
    "profile": "from its calibration, refined",
    "exif": "begun with what the photos say of themselves",
    "vanishing": "begun with the perspective of the sheets",
    "default": "begun with a usual phone",
}


@dataclass(frozen=True)
class Parameter:
    """One lens parameter in the table."""

    name: str
    value: str
    big_u: str


@dataclass(frozen=True)
class CameraPanel:
    """One lens of the report."""

    camera_id: str
    name: str
    """Make and model, where the photos say so"""
    model: str
    source: str
    photos: int
    points: int
    rms_px: float
    sentence: str
    good: bool
    map_body: Markup
    map_width: float
    map_height: float
    radius_body: Markup
    parameters: tuple[Parameter, ...]
    origin: str
    """Which parameters the photos determined and which were assumed"""


@dataclass(frozen=True)
class _Seen:
    """One lens of a panel, with what is left at its points."""

    camera: Camera
    uv: Array
    left: Array
    photos: int

    @property
    def middle(self) -> Array:
        """(2,) principal point."""
        w, h = self.camera.size_px
        at = dict(zip(LENS_MODELS[self.camera.model].names, self.camera.params.tolist(), strict=True))
        return np.array([at.get("cx", (w - 1) / 2), at.get("cy", (h - 1) / 2)])


def camera_panels(measurement: Measurement) -> list[CameraPanel]:
    """A panel per camera that has residuals; photos of one camera that each have their own principal point share it."""
    network = measurement.network
    stated = {m.photo_id: m.camera_id for m in measurement.photos}
    groups: dict[tuple[str, str, tuple[int, int]], list[_Seen]] = {}
    names: dict[tuple[str, str, tuple[int, int]], set[str]] = {}
    for camera in network.cameras.values():
        mine = [p for p, pose in network.photos.items() if pose.camera_id == camera.camera_id]
        uv, left = [], []
        for r in network.residuals:
            if r.photo_id in mine:
                used = (r.weight > 0) & np.all(np.isfinite(r.residual_px), axis=1)
                uv.append(r.uv_px[used])
                left.append(r.residual_px[used])
        if sum(map(len, uv)):
            key = (stated.get(mine[0], camera.camera_id), camera.model, camera.size_px)
            groups.setdefault(key, []).append(_Seen(camera, np.vstack(uv), np.vstack(left), len(uv)))
            names.setdefault(key, set()).update(mine)
    out = []
    for key, seen in groups.items():
        shares = [prior_shares(network, s.camera.camera_id) for s in seen]
        origin = _origin({n: max(s[n] for s in shares) for n in shares[0]})
        if len(seen) > 1:
            who = f"its {len(seen)} photos" if len(seen) == len(names[key]) else f"{len(seen)} groups of its photos"
            origin += f" Each of {who} has a principal point of its own: software has turned or cropped them."
        name = _name(measurement, names[key])
        out.append(_panel(key[0], seen, name if len(groups) == 1 else f"{name}, {key[2][0]} x {key[2][1]} pixels", origin))
    return out


def _origin(shares: Mapping[str, float]) -> str:
    """A sentence or two: what the job's own photos say of the lens, what they do not."""
    photos = [n for n, s in shares.items() if s < DETERMINED]
    prior = [n for n, s in shares.items() if s > ASSUMED]
    both = [f"{n} ({s:.0%} from before)" for n, s in shares.items() if DETERMINED <= s <= ASSUMED]
    parts = [f"The photos themselves determine {', '.join(photos)}." if photos else ""]
    parts += [f"Known in part from before: {', '.join(both)}." if both else ""]
    parts += [f"Taken from the profile or usual values: {', '.join(prior)}." if prior else ""]
    return " ".join(p for p in parts if p)


def _panel(camera_id: str, seen: Sequence[_Seen], name: str, origin: str) -> CameraPanel:
    camera = seen[0].camera
    w, h = camera.size_px
    uv, left = np.vstack([s.uv for s in seen]), np.vstack([s.left for s in seen])
    away = np.vstack([s.uv - s.middle for s in seen])
    radius = np.hypot(*away.T)
    outward = np.sum(left * away, axis=1) / np.maximum(radius, 1e-9)
    ring_r, ring_mean, ring_se = _rings(radius, outward)
    rms = float(np.sqrt(np.mean(left**2)))
    sentence, good = _sentence(rms, ring_mean, ring_se, _coverage(uv, camera.size_px))
    scale = 640.0 / max(w, h)
    enlarge = 26.0 / max(np.percentile(np.hypot(*left.T), 95), 1e-6)  # only one in twenty is longer than 26 units
    map_parts = [
        Markup('<rect class="frame" x="0.5" y="0.5" width="{}" height="{}"/>').format(fmt(w * scale - 1), fmt(h * scale - 1)),
        Markup('<path class="residual" d="{}" stroke-width="1.2"/>').format(vectors(uv * scale, uv * scale + left * enlarge)),
        Markup('<path class="seen" d="{}" stroke-width="3"/>').format(dots(uv * scale)),
        Markup('<path class="ruler" d="M14 {}h{}"/>').format(fmt(h * scale - 16), fmt(0.5 * enlarge)),
        label(22 + 0.5 * enlarge, h * scale - 11, "0.5 px", "ruler-text", "start"),
    ]
    return CameraPanel(
        camera_id=camera_id,
        name=name,
        model=camera.model,
        source=SOURCE_WORDS.get(camera.source, camera.source),
        photos=sum(s.photos for s in seen),
        points=len(uv),
        rms_px=rms,
        sentence=sentence,
        good=good,
        map_body=Markup("").join(map_parts),
        map_width=w * scale,
        map_height=h * scale,
        radius_body=_radius_plot(radius, outward, ring_r, ring_mean, ring_se, math.hypot(w, h) / 2),
        parameters=_parameters([s.camera for s in seen]),
        origin=origin,
    )


def _name(measurement: Measurement, photo_ids: set[str]) -> str:
    names = {" ".join(dict.fromkeys(f"{m.make} {m.model}".split())) for m in measurement.photos if m.photo_id in photo_ids}
    return ", ".join(sorted(n for n in names if n)) or "unknown camera"


def _u(cov: Array) -> Array:
    out: Array = 2.0 * np.sqrt(np.maximum(np.diag(cov), 0.0))
    return out


def _parameters(cameras: Sequence[Camera]) -> tuple[Parameter, ...]:
    """One line per lens parameter; from least to largest where the cameras differ in it, with the largest U."""
    values = np.array([c.params for c in cameras])
    big_u = np.array([_u(c.cov) for c in cameras]).max(axis=0)
    out = []
    for n, v, u in zip(LENS_MODELS[cameras[0].model].names, values.T, big_u, strict=True):
        low, high = _parameter(n, float(v.min()), u), _parameter(n, float(v.max()), u)
        same = low.value == high.value or float(np.ptp(v)) < SAME_OF_U * u
        out.append(low if same else Parameter(n, f"{low.value} to {high.value}", low.big_u))
    return tuple(out)


def _parameter(name: str, value: float, big_u: float) -> Parameter:
    """Value to the digits that its U leaves."""
    if math.isnan(big_u):
        return Parameter(name, f"{value:.6g}", WITHHELD)
    if not big_u > 0:
        return Parameter(name, f"{value:.6g}", "held")
    decimals = min(max(1 - math.floor(math.log10(big_u)), 0), 9)
    return Parameter(name, f"{value:.{decimals}f}", f"{big_u:.{decimals}f}")


def _rings(radius: Array, outward: Array) -> tuple[Array, Array, Array]:
    """Middle radius, mean outward residual and its standard error of rings with equally many points."""
    order = np.argsort(radius)
    groups = [g for g in np.array_split(order, RINGS) if len(g) >= 5]
    middle = np.array([radius[g].mean() for g in groups])
    mean = np.array([outward[g].mean() for g in groups])
    error = np.array([outward[g].std(ddof=1) / math.sqrt(len(g)) for g in groups])
    return middle, mean, error


def _coverage(uv: Array, size_px: tuple[int, int]) -> float:
    """Share of a 6 x 6 grid over the picture that holds points."""
    cells = {(int(6 * u / size_px[0]), int(6 * v / size_px[1])) for u, v in uv}
    return len(cells) / 36.0


def _sentence(rms: float, mean: Array, error: Array, coverage: float) -> tuple[str, bool]:
    """What a shop hand needs to know."""
    if len(mean) < 3:
        return "Too few points to judge the camera.", False
    bent = np.any((np.abs(mean) > RING_ERRORS * error) & (np.abs(mean) > SYSTEMATIC_PX))
    if bent:
        text = (
            f"Look at the camera: the residuals follow a pattern of up to {np.abs(mean).max():.2f} px, so the lens is not "
            "described well. Calibrate it, or do not let software correct or crop the photos."
        )
        return text, False
    if rms > LARGE_RMS_PX:
        text = f"Look at the photos: residuals of {rms:.2f} px are large. Usual causes: blur, bent sheets, edited photos."
        return text, False
    if coverage < LEAST_COVERAGE:
        text = (
            f"The camera is all right where the sheets were ({rms:.2f} px, no pattern left), but they filled only "
            f"{coverage:.0%} of the picture: let sheets reach into its corners next time."
        )
        return text, True
    return f"The camera is all right: residuals of {rms:.2f} px and no pattern left in them.", True


def _radius_plot(radius: Array, outward: Array, ring_r: Array, mean: Array, error: Array, far: float) -> Markup:
    """Outward residual against distance from the middle, with the mean of each ring and twice its standard error."""
    w, h, left, foot = PLOT_WIDTH, PLOT_HEIGHT, 58.0, 42.0
    top = max(float(np.percentile(np.abs(outward), TOP_PERCENTILE)) * TOP_ROOM, LEAST_TOP_PX)
    step = next((s for s in TICKS_PX if top / s <= MOST_TICKS), TICKS_PX[-1])

    def at(r: Array, v: Array) -> Array:
        x = left + (w - left - 10) * r / far
        y = (h - foot) / 2 * (1 - np.clip(v, -top, top) / top)
        return np.column_stack([x, y])

    parts = []
    k = math.floor(top / step)
    for i in range(-k, k + 1):
        y = float(at(np.zeros(1), np.array([i * step]))[0, 1])
        parts.append(Markup('<path class="{}" d="M{} {}H{}"/>').format("zero" if i == 0 else "grid", left, fmt(y), fmt(w - 10)))
        parts.append(label(left - 8, y + 4, f"{i * step:+.2f}" if i else "0", "axis", "end"))
    pace = next((p for p in (100, 200, 250, 500, 1000, 2000, 5000) if far / p <= 8), 10000)
    for r in range(0, int(far) + 1, pace):
        x = float(at(np.array([r]), np.zeros(1))[0, 0])
        parts.append(label(x, h - foot + 18, f"{r}", "axis", "end" if x > w - 30 else "middle"))
    parts.append(label((left + w) / 2, h - 6, "distance from the middle of the picture, px", "axis"))
    parts.append(Markup('<path class="seen faint" d="{}" stroke-width="3"/>').format(dots(at(radius, outward))))
    if len(ring_r):
        parts.append(Markup('<path class="ring" d="{}"/>').format(path(at(ring_r, mean))))
        low, high = at(ring_r, mean - 2 * error), at(ring_r, mean + 2 * error)
        parts.append(Markup('<path class="ring-bar" d="{}"/>').format(vectors(low, high)))
    return Markup("").join(parts)
