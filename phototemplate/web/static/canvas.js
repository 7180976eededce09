// A canvas that is moved by mouse, pinch and keyboard. World -> screen: turn, zoom, and y up or down.

import { apply, inverse } from './geometry.js';

const TAP_PX = 5;
const SLOP_PX = 14;
const SLOW_MS = 24; // frames that take longer while the view is moved are drawn roughly until it rests
const REST_MS = 140;

export class Stage {
  constructor(canvas, { yUp = false, name = '' } = {}) {
    this.canvas = canvas;
    this.ctx = canvas.getContext('2d', { alpha: false });
    this.f = yUp ? -1 : 1;
    this.view = { x: 0, y: 0, k: 1, turn: 0 };
    /** @type {Layer[]} */
    this.layers = [];
    /** @type {Point[] | null} */
    this.extent = null;
    this.pad = [28, 28, 28, 28]; // left, top, right, bottom
    this.limits = [1e-3, 1e3];
    /** @type {(world: Point, screen: Point) => void} */
    this.ontap = () => {};
    /** @type {(world: Point, screen: Point, reach: number) => Held | null} */
    this.grab = () => null;
    /** @type {((world: Point, screen: Point) => void) | null} */
    this.onhover = null;
    /** @type {(e: KeyboardEvent) => boolean} */
    this.onkey = () => false;
    this.cross = false; // a cross in the middle, for placing points by keyboard
    this.background = '#888';
    this.rough = false; // layers may save work: the view is on the move and the machine is slow
    this.width = this.height = 1;
    this.lift = 20; // px at the bottom that the legend covers
    this.closed = false;
    /** @type {number[][]} boxes of the words written in this painting */
    this.taken = [];
    this.ratio = 1;
    this.pointers = new Map();
    this.pinch = null;
    /** @type {Held | null} */
    this.held = null;
    this.asked = 0;
    this.rest = 0; // timer that runs out when the view rests
    this.pace = 16; // running mean of the time between frames on the move, ms
    this.drawn = 0;
    canvas.tabIndex = 0;
    canvas.setAttribute('role', 'application');
    if (name) canvas.setAttribute('aria-label', name);
    canvas.addEventListener('pointerdown', (e) => this.down(e));
    canvas.addEventListener('pointermove', (e) => this.move(e));
    canvas.addEventListener('pointerup', (e) => this.up(e));
    canvas.addEventListener('pointercancel', (e) => this.up(e, true));
    canvas.addEventListener('wheel', (e) => this.wheel(e), { passive: false });
    canvas.addEventListener('keydown', (e) => this.key(e));
    canvas.addEventListener('focus', () => this.draw());
    canvas.addEventListener('blur', () => this.draw());
    canvas.addEventListener('dblclick', (e) => e.preventDefault());
    this.watch = new ResizeObserver(() => this.resize());
    this.watch.observe(canvas);
    this.resize();
  }

  close() { this.watch.disconnect(); cancelAnimationFrame(this.asked); clearTimeout(this.rest); this.closed = true; }

  resize() {
    const box = this.canvas.getBoundingClientRect();
    const first = this.width <= 1;
    this.width = Math.max(1, box.width);
    this.height = Math.max(1, box.height);
    this.ratio = Math.min(window.devicePixelRatio || 1, 3);
    this.canvas.width = Math.round(this.width * this.ratio);
    this.canvas.height = Math.round(this.height * this.ratio);
    if (first) this.fit();
    this.paint(); // at once: a resized canvas is empty
  }

  // ------------------------------------------------------------------------------------------ geometry

  /** @returns {Matrix} */
  matrix() {
    const { x, y, k, turn } = this.view;
    const c = Math.cos(turn) * k, s = Math.sin(turn) * k, f = this.f;
    /** @type {Matrix} */
    const m = [c, f * s, -s, f * c, 0, 0];
    m[4] = this.width / 2 - (m[0] * x + m[2] * y);
    m[5] = this.height / 2 - (m[1] * x + m[3] * y);
    return m;
  }

  /** @param {ArrayLike<number>} p @returns {Point} */
  toScreen(p) { return apply(this.matrix(), p); }

  /** @param {ArrayLike<number>} p @returns {Point} */
  toWorld(p) { return apply(inverse(this.matrix()), p); }

  /** @param {MouseEvent & {pointerType?: string}} event @returns {Point} */
  at(event) {
    const box = this.canvas.getBoundingClientRect();
    // a mouse points at a whole pixel of the screen: its middle is what is meant
    const half = event.pointerType === 'mouse' ? 0.5 / this.ratio : 0;
    return [event.clientX - box.left + half, event.clientY - box.top + half];
  }

  // Show all of some points (world), as the view is turned
  fit(pad = this.pad) {
    if (!this.extent?.length) return;
    const c = Math.cos(this.view.turn), s = Math.sin(this.view.turn);
    let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
    for (const [x, y] of this.extent) {
      const u = c * x - s * y, v = s * x + c * y;
      x0 = Math.min(x0, u); x1 = Math.max(x1, u); y0 = Math.min(y0, v); y1 = Math.max(y1, v);
    }
    const [left, top, right, bottom] = pad;
    const k = this.clamp(Math.min((this.width - left - right) / Math.max(x1 - x0, 1e-6), (this.height - top - bottom) / Math.max(y1 - y0, 1e-6)));
    const u = (x0 + x1) / 2 - (left - right) / 2 / k, v = (y0 + y1) / 2 - this.f * (top - bottom) / 2 / k;
    this.view = { ...this.view, x: c * u + s * v, y: -s * u + c * v, k };
    this.draw();
  }

  clamp(k) { return Math.min(this.limits[1], Math.max(this.limits[0], k)); }

  zoom(factor, at = [this.width / 2, this.height / 2]) {
    this.moving();
    const before = this.toWorld(at);
    this.view.k = this.clamp(this.view.k * factor);
    const after = this.toWorld(at);
    this.view.x += before[0] - after[0];
    this.view.y += before[1] - after[1];
    this.draw();
  }

  pan(dx, dy) {
    this.moving();
    const a = this.toWorld([0, 0]), b = this.toWorld([dx, dy]);
    this.view.x -= b[0] - a[0];
    this.view.y -= b[1] - a[1];
    this.draw();
  }

  /** @param {ArrayLike<number>} p @param {number | null} k */
  show(p, k = null) {
    this.view.x = p[0];
    this.view.y = p[1];
    if (k) this.view.k = this.clamp(k);
    this.draw();
  }

  // ------------------------------------------------------------------------------------------ pointers

  down(e) {
    if (e.pointerType === 'mouse' && e.button !== 0 && e.button !== 1) return;
    this.canvas.focus({ preventScroll: true });
    try { this.canvas.setPointerCapture(e.pointerId); } catch { /* a pointer that is gone already */ }
    const p = this.at(e);
    this.pointers.set(e.pointerId, p);
    if (this.pointers.size === 1) {
      this.start = p;
      this.moved = false;
      this.type = e.pointerType;
      this.held = e.button === 1 ? null : this.grab(this.toWorld(p), p, e.pointerType === 'touch' ? SLOP_PX * 1.6 : SLOP_PX);
    } else if (this.pointers.size === 2) {
      if (this.held) { this.held.cancel?.(); this.held = null; }
      this.moved = true;
      this.pinch = this.spread();
    }
    e.preventDefault();
  }

  spread() {
    const [a, b] = [...this.pointers.values()];
    return { middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], size: Math.hypot(a[0] - b[0], a[1] - b[1]) || 1 };
  }

  move(e) {
    const p = this.at(e);
    if (!this.pointers.has(e.pointerId)) {
      if (this.onhover) this.onhover(this.toWorld(p), p);
      return;
    }
    const old = this.pointers.get(e.pointerId);
    this.pointers.set(e.pointerId, p);
    if (this.pointers.size >= 2 && this.pinch) {
      const now = this.spread();
      this.pan(now.middle[0] - this.pinch.middle[0], now.middle[1] - this.pinch.middle[1]);
      this.zoom(now.size / this.pinch.size, now.middle);
      this.pinch = now;
      return;
    }
    if (!this.moved && Math.hypot(p[0] - this.start[0], p[1] - this.start[1]) < (this.type === 'touch' ? 2 * TAP_PX : TAP_PX)) return;
    this.moved = true;
    if (this.held) this.held.move(this.toWorld(p), p);
    else this.pan(p[0] - old[0], p[1] - old[1]);
  }

  up(e, lost = false) {
    if (!this.pointers.has(e.pointerId)) return;
    const p = this.at(e);
    this.pointers.delete(e.pointerId);
    if (this.pointers.size) { this.pinch = this.pointers.size > 1 ? this.spread() : null; this.moved = true; return; }
    this.pinch = null;
    const held = this.held;
    this.held = null;
    if (held) {
      if (lost || !this.moved) held.cancel?.();
      else held.drop(this.toWorld(p));
      if (this.moved) return;
    }
    if (!lost && !this.moved) this.ontap(this.toWorld(p), p);
  }

  wheel(e) {
    e.preventDefault();
    const step = e.deltaMode === 1 ? 16 : e.deltaMode === 2 ? 400 : 1;
    this.zoom(Math.exp(-Math.max(-300, Math.min(300, e.deltaY * step)) * (e.ctrlKey ? 0.01 : 0.0016)), this.at(e));
  }

  key(e) {
    if (this.onkey(e)) { e.preventDefault(); return; }
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const step = (e.shiftKey ? 240 : 60) / (this.cross ? 6 : 1); // a point is placed more finely than a view is moved
    /** @type {Record<string, [number, number]>} */
    const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (moves[e.key]) this.pan(...moves[e.key]);
    else if (e.key === '+' || e.key === '=') this.zoom(1.3);
    else if (e.key === '-' || e.key === '_') this.zoom(1 / 1.3);
    else if (e.key === '0' || e.key === 'Home') this.fit();
    else if (e.key === 'Enter' && this.cross) this.ontap(this.toWorld([this.width / 2, this.height / 2]), [this.width / 2, this.height / 2]);
    else return;
    e.preventDefault();
  }

  // ------------------------------------------------------------------------------------------ drawing

  draw() {
    if (this.asked || this.closed) return;
    this.asked = requestAnimationFrame((now) => {
      this.asked = 0;
      const gap = now - this.drawn;
      this.drawn = now;
      if (this.rest && gap < 4 * REST_MS) this.pace += 0.3 * (gap - this.pace);
      this.rough = Boolean(this.rest) && (this.rough || this.pace > SLOW_MS);
      this.paint();
    });
  }

  moving() {
    if (!this.rest) this.pace = 16;
    clearTimeout(this.rest);
    this.rest = setTimeout(() => { this.rest = 0; if (this.rough) this.draw(); }, REST_MS);
  }

  paint() {
    if (this.closed) return;
    const started = performance.now();
    this.taken = [];
    const ctx = this.ctx;
    ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    ctx.fillStyle = this.background;
    ctx.fillRect(0, 0, this.width, this.height);
    for (const layer of this.layers) {
      if (layer.hidden) continue;
      ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
      ctx.globalAlpha = 1;
      layer.paint(ctx, this);
    }
    ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    if (this.cross && document.activeElement === this.canvas) {
      const [x, y] = [this.width / 2, this.height / 2];
      for (const [w, c] of /** @type {[number, string][]} */ ([[4, '#0009'], [1.5, '#fff']])) {
        ctx.lineWidth = w; ctx.strokeStyle = c; ctx.setLineDash([]);
        ctx.beginPath(); ctx.moveTo(x - 14, y); ctx.lineTo(x + 14, y); ctx.moveTo(x, y - 14); ctx.lineTo(x, y + 14); ctx.stroke();
      }
    }
    this.lastPaint = performance.now() - started;
  }
}
