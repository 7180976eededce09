"""Path tracing: direct light per ray, indirect light baked once per vertex, own camera rays. No denoiser."""

from __future__ import annotations

import hashlib
import math
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import textures
from .camera import Camera
from .constants import FIELD
from .furniture import build_cabinet, build_clutter, build_prism, build_wall, exposed_ends
from .materials import bitmap, bsdf, material, mi
from .mesh import MeshBuilder
from .paper import build_sheet, build_strip
from .rays import camera_rays
from .scene import Light, Scene

import drjit as dr  # isort: skip


def lattice(n: int) -> NDArray[np.float64]:
    """(n, 2) well-spread points of the unit square: the rank-1 lattice with the largest toroidal distance."""
    i = np.arange(1, max(n, 2))

    def gap(g: int) -> float:
        y = i * g % n / n
        return float(np.hypot(np.minimum(i / n, 1 - i / n), np.minimum(y, 1 - y)).min())

    g = max(range(1, max(n, 2)), key=gap)
    j = np.arange(n)
    return np.stack([(j + 0.5) / n, (j * g % n + 0.5) / n], 1)


def _pixel_shift(index: Any, seed: int) -> Any:
    a, b = mi.sample_tea_32(index, mi.UInt32(seed), 16)  # 4 rounds (default) leave neighbouring pixels correlated
    return mi.Point2f(mi.Float(a >> 8) / 16777216.0, mi.Float(b >> 8) / 16777216.0)


def _rotate(shift: Any, point: Any) -> Any:
    p = shift + mi.Point2f(dr.opaque(mi.Float, float(point[0])), dr.opaque(mi.Float, float(point[1])))
    return p - dr.floor(p)


def default_lights(scene: Scene) -> list[Light]:
    """Two ceiling panels and a window."""
    x0, y0, x1, y1 = scene.room
    xm, ym, z = (x0 + x1) / 2, (y0 + y1) / 2, scene.ceiling_z - 30
    warm = [9.0, 8.2, 7.0]
    return [
        Light([xm - 700, ym + 500, z], [0, 0, -1], [600, 600], warm),
        Light([xm + 900, ym, z], [0, 0, -1], [600, 600], warm),
        Light([x1 - 30, ym - 300, 500], [-1, 0, 0], [1300, 1100], [4.2, 4.7, 5.4]),
    ]


class Renderer:
    """A scene ready to be photographed. The light is baked on construction."""

    def __init__(
        self,
        scene: Scene,
        *,
        bake_spp: int = 256,
        bounces: int = 3,
        light_samples: int = 1,
        verbose: bool = False,
        bake_file: Path | None = None,
    ) -> None:
        self.scene, self.light_samples = scene, light_samples
        start = time.perf_counter()
        self._names: list[str] = []
        self._vertices: list[NDArray[np.float64]] = []
        self._normals: list[NDArray[np.float64]] = []
        shapes: dict[str, Any] = {"type": "scene"}
        prints = {"print:" + p.id: p for p in [*scene.sheets, *scene.strips]}
        for i, (mat, parts) in enumerate(self._build().parts.items()):
            v, nrm, uv = (np.concatenate([p[k] for p in parts]) for k in range(3))
            firsts = np.cumsum([0] + [len(p[0]) for p in parts])
            faces = np.concatenate([p[3] + o for p, o in zip(parts, firsts, strict=False)])
            if mat in prints:
                paper = prints[mat]
                b = bsdf("paper_gloss" if paper.gloss else "paper", bitmap(textures.load_print(paper.image), "clamp"))
            else:
                b = material(mat)
            shapes[f"m{i}"] = self._mesh(f"m{i}", v, uv, faces, b)
            self._names.append(f"m{i}")
            self._vertices.append(v)
            self._normals.append(nrm)
        for i, light in enumerate(scene.lights or default_lights(scene)):
            up = [0, 1, 0] if abs(light.normal[2]) > 0.9 else [0, 0, 1]
            to = (np.array(light.center) + np.array(light.normal)).tolist()
            at = mi.ScalarTransform4f().look_at(light.center, to, up).scale([light.size[0] / 2, light.size[1] / 2, 1])
            glow = {"type": "area", "radiance": {"type": "rgb", "value": list(light.radiance)}}
            shapes[f"light{i}"] = {"type": "rectangle", "to_world": at, "emitter": glow}
        self.mi_scene = mi.load_dict(shapes, parallel=False)  # in parallel the order of the lights, so the noise, varies
        self._light(bake_spp, bounces, bake_file)
        if verbose:
            count = sum(map(len, self._vertices))
            print(f"scene: {count} vertices, built and light baked in {time.perf_counter() - start:.1f} s", flush=True)

    def _build(self) -> MeshBuilder:
        mb, s = MeshBuilder(), self.scene
        for c in s.cabinets:
            build_cabinet(mb, c, exposed_ends(c, s.cabinets))
        for prism in s.prisms:
            build_prism(mb, prism)
        for w in s.walls:
            build_wall(mb, w, s)
        for sheet in s.sheets:
            build_sheet(mb, sheet, s)
        for strip in s.strips:
            build_strip(mb, strip, s)
        for thing in s.clutter:
            build_clutter(mb, thing)
        x0, y0, x1, y1 = s.room
        zf, zc = s.floor_z, s.ceiling_z
        mb.quad(s.mat_floor, (x0, y0, zf), (x1, y0, zf), (x1, y1, zf), (x0, y1, zf), 60)
        mb.quad("ceiling", (x0, y1, zc), (x1, y1, zc), (x1, y0, zc), (x0, y0, zc), 200)
        corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
            mb.quad("room", (*b, zf), (*a, zf), (*a, zc), (*b, zc), 200)
        return mb

    @staticmethod
    def _mesh(name: str, vertices: Any, uv: Any, faces: Any, shader: Any) -> Any:
        props = mi.Properties()
        props["mesh_bsdf"] = shader
        mesh = mi.Mesh(name, len(vertices), len(faces), has_vertex_texcoords=True, props=props)
        mesh.add_attribute("vertex_irr", 3, np.zeros(3 * len(vertices), np.float32))
        par = mi.traverse(mesh)
        par["vertex_positions"] = np.ascontiguousarray(vertices, np.float32).ravel()
        par["vertex_texcoords"] = np.ascontiguousarray(uv, np.float32).ravel()
        par["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
        par.update()
        return mesh

    def _shade(self, si: Any, u_lights: list[Any], active: Any, emission: bool) -> Any:
        """Direct light (next-event estimation) and baked indirect light.

        Without ``emission`` (baking) only the diffuse part counts: highlights seen by a vertex would become blotches.
        """
        ctx = mi.BSDFContext()
        shader = si.bsdf()
        albedo = shader.eval_diffuse_reflectance(si, active)
        light = mi.Color3f(0.0)
        if emission:
            light += si.emitter(self.mi_scene).eval(si, active)
        for u in u_lights:
            ds, weight = self.mi_scene.sample_emitter_direction(si, u, True, active)
            wo = si.to_local(ds.d)
            if emission:
                light += shader.eval(ctx, si, wo, active) * weight / len(u_lights)
            else:
                cos = mi.Frame3f.cos_theta(wo)
                same_side = cos * mi.Frame3f.cos_theta(si.wi) > 0
                light += dr.select(same_side, albedo * dr.abs(cos) / math.pi * weight / len(u_lights), 0.0)
        irradiance = mi.Color3f(si.shape.eval_attribute_3("vertex_irr", si, active))
        light += albedo * irradiance / math.pi
        return dr.select(active & dr.all(dr.isfinite(light)), light, 0.0)  # a ray along a surface may have no shading frame

    def _light(self, spp: int, bounces: int, bake_file: Path | None) -> None:
        """Bake the indirect light, or take it from a file that holds it for exactly these vertices."""
        key = hashlib.sha256(np.concatenate(self._vertices).tobytes() + f"{spp} {bounces}".encode()).hexdigest()
        if bake_file and bake_file.exists():
            saved = np.load(bake_file)
            if str(saved["key"]) == key:
                self._set_irradiance(saved["irradiance"])
                return
        irradiance = self._bake(spp, bounces)
        if bake_file:
            np.savez_compressed(bake_file, key=key, irradiance=irradiance.astype(np.float32))

    def _set_irradiance(self, irradiance: NDArray[Any]) -> None:
        par = mi.traverse(self.mi_scene)
        first = 0
        for name, part in zip(self._names, self._vertices, strict=True):
            par[name + ".vertex_irr"] = np.ascontiguousarray(irradiance[first : first + len(part)], np.float32).ravel()
            first += len(part)
        par.update()

    def _bake(self, spp: int, bounces: int) -> NDArray[Any]:
        """Indirect irradiance at every vertex by Monte Carlo, one iteration per bounce."""
        v, n = np.concatenate(self._vertices).astype(np.float32), np.concatenate(self._normals).astype(np.float32)
        count = len(v)
        points, normals = mi.Point3f(v.T.copy()), mi.Normal3f(n.T.copy())
        frame = mi.Frame3f(mi.Vector3f(normals))
        index = dr.arange(mi.UInt32, count)
        irradiance = np.zeros((count, 3))
        for bounce in range(bounces):
            acc = mi.Color3f(dr.zeros(mi.Float, count))
            base = [lattice(spp) for _ in range(2)]
            np.random.default_rng(bounce).shuffle(base[1])
            for s in range(spp):
                u = [_rotate(_pixel_shift(index, bounce * 2 + k), base[k][s]) for k in range(2)]
                d = frame.to_world(mi.warp.square_to_cosine_hemisphere(u[0]))
                si = self.mi_scene.ray_intersect(mi.Ray3f(points + 0.4 * normals, d))
                ok = si.is_valid() & (si.emitter(self.mi_scene) == None)  # noqa: E711  (lights are direct light only)
                acc += dr.minimum(self._shade(si, [u[1]], ok, False), 8.0)
                dr.eval(acc)
            irradiance = np.array(acc).T.reshape(count, 3) * (math.pi / spp)
            irradiance[~np.isfinite(irradiance)] = 0
            self._set_irradiance(irradiance)
        return irradiance

    def radiance(self, cam: Camera, spp: int = 24) -> NDArray[np.float32]:
        """(height, width, 3) linear RGB on the distorted pixel grid; a box filter stands for square pixels."""
        w, h = cam.width, cam.height
        index = dr.arange(mi.UInt32, w * h)
        px, py = mi.Float(index % w), mi.Float(index // w)
        ndim = 3 + self.light_samples
        rng = np.random.default_rng(cam.seed + 1)
        base = [lattice(spp) for _ in range(ndim)]
        for k in range(1, ndim):
            rng.shuffle(base[k])  # no correlation between the dimensions
        shift = [_pixel_shift(index, cam.seed * 977 + k * 7919 + 13) for k in range(ndim)]
        acc = mi.Color3f(dr.zeros(mi.Float, w * h))
        scales = cam.channel_scale()  # colours of the same size share a ray
        for s in range(spp):
            u = [_rotate(shift[k], base[k][s]) for k in range(ndim)]
            xs, ys = px + (u[0].x - 0.5), py + (u[0].y - 0.5)
            if any(cam.motion_px):
                xs += (u[2].x - 0.5) * cam.motion_px[0]
                ys += (u[2].x - 0.5) * cam.motion_px[1]
            for scale in dict.fromkeys(scales):
                si = self.mi_scene.ray_intersect(camera_rays(cam, xs, ys, py, u[1], scale))
                light = self._shade(si, u[3:], si.is_valid(), True)
                acc += light if len(set(scales)) == 1 else light * mi.Color3f(*[float(q == scale) for q in scales])
            dr.eval(acc)
        return np.ascontiguousarray(np.array(acc).T.reshape(h, w, 3) / spp, np.float32)

    def visible(
        self, cam: Camera, points: Any, eps: float = 2.0, normal: Any = (0, 0, 1), away: float | None = None
    ) -> NDArray[np.bool_]:
        """(N,) which world points are in the frame and not hidden, tested from eps mm above the point along ``normal``.

        Whatever lies nearer to the tested point than ``away`` mm (4 eps unless given) does not hide it.
        """
        p = np.asarray(points, float).reshape(-1, 3)
        uv = cam.project(p)
        r, t = cam.pose()
        local = p @ r.T + t
        z = local[:, 2]
        # far outside the picture the distortion's polynomial may fold back into it
        off_axis = np.linalg.norm(local[:, :2], axis=1) / np.maximum(z, 1.0)
        ok = (z > 50) & (off_axis < FIELD * math.hypot(cam.width, cam.height) / 2 / cam.fx)
        ok &= (uv > -0.5).all(1) & (uv[:, 0] < cam.width - 0.5) & (uv[:, 1] < cam.height - 0.5)
        d = p + eps * np.asarray(normal, float) - np.array(cam.eye)
        far = np.linalg.norm(d, axis=1)
        ray = mi.Ray3f(mi.Point3f(*[float(v) for v in cam.eye]), mi.Vector3f((d / far[:, None]).T.astype(np.float32).copy()))
        ray.maxt = mi.Float((far - (4 * eps if away is None else away)).astype(np.float32))
        return np.asarray(ok & ~np.array(self.mi_scene.ray_test(ray)))
