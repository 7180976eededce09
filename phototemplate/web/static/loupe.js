// The same spot in the original photos, side by side, while something is moved in the top view.

import { h } from './dom.js';
import { post } from './api.js';
import { line, palette, text } from './drawing.js';
import { apply, uprightMatrix } from './geometry.js';
import { photoLayer } from './tiles.js';
import { store } from './store.js';
import { t } from './text.js';

const MOST = 3;

/** Pictures of one spot: small ones beside the finger, or (`still`) large ones in the panel. `zoom`: screen px per photo px. */
export class Loupe {
  constructor({ width = 168, height = 168, zoom = 2, still = false } = {}) {
    this.width = width;
    this.height = height;
    this.zoom = zoom;
    this.box = h('div', { class: still ? 'closeup' : 'loupe', hidden: true, role: 'img', 'aria-label': t('loupe') });
    /** @type {{points: Point[], colour: string, dash: number[], name?: string}[]} lines of the plane that are drawn too */
    this.lines = [];
    this.views = [];
    for (let i = 0; i < MOST; i++) {
      const canvas = h('canvas', {});
      const name = h('span', {});
      const figure = h('figure', { hidden: true }, canvas, h('figcaption', {}, name));
      this.box.append(figure);
      this.views.push({ canvas, name, figure, seen: null, photo: null, layer: null, matrix: null });
    }
    this.asking = false;
  }

  close() { this.closed = true; }
  hide() { this.box.hidden = true; this.xy = null; }

  /** @param {ArrayLike<number>} xy */
  show(xy, low = false) {
    this.box.classList.toggle('low', low);
    this.xy = [xy[0], xy[1]];
    this.box.hidden = false;
    this.ask();
    this.paint();
  }

  // One question at a time; between answers the spot is carried along by its derivative
  async ask() {
    if (this.asking || this.closed) return;
    this.asking = true;
    const xy = this.xy;
    try {
      const seen = await post('/api/ask/photos-showing', { xy, most: MOST });
      this.at = xy;
      this.views.forEach((v, i) => {
        v.seen = seen[i] || null;
        v.figure.hidden = !v.seen;
        if (!v.seen) return;
        const photo = store.photos.get(v.seen.photo);
        if (!photo?.seen) { v.figure.hidden = true; return; }
        if (v.photo !== photo) { v.photo = photo; v.layer = photoLayer(photo); v.matrix = uprightMatrix(photo.seen.size, photo.seen.orientation); }
        v.name.textContent = photo.id;
      });
    } catch { /* shown by other means */ }
    this.asking = false;
    this.paint();
    if (this.xy && (this.xy[0] !== xy[0] || this.xy[1] !== xy[1])) setTimeout(() => this.xy && this.ask(), 30);
  }

  paint() {
    if (this.box.hidden || !this.at || !this.xy) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const moved = [this.xy[0] - this.at[0], this.xy[1] - this.at[1]];
    for (const v of this.views) {
      if (!v.seen || v.figure.hidden) continue;
      const [w, hgt] = [this.width, this.height];
      if (v.canvas.width !== w * ratio) { v.canvas.width = w * ratio; v.canvas.height = hgt * ratio; }
      const j = v.seen.jac;
      const uv = [v.seen.uv[0] + j[0][0] * moved[0] + j[0][1] * moved[1], v.seen.uv[1] + j[1][0] * moved[0] + j[1][1] * moved[1]];
      const centre = apply(v.matrix, uv);
      const ctx = v.canvas.getContext('2d', { alpha: false });
      const zoom = this.zoom;
      const stage = {
        width: w, height: hgt, ratio, draw: () => this.paint(),
        matrix: () => [zoom, 0, 0, zoom, w / 2 - centre[0] * zoom, hgt / 2 - centre[1] * zoom],
      };
      ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
      ctx.fillStyle = '#6f6d68';
      ctx.fillRect(0, 0, w, hgt);
      v.layer.told ||= () => this.paint();
      v.layer.paint(ctx, stage);
      ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
      ctx.globalAlpha = 1;
      // lines of the plane by the derivative at the spot: good enough for the few centimetres that are shown
      const at = (p) => apply(stage.matrix(), apply(v.matrix, [0, 1].map((i) => v.seen.uv[i] + j[i][0] * (p[0] - this.at[0]) + j[i][1] * (p[1] - this.at[1]))));
      for (const one of this.lines) {
        const points = one.points.map(at);
        line(ctx, points, { colour: one.colour, width: 2, dash: one.dash });
        const p = one.name && points.find((q) => q[0] > 14 && q[0] < w - 14 && q[1] > 14 && q[1] < hgt - 14);
        if (p) text(ctx, one.name, [p[0], p[1] - 12], { colour: one.colour, size: 14 });
      }
      if (!this.lines.length) cross(ctx, w, hgt);
    }
  }
}

function cross(ctx, w, height) {
  const c = palette();
  for (const [size, colour] of /** @type {[number, string][]} */ ([[3.5, c.paper], [1.5, c.hint]])) {
    ctx.lineWidth = size;
    ctx.strokeStyle = colour;
    ctx.beginPath();
    for (const [x, y] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      ctx.moveTo(w / 2 + x * 6, height / 2 + y * 6);
      ctx.lineTo(w / 2 + x * 30, height / 2 + y * 30);
    }
    ctx.stroke();
  }
}
