// The same spot in the original photos, side by side, while something is moved in the top view.

import { h } from './dom.js';
import { post } from './api.js';
import { palette } from './drawing.js';
import { apply, uprightMatrix } from './geometry.js';
import { photoLayer } from './tiles.js';
import { store } from './store.js';
import { t } from './text.js';

const SIZE = 168;
const ZOOM = 2; // screen px per photo px
const MOST = 3;

export class Loupe {
  constructor() {
    this.box = h('div', { class: 'loupe', hidden: true, role: 'img', 'aria-label': t('loupe') });
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

  show(xy, low = false) {
    this.box.classList.toggle('low', low);
    this.xy = [...xy];
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
      if (v.canvas.width !== SIZE * ratio) v.canvas.width = v.canvas.height = SIZE * ratio;
      const j = v.seen.jac;
      const uv = [v.seen.uv[0] + j[0][0] * moved[0] + j[0][1] * moved[1], v.seen.uv[1] + j[1][0] * moved[0] + j[1][1] * moved[1]];
      const centre = apply(v.matrix, uv);
      const ctx = v.canvas.getContext('2d', { alpha: false });
      const stage = {
        width: SIZE, height: SIZE, ratio, draw: () => this.paint(),
        matrix: () => [ZOOM, 0, 0, ZOOM, SIZE / 2 - centre[0] * ZOOM, SIZE / 2 - centre[1] * ZOOM],
      };
      ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
      ctx.fillStyle = '#6f6d68';
      ctx.fillRect(0, 0, SIZE, SIZE);
      v.layer.told ||= () => this.paint();
      v.layer.paint(ctx, stage);
      ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
      ctx.globalAlpha = 1;
      const c = palette();
      for (const [w, colour] of /** @type {[number, string][]} */ ([[3.5, c.paper], [1.5, c.hint]])) {
        ctx.lineWidth = w;
        ctx.strokeStyle = colour;
        ctx.beginPath();
        for (const [x, y] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
          ctx.moveTo(SIZE / 2 + x * 6, SIZE / 2 + y * 6);
          ctx.lineTo(SIZE / 2 + x * 30, SIZE / 2 + y * 30);
        }
        ctx.stroke();
      }
    }
  }
}

