"""Source ``contact``: the cut edge of target sheets butted against a wall or panel.

The sheet's pose is known from the network far better than any edge can be seen; what is left is how close the paper
touches. A butted sheet can only stand off, never enter the wall: ``contact_gap_mm`` is the usual gap, and one influence per
edge carries its uncertainty (sheets butted by the same hand against the same wall stand off alike).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.edges.scene import Scene
from phototemplate.edges.sources.constants import POINTS_PER_SHEET
from phototemplate.edges.sources.hints import lost
from phototemplate.edges.sources.result import Found
from phototemplate.errors import Finding
from phototemplate.model import Array, EdgeHint, IntArray, PlanePoints, TypeB
from phototemplate.network import projection, workplane
from phototemplate.settings import EdgeSettings

NAME = "contact"


def type_b_terms(hint: EdgeHint, settings: EdgeSettings) -> tuple[TypeB, ...]:
    """How far the sheets of this edge stand off what they were butted against."""
    return (TypeB(f"gap:{hint.edge_id}", "contact gap", settings.contact_gap_u_mm),)


def measure(scene: Scene, hint: EdgeHint) -> Found:
    """Points along the contact edges of the hint's sheets, moved by the usual gap towards the wall."""
    settings = scene.settings
    findings: list[Finding] = []
    xyz, jac, outward, n_photos = [], [], [], []
    for target_id in hint.targets:
        if target_id not in scene.network.bodies:
            findings.append(Finding("contact-sheet-unplaced", hint.edge_id, sheet=target_id))
            continue
        edge = scene.network.targets[target_id].contact_edge_mm
        if edge is None:
            findings.append(Finding("contact-sheet-no-edge", hint.edge_id, sheet=target_id))
            continue
        part = np.linspace(0.0, 1.0, POINTS_PER_SHEET)[:, None]
        local = np.column_stack([edge[0] + part * (edge[1] - edge[0]), np.zeros(POINTS_PER_SHEET)])
        body = projection.body_points(scene.network, target_id, local)
        own = np.zeros((len(local), 3, scene.plane.influences.size))
        own[:, :, body.columns] = body.d_influences
        work, work_jac = workplane.to_work(scene.plane, body.xyz_mm, own)
        xyz.append(work)
        jac.append(work_jac)
        outward.append(np.broadcast_to(_away_from_sheet(scene, target_id, work), (len(work), 2)))
        seen = sum(target_id in r.target_ids for r in scene.network.residuals)
        n_photos.append(np.full(len(work), float(seen)))
    if not xyz:
        return Found(None, (), (*findings, lost(hint, "no-contact-sheet")))
    points = _points(scene, hint, np.vstack(xyz), np.vstack(jac), np.vstack(outward), np.concatenate(n_photos))
    findings += _doubts(hint, points.xy_mm, settings)
    return Found(replace(points, findings=tuple(findings)), (), tuple(findings))


def _away_from_sheet(scene: Scene, target_id: str, edge_work: Array) -> Array:
    """(2,) unit vector in plan, perpendicular to the sheet's contact edge, away from the sheet: towards the wall."""
    along = edge_work[-1, :2] - edge_work[0, :2]
    normal = np.array([-along[1], along[0]]) / max(float(np.linalg.norm(along)), 1e-9)
    body = scene.network.bodies[target_id]
    centre = workplane.to_work(scene.plane, body.translation_mm[None])[0][0, :2]
    return normal if (edge_work[0, :2] - centre) @ normal > 0 else -normal


def _points(
    scene: Scene, hint: EdgeHint, xyz: Array, jac: Array, outward: Array, n_photos: Array
) -> PlanePoints:
    settings = scene.settings
    shared = jac[:, :2].copy()
    column = scene.column.get(f"gap:{hint.edge_id}")
    if column is not None:
        shared[:, :, column] += outward
    along = np.stack([-outward[:, 1], outward[:, 0]], axis=1)
    noise = settings.cut_u_mm**2 * outward[:, :, None] * outward[:, None, :]
    noise = noise + along[:, :, None] * along[:, None, :]
    cov = scene.plane.influences.cov
    height_u = np.sqrt(np.maximum(np.einsum("nk,kl,nl->n", jac[:, 2], cov, jac[:, 2]), 0.0))
    order = _along(xyz[:, :2])
    return PlanePoints(
        edge_id=hint.edge_id,
        source=NAME,
        xy_mm=(xyz[:, :2] + settings.contact_gap_mm * outward)[order],
        height_mm=xyz[order, 2],
        noise_cov_mm2=noise[order],
        shared_jac=shared[order],
        height_u_mm=height_u[order],
        n_photos=n_photos[order],
        correlation_mm=100.0,  # the cut of one sheet is one cut
    )


def _along(xy: Array) -> IntArray:
    """Order of points along their main direction."""
    centre = xy - xy.mean(axis=0)
    return np.argsort(centre @ np.linalg.svd(centre)[2][0], kind="stable")


def _doubts(hint: EdgeHint, xy: Array, settings: EdgeSettings) -> list[Finding]:
    """Sheets butted against a straight edge must line up."""
    if hint.shape != "line" or len(xy) <= POINTS_PER_SHEET:
        return []
    centre = xy - xy.mean(axis=0)
    off = centre @ np.linalg.svd(centre)[2][1]
    worst = float(np.abs(off).max())
    if worst < settings.contact_misfit_mm:
        return []
    return [Finding("contact-sheets-uneven", hint.edge_id, off_mm=worst)]
