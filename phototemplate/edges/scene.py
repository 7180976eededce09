"""What the sources of edge points look at: photos, network and work plane, behind one small interface.

Everything here is in the work frame, so that a source never handles a pose.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np

from phototemplate.edges.constants import FAR_OFF_PX, LEAST_SIDE, MASK_REDUCTION, RIM_MM
from phototemplate.model import Array, BoolArray, GrayImage, Network, Target, WorkPlane
from phototemplate.network import projection, workplane
from phototemplate.settings import EdgeSettings


@dataclass(frozen=True)
class View:
    """Points of the work frame seen in one photo, N of them."""

    uv_px: Array
    """(N, 2)"""
    d_work: Array
    """(N, 2, 3) derivative of ``uv_px`` with respect to the point in the work frame, px/mm"""
    inside: BoolArray
    """(N,) bool: in front of the camera and in the picture"""


@dataclass
class Scene:
    """Photos, network and plane of one measurement; caches masks of the printed papers."""

    gray_of: Callable[[str], GrayImage]
    network: Network
    plane: WorkPlane
    settings: EdgeSettings
    _masks: dict[str, GrayImage] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.column = {name: k for k, name in enumerate(self.plane.influences.names)}
        """Column of each influence by its name"""

    # ------------------------------------------------------------------------------------- frames

    def to_world(self, xyz_work: Array) -> Array:
        """(N, 3) work -> world."""
        return workplane.to_world(self.plane, np.asarray(xyz_work))

    def eye_mm(self, photo_id: str) -> Array:
        """(3,) centre of projection of a photo in the work frame."""
        pose = self.network.photos[photo_id]
        return self.plane.rotation @ (-pose.rotation.T @ pose.translation_mm) + self.plane.translation_mm

    def size_px(self, photo_id: str) -> tuple[int, int]:
        """Width and height of a photo."""
        return self.network.cameras[self.network.photos[photo_id].camera_id].size_px

    # ------------------------------------------------------------------------------------ looking

    def see(self, photo_id: str, xyz_work: Array, margin_px: float = 4.0) -> View:
        """Where points of the work frame appear in a photo."""
        image = projection.project(self.network, photo_id, self.to_world(xyz_work))
        width, height = self.size_px(photo_id)
        u, v = image.uv_px.T
        with np.errstate(invalid="ignore"):
            inside = (image.depth_mm > 1.0) & (u > margin_px) & (u < width - 1 - margin_px)
            inside &= (v > margin_px) & (v < height - 1 - margin_px)
        return View(image.uv_px, image.d_xyz @ self.plane.rotation.T, inside)

    def sensitivity(self, photo_id: str, xyz_work: Array, row: Array) -> Array:
        """(N, K) derivative of ``row . uv`` with respect to all influences, for points held fixed in the work frame.

        ``row`` (N, 2) picks one direction in the picture. Two ways lead from an influence to the picture: the camera
        itself, and the work frame, which carries the points along: X = R^T (x - t) with R -> exp([w]x) R, t -> t + d
        gives dX = -R^T (w x (R X) + d).
        """
        image = projection.project(self.network, photo_id, self.to_world(xyz_work))
        out = np.zeros((len(xyz_work), self.plane.influences.size))
        out[:, image.columns] = np.einsum("ni,nik->nk", row, image.d_influences)
        along = np.einsum("ni,nij->nj", row, image.d_xyz @ self.plane.rotation.T)
        turned = np.asarray(xyz_work) - self.plane.translation_mm
        out -= np.hstack([np.cross(turned, along), along]) @ self.plane.shared_jac
        return out

    def unproject(self, photo_id: str, uv_px: Array, height_mm: float = 0.0) -> Array:
        """(N, 2) points of the plane z = ``height_mm`` that appear at ``uv_px`` (N, 2); nan at and above the horizon."""
        eyes, rays = projection.rays(self.network, photo_id, np.atleast_2d(np.asarray(uv_px, dtype=np.float64)))
        eyes = eyes @ self.plane.rotation.T + self.plane.translation_mm
        rays = rays @ self.plane.rotation.T
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = (height_mm - eyes[:, 2]) / rays[:, 2]
        return np.where((reach > 0)[:, None], eyes[:, :2] + reach[:, None] * rays[:, :2], np.nan)

    # ------------------------------------------------------------------------------------- papers

    @cached_property
    def _outlines(self) -> Array:
        """(B, 8, 3) corners of every known sheet, world: its paper, and the foot of its board on the cabinet's top.

        Both are a little wider than the paper, for how it was cut and for its shadow: a sheet's rim is no edge of a kitchen.
        """
        network = self.network
        tops = {h.name: h.height_mm for h in (*self.plane.heights, *self.plane.elsewhere)}
        corners = []
        for t in network.bodies:
            outline = paper_outline(network.targets[t])
            outline = outline + RIM_MM * np.sign(outline - outline.mean(axis=0))
            world = projection.body_points(network, t, outline).xyz_mm
            foot = workplane.to_work(self.plane, world)[0]
            foot[:, 2] = np.minimum(foot[:, 2], tops.get(t, -np.inf)) if t in tops else foot[:, 2]
            corners.append(np.vstack([world, self.to_world(foot)]))
        return np.array(corners).reshape(-1, 8, 3)

    def papers(self, photo_id: str) -> GrayImage:
        """Reduced mask of a photo, non-zero where a known printed sheet hides what is beneath."""
        if photo_id not in self._masks:
            width, height = self.size_px(photo_id)
            mask = np.zeros((height // MASK_REDUCTION + 1, width // MASK_REDUCTION + 1), dtype=np.uint8)
            if len(self._outlines):
                image = projection.project(self.network, photo_id, self._outlines.reshape(-1, 3)).uv_px.reshape(-1, 8, 2)
                for uv in image[np.abs(image).max(axis=(1, 2)) < FAR_OFF_PX]:  # false where a corner is not in front
                    hull = cv2.convexHull(uv.astype(np.float32))
                    cv2.fillConvexPoly(mask, np.round((hull / MASK_REDUCTION) * 16).astype(np.int32), 1, shift=4)
            self._masks[photo_id] = np.asarray(cv2.dilate(mask, np.ones((3, 3), dtype=np.uint8)), dtype=np.uint8)
        return self._masks[photo_id]

    def covered(self, photo_id: str, uv_px: Array) -> BoolArray:
        """(...,) bool: a known printed sheet lies over these pixels (..., 2); behind the camera (nan) nothing is covered."""
        mask = self.papers(photo_id)
        there: BoolArray = np.asarray(np.isfinite(uv_px).all(axis=-1))
        cell = np.round(np.where(there[..., None], uv_px, 0.0) / MASK_REDUCTION)
        column = np.clip(cell[..., 0], 0, mask.shape[1] - 1).astype(np.int64)
        row = np.clip(cell[..., 1], 0, mask.shape[0] - 1).astype(np.int64)
        return np.asarray(there & (mask[row, column] > 0))

    # -------------------------------------------------------------------------------------- sides

    def material_side(self, xy_mm: Array, normal: Array) -> float:
        """+1 where the cabinets lie to the left of the stations, -1 to the right, 0 where the sheets do not tell.

        Sheets lie on the cabinets; the nearer a sheet to the edge, the more it counts.
        """
        centres = [h.xy_mm for h in self.plane.heights]
        if not centres:
            return 0.0
        place = np.array(centres)
        away = place[None] - xy_mm[:, None]
        distance = np.linalg.norm(away, axis=2)
        side = np.einsum("nsk,nk->ns", away, normal)
        weight = np.exp(-distance / 150.0)
        value = float((weight * np.tanh(side / 20.0)).sum() / max(weight.sum(), 1e-12))
        return 0.0 if abs(value) < LEAST_SIDE else float(np.sign(value))


def paper_outline(target: Target) -> Array:
    """(4, 3) corners of a target's paper in its own frame, from its size and, where it has one, its contact edge."""
    width, height = target.size_mm
    left, right, top, bottom = -width / 2, width / 2, height / 2, -height / 2
    if target.contact_edge_mm is not None:
        left, right = float(target.contact_edge_mm[0, 0]), float(target.contact_edge_mm[1, 0])
        top = float(target.contact_edge_mm[0, 1])
        bottom = top - height
    return np.array([[left, top, 0.0], [right, top, 0.0], [right, bottom, 0.0], [left, bottom, 0.0]])
