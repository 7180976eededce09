// A small picture of the spot under the finger, enlarged, while something is dragged in a photo.

import { h } from './dom.js';
import { palette } from './drawing.js';
import { t } from './text.js';

const SIDE = 168, ZOOM = 3;

export class Magnifier {
  constructor() {
    this.canvas = h('canvas', { width: SIDE, height: SIDE });
    this.box = h('div', { class: 'loupe', hidden: true, role: 'img', 'aria-label': t('loupe') }, h('figure', {}, this.canvas));
  }

  hide() { this.box.hidden = true; }

  /** @param {Layer} layer the photo @param {Point} world what is in its middle @param {number} k screen px per px of the photo @param {boolean} low */
  show(layer, world, k, low) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2), zoom = Math.max(ZOOM * k, 1);
    this.box.hidden = false;
    this.box.classList.toggle('low', low);
    this.canvas.width = this.canvas.height = SIDE * ratio;
    const ctx = this.canvas.getContext('2d', { alpha: false });
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.fillStyle = '#6f6d68';
    ctx.fillRect(0, 0, SIDE, SIDE);
    layer.paint(ctx, { width: SIDE, height: SIDE, ratio, draw: () => {}, matrix: () => [zoom, 0, 0, zoom, SIDE / 2 - world[0] * zoom, SIDE / 2 - world[1] * zoom] });
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.globalAlpha = 1;
    const c = palette();
    for (const [width, colour] of /** @type {[number, string][]} */ ([[3.5, c.paper], [1.5, c.hint]])) {
      ctx.lineWidth = width;
      ctx.strokeStyle = colour;
      ctx.beginPath();
      for (const [x, y] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { ctx.moveTo(SIDE / 2 + x * 5, SIDE / 2 + y * 5); ctx.lineTo(SIDE / 2 + x * 26, SIDE / 2 + y * 26); }
      ctx.stroke();
    }
  }
}
