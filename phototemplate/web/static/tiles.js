// Pictures of any size as tiles: the level that fits the screen, and where a tile is missing its nearest loaded ancestor.

import { KEPT_TILES, TILE } from './constants.js';
import { uprightMatrix } from './geometry.js';

const AT_ONCE = 6; // as many as a browser asks one server for at a time

class Cache {
  constructor() {
    /** @type {Map<string, ImageBitmap>} */ this.kept = new Map(); this.waiting = new Map(); this.busy = 0; this.bad = new Map(); }

  get(url) {
    const picture = this.kept.get(url);
    if (picture) { this.kept.delete(url); this.kept.set(url, picture); }
    return picture;
  }

  // What is wanted now goes first; what was wanted earlier and not begun yet may be dropped by its owner.
  want(url, told) {
    if (this.kept.has(url) || (this.bad.get(url) || 0) > 2) return;
    const one = this.waiting.get(url);
    if (one) { one.told.add(told); if (!one.begun) { this.waiting.delete(url); this.waiting.set(url, one); } return; }
    this.waiting.set(url, { told: new Set([told]), begun: false });
    this.next();
  }

  drop(told) {
    for (const [url, one] of this.waiting) if (!one.begun) { one.told.delete(told); if (!one.told.size) this.waiting.delete(url); }
  }

  next() {
    while (this.busy < AT_ONCE) {
      const open = [...this.waiting].filter(([, one]) => !one.begun).pop();
      if (!open) return;
      open[1].begun = true;
      this.busy += 1;
      this.load(...open);
    }
  }

  async load(url, one) {
    try {
      const answer = await fetch(url, { credentials: 'same-origin' });
      if (!answer.ok) throw new Error(String(answer.status));
      const picture = await createImageBitmap(await answer.blob());
      this.kept.set(url, picture);
      while (this.kept.size > KEPT_TILES) {
        const [oldest] = this.kept.keys();
        this.kept.get(oldest).close();
        this.kept.delete(oldest);
      }
    } catch {
      this.bad.set(url, (this.bad.get(url) || 0) + 1);
    } finally {
      this.busy -= 1;
      this.waiting.delete(url);
      for (const f of one.told) f();
      this.next();
    }
  }
}

export const cache = new Cache();

export class TileLayer {
  // matrix: level 0 px (origin at the picture's outer corner) -> world
  /** @param {{url: (l: number, c: number, r: number) => string, size: ArrayLike<number>, levels: number, matrix?: ArrayLike<number>, alpha?: number}} facts */
  constructor({ url, size, levels, matrix = [1, 0, 0, 1, 0, 0], alpha = 1 }) {
    this.url = url;
    this.size = size;
    this.levels = levels;
    this.matrix = matrix;
    this.alpha = alpha;
    this.told = null;
    this.complete = false; // every tile of the last painting was there
    this.level = 0;
  }

  /** @param {CanvasRenderingContext2D} ctx @param {View} stage */
  paint(ctx, stage) {
    const told = this.told ||= () => stage.draw();
    const w = stage.matrix(), m = this.matrix;
    // picture -> screen
    const a = w[0] * m[0] + w[2] * m[1], b = w[1] * m[0] + w[3] * m[1];
    const c = w[0] * m[2] + w[2] * m[3], d = w[1] * m[2] + w[3] * m[3];
    const e = w[0] * m[4] + w[2] * m[5] + w[4], f = w[1] * m[4] + w[3] * m[5] + w[5];
    const det = a * d - b * c;
    const scale = Math.sqrt(Math.abs(det)) * stage.ratio;
    const level = Math.max(0, Math.min(this.levels - 1, Math.floor(Math.log2(1 / scale) + 0.25)));
    // what the screen shows, in px of the picture
    let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
    for (const [u, v] of [[0, 0], [stage.width, 0], [0, stage.height], [stage.width, stage.height]]) {
      const x = (d * (u - e) - c * (v - f)) / det, y = (-b * (u - e) + a * (v - f)) / det;
      x0 = Math.min(x0, x); x1 = Math.max(x1, x); y0 = Math.min(y0, y); y1 = Math.max(y1, y);
    }
    const s = 2 ** level * TILE;
    const columns = Math.ceil(this.size[0] / s), rows = Math.ceil(this.size[1] / s);
    const c0 = Math.max(0, Math.floor(x0 / s)), c1 = Math.min(columns - 1, Math.floor(x1 / s));
    const r0 = Math.max(0, Math.floor(y0 / s)), r1 = Math.min(rows - 1, Math.floor(y1 / s));
    ctx.imageSmoothingEnabled = !stage.rough && scale * 2 ** level < 3;
    ctx.imageSmoothingQuality = 'low';
    ctx.globalAlpha = this.alpha;
    cache.drop(told);
    /** @type {[number, number, string][]} */
    const missing = [];
    /** @type {[ImageBitmap, number, number, number][]} */
    const there = [];
    /** @type {Map<string, [ImageBitmap, number, number, number]>} */
    const below = new Map();
    for (let r = r0; r <= r1; r++) {
      for (let k = c0; k <= c1; k++) {
        const url = this.url(level, k, r);
        const picture = cache.get(url);
        if (picture) { there.push([picture, level, k, r]); continue; }
        missing.push([r, k, url]);
        const drawn = this.ancestor(level, k, r);
        if (drawn) below.set(drawn.slice(1).join(), drawn);
      }
    }
    // coarse ones first and whole, once each: a part of a picture costs the browser far more than all of it
    for (const [image, at, k, r] of [...[...below.values()].sort((p, q) => q[1] - p[1]), ...there]) {
      const t = 2 ** at, g = t * stage.ratio;
      let sx = 0, sy = 0, sw = image.width, sh = image.height, px = k * t * TILE, py = r * t * TILE;
      if (scale * t >= 1.5) {
        // only what is seen of a tile that is far larger than the screen
        const left = Math.max(0, Math.floor((x0 - px) / t) - 1), top = Math.max(0, Math.floor((y0 - py) / t) - 1);
        const right = Math.min(sw, Math.ceil((x1 - px) / t) + 1), bottom = Math.min(sh, Math.ceil((y1 - py) / t) + 1);
        if (right <= left || bottom <= top) continue;
        sx += left; sy += top; sw = right - left; sh = bottom - top; px += left * t; py += top * t;
      }
      ctx.setTransform(a * g, b * g, c * g, d * g, (a * px + c * py + e) * stage.ratio, (b * px + d * py + f) * stage.ratio);
      // a hair of overlap hides the seams that smoothing leaves
      const over = scale * t < 1.5 ? 0.35 / (scale * t) : 0; // where pixels can be counted they stay where they are
      ctx.drawImage(image, sx, sy, sw, sh, 0, 0, sw + over, sh + over);
    }
    // the middle of the screen comes first: asked last, served first
    const mr = (r0 + r1) / 2, mc = (c0 + c1) / 2;
    missing.sort((p, q) => Math.hypot(q[0] - mr, q[1] - mc) - Math.hypot(p[0] - mr, p[1] - mc));
    for (const [, , url] of missing) cache.want(url, told);
    if (missing.length) cache.want(this.url(this.levels - 1, 0, 0), told);
    this.complete = missing.length === 0;
    this.level = level;
  }

  // Nearest loaded tile that covers a missing one: picture, level, column, row
  /** @returns {[ImageBitmap, number, number, number] | null} */
  ancestor(level, column, row) {
    for (let up = 1; level + up < this.levels; up++) {
      const k = column >> up, r = row >> up;
      const picture = cache.get(this.url(level + up, k, r));
      if (picture) return [picture, level + up, k, r];
    }
    return null;
  }
}

/** @param {PhotoView} photo */
export function photoLayer(photo) {
  const { size, orientation } = photo.seen;
  let levels = 1;
  for (let n = Math.max(...size); n > TILE; n = (n + 1) >> 1) levels += 1;
  return new TileLayer({
    url: (l, c, r) => `/tiles/photo/${encodeURIComponent(photo.id)}/${photo.version}/${l}/${c}/${r}`,
    size, levels, matrix: uprightMatrix(size, orientation),
  });
}
