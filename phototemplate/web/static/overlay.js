// What is drawn over the top view, in the work frame (mm). Colours come from the style sheet; every meaning has a shape too.

import { OTHER_LINE_MM } from './constants.js';
import { away, boxOf, label, line, palette, projector, text } from './drawing.js';
import { centroid, footOn, middle, upright } from './geometry.js';
import { store, edgeOf, found, openProposals, tolerance } from './store.js';
import { t } from './text.js';
import { short, within, metric, inInch, fraction, largest } from './units.js';

export const ELLIPSE_SCALE = 50;

/** ratio. Upper limits of the classes as shares of the tolerance. Convention: output/report/marks.py has the same. */
export const CLASS_LIMITS = [0.25, 0.5, 1, 2];
export const CLASS_LETTERS = /** @type {const} */ (['a', 'b', 'c', 'd', 'e']);
export const dashes = { a: [], b: [], c: [14, 4], d: [7, 5], e: [2, 5] };
export const widths = { a: 5, b: 3, c: 4, d: 4, e: 5 };

/** Class of an uncertainty by its share of the tolerance, the last where none can be stated. @param {number | null} U @returns {'a' | 'b' | 'c' | 'd' | 'e'} */
export function classOf(U) {
  const i = U === null ? -1 : CLASS_LIMITS.findIndex((limit) => U / tolerance() <= limit * (1 + 1e-9));
  return CLASS_LETTERS[i < 0 ? CLASS_LIMITS.length : i];
}

// Stretches of equal class: [letter, first, last]
/** @param {Stretch} part */
function runsOf(part) {
  if (!part.runs || part.runsFor !== tolerance()) {
    part.runs = [];
    part.runsFor = tolerance();
    let start = 0;
    const classes = part.U.slice(1).map((u, i) => classOf(u === null || part.U[i] === null ? null : (u + part.U[i]) / 2));
    for (let i = 1; i <= classes.length; i++) {
      if (i < classes.length && classes[i] === classes[start]) continue;
      part.runs.push([classes[start], start, i]);
      start = i;
    }
  }
  return part.runs;
}

function pathsOf(part) {
  const runs = runsOf(part);
  if (part.pathsFor !== runs) {
    part.pathsFor = runs;
    part.paths = runs.map(([letter, i, j]) => {
      const path = new Path2D();
      part.xy.slice(i, j + 1).forEach(([x, y], n) => (n ? path.lineTo(x, y) : path.moveTo(x, y)));
      return [letter, path];
    });
  }
  return part.paths;
}

export class Sheets {
  hidden = false;

  paint(ctx, stage) {
    const result = store.result;
    if (!result) return;
    const at = projector(stage), c = palette();
    for (const s of result.sheets) {
      if (away(stage, at, boxOf(s, s.corners))) continue;
      const corners = s.corners.map(at);
      line(ctx, corners, { colour: c.sheet, width: 1.5, closed: true, casing: false });
      if (stage.view.k * 150 > 34) label(ctx, stage, s.id, at(s.centre), { colour: c.sheet, size: 12 });
    }
    for (const s of result.strips) {
      if (away(stage, at, boxOf(s, s.points))) continue;
      const points = s.points.map(at);
      ctx.fillStyle = c.strip;
      for (const [x, y] of points) ctx.fillRect(x - 2, y - 2, 4, 4);
      if (stage.view.k * 200 > 110) {
        const p = points[points.length >> 1];
        label(ctx, stage, s.id, [p[0], p[1] - 14], { colour: c.strip, size: 12 });
      }
    }
  }
}

export class Levels {
  hidden = false;

  paint(ctx, stage) {
    const at = projector(stage), c = palette();
    for (const h of store.result?.heights || []) {
      const [x, y] = at(h.xy);
      const size = Math.min(26, 9 + Math.abs(h.height) * 5);
      const high = h.height >= 0;
      ctx.beginPath();
      // up or down by shape, how much by size
      ctx.moveTo(x, y + (high ? -size : size));
      ctx.lineTo(x - size * 0.9, y + (high ? size * 0.6 : -size * 0.6));
      ctx.lineTo(x + size * 0.9, y + (high ? size * 0.6 : -size * 0.6));
      ctx.closePath();
      ctx.globalAlpha = 0.88;
      ctx.fillStyle = high ? c['level-high'] : c['level-low'];
      ctx.fill();
      ctx.globalAlpha = 1;
      ctx.lineWidth = 1.5;
      ctx.strokeStyle = c.paper;
      ctx.stroke();
      const value = `${high ? '+' : '−'}${Math.abs(h.height).toFixed(1)} mm`;
      text(ctx, value, [x, y + size + 12], { size: 13 });
      if (stage.view.k > 0.25 && h.U !== null) text(ctx, `± ${h.U.toFixed(1)}`, [x, y + size + 27], { size: 12, weight: 400 });
    }
  }
}

export class Edges {
  names = true;
  quiet = false;

  paint(ctx, stage) {
    const result = store.result;
    if (!result) return;
    const at = projector(stage), c = palette();
    const labels = [];
    // paths stay in mm and are made once; the canvas moves them, which is far quicker than moving every point
    const runs = { a: [], b: [], c: [], d: [], e: [] };
    for (const e of result.edges) {
      if (!e.found) continue;
      for (const part of [e, ...e.more]) {
        if (away(stage, at, boxOf(part, part.xy))) continue;
        if (e.id === store.selected) line(ctx, part.xy.map(at), { colour: c.pick, width: 13, casing: false });
        for (const [letter, path] of pathsOf(part)) runs[letter].push(path);
        if (this.names) labels.push([e, part]);
      }
    }
    const m = stage.matrix(), px = 1 / stage.view.k;
    ctx.save();
    ctx.transform(...m);
    ctx.lineCap = 'butt';
    ctx.lineJoin = 'round';
    ctx.globalAlpha = this.quiet ? 0.45 : 0.8;
    ctx.strokeStyle = c.paper;
    ctx.lineWidth = 8 * px;
    for (const path of Object.values(runs).flat()) ctx.stroke(path);
    ctx.globalAlpha = this.quiet ? 0.6 : 1;
    for (const [letter, paths] of Object.entries(runs)) {
      if (!paths.length) continue;
      ctx.strokeStyle = c[`class-${letter}`];
      ctx.lineWidth = (this.quiet ? Math.min(3, widths[letter]) : widths[letter]) * px;
      ctx.setLineDash(dashes[letter].map((d) => d * px));
      for (const path of paths) ctx.stroke(path);
    }
    ctx.restore();
    ctx.globalAlpha = 1;
    for (const loop of result.loops) for (const corner of loop.corners) this.ellipse(ctx, stage, at, corner, c);
    if (this.names) for (const one of labels) this.name(ctx, stage, at, ...one);
  }

  ellipse(ctx, stage, at, corner, c) {
    const [x, y] = at(corner.xy);
    if (x < -50 || y < -50 || x > stage.width + 50 || y > stage.height + 50 || corner.r[0] === null) return;
    const [rx, ry] = corner.r.map((r) => Math.max(2.5, r * ELLIPSE_SCALE * stage.view.k));
    const q = at([corner.xy[0] + Math.cos(corner.angle), corner.xy[1] + Math.sin(corner.angle)]);
    ctx.beginPath();
    ctx.ellipse(x, y, rx, ry, Math.atan2(q[1] - y, q[0] - x), 0, 2 * Math.PI);
    ctx.lineWidth = 3.5;
    ctx.strokeStyle = c.paper;
    ctx.stroke();
    ctx.lineWidth = 1.5;
    ctx.strokeStyle = c.ink;
    ctx.stroke();
  }

  name(ctx, stage, at, e, part) {
    const a = at(part.xy[0]), b = at(part.xy[part.xy.length - 1]);
    const size = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (size < 46 && e.id !== store.selected) return;
    const k = part.xy.length >> 1;
    const p = at(part.xy[Math.max(k - 1, 0)]), q = at(part.xy[Math.min(k + 1, part.xy.length - 1)]), mid = at(part.xy[k]);
    const angle = Math.atan2(q[1] - p[1], q[0] - p[0]);
    const out = [-Math.sin(angle) * 17, Math.cos(angle) * 17];
    const letters = [...new Set(runsOf(part).map((r) => r[0].toUpperCase()))].sort();
    const mark = letters.length === 1 ? letters[0] : `${letters[0]}–${letters[letters.length - 1]}`;
    const all = size > 190 && !this.quiet ? [`${e.id}  ${mark}  ${within(largest(part.U))}`] : [];
    for (const words of [...all, size > 90 && !this.quiet ? `${e.id} ${mark}` : e.id, e.id]) {
      for (const side of [1, -1]) if (label(ctx, stage, words, [mid[0] + side * out[0], mid[1] + side * out[1]], { angle: upright(angle) })) return;
    }
  }
}

// Edges that are only proposed
export class Proposals {
  hidden = false;
  present = ''; // key of the one that is asked about

  paint(ctx, stage) {
    const at = projector(stage), c = palette();
    for (const p of openProposals()) {
      const points = p.line.map(at), here = p.key === this.present;
      line(ctx, points, { colour: here ? c.pick : c.mark, width: here ? 6 : 4, dash: here ? [14, 5] : [1, 7] });
      const q = [(points[0][0] + points[points.length - 1][0]) / 2, (points[0][1] + points[points.length - 1][1]) / 2];
      label(ctx, stage, `${t(`kind.${p.kind}`)}?`, [q[0], q[1] - 14], { colour: c.mark, size: 15 });
    }
  }
}

// The hint of the chosen edge, its handles and what else could have been meant
export class Chosen {
  hidden = false;
  draft = null;

  paint(ctx, stage) {
    const id = store.selected;
    if (!id) return;
    const at = projector(stage), c = palette();
    const e = (store.result?.edges || []).find((x) => x.id === id);
    if (!e) return;
    for (const [k, candidate] of (e.candidates || []).entries()) {
      if (candidate.choose === null || Math.abs(candidate.offset) > OTHER_LINE_MM) continue;
      const points = candidate.xy.map(at);
      line(ctx, points, { colour: c.mark, width: 1.5, dash: [3, 4] });
      if (stage.view.k * Math.abs(candidate.offset) > 10) text(ctx, String(k + 1), points[points.length >> 1], { size: 13, colour: c.mark });
    }
    const spec = edgeOf(id);
    if (!spec || spec.source !== 'trace') return;
    const path = this.draft || e.hint;
    if (!path) return;
    const points = path.map(at);
    line(ctx, points, { colour: c.hint, width: 1.5, dash: [2, 3] });
    for (const [x, y] of points) {
      ctx.beginPath();
      ctx.rect(x - 6, y - 6, 12, 12);
      ctx.fillStyle = c.paper;
      ctx.fill();
      ctx.lineWidth = 2.5;
      ctx.strokeStyle = c.hint;
      ctx.stroke();
    }
  }
}

export class Stone {
  hidden = false;
  sizes = true;
  selected = ''; // id of a piece
  place = ''; // name of a size that is shown though it is no edge

  paint(ctx, stage) {
    const stone = store.result?.stone;
    if (!stone?.pieces) return;
    const at = projector(stage), c = palette();
    const shape = (points) => {
      ctx.beginPath();
      points.map(at).forEach(([x, y], i) => (i ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
      ctx.closePath();
    };
    for (const a of stone.appliances) { shape(a.shape); ctx.setLineDash([6, 4]); ctx.lineWidth = 1.5; ctx.strokeStyle = c.sheet; ctx.stroke(); ctx.setLineDash([]); }
    for (const piece of stone.pieces) {
      shape(piece.shape);
      ctx.globalAlpha = piece.id === this.selected ? 0.3 : 0.17;
      ctx.fillStyle = c.stone;
      ctx.fill();
      ctx.globalAlpha = 1;
      line(ctx, piece.shape.map(at), { colour: c.stone, width: 2.5, closed: true });
      for (const hole of piece.cutouts) line(ctx, hole.shape.map(at), { colour: c.stone, width: 2, closed: true });
      for (const hole of piece.holes) {
        const [x, y] = at(hole.centre);
        ctx.beginPath();
        ctx.arc(x, y, Math.max(2, hole.diameter / 2 * stage.view.k), 0, 7);
        ctx.stroke();
      }
    }
    const name = (words, [x, y], style) => [0, 20, -20].some((dy) => label(ctx, stage, words, [x, y + dy], style));
    for (const piece of stone.pieces) name(piece.id, at(centroid(piece.shape)), { size: 15, colour: c.stone });
    for (const seam of stone.seams) {
      line(ctx, [at(seam.start), at(seam.end)], { colour: c.seam, width: 3, dash: [12, 4, 2, 4] });
      name(seam.id, at(middle([seam.start, seam.end])), { colour: c.seam });
    }
    for (const centre of stone.centres || []) {
      line(ctx, [at(centre.start), at(centre.end)], { colour: c.sheet, width: 1.5, dash: [16, 4, 3, 4] });
      name(centre.id, at(centre.end), { colour: c.sheet });
    }
    for (const p of stone.proposals) line(ctx, [at(p.start), at(p.end)], { colour: c.seam, width: 1.5, dash: [2, 6] });
    if (this.sizes) for (const piece of stone.pieces) for (const size of piece.sizes) this.size(ctx, stage, at, size, c);
    if (this.sizes) for (const size of stone.opening_sizes) this.size(ctx, stage, at, size, c);
  }

  size(ctx, stage, at, size, c) {
    if (size.unit !== 'mm' || (size.group !== 'edge' && size.group !== 'opening' && size.group !== 'cut-out' && size.name !== this.place)) return;
    const a = at(size.start), b = at(size.end);
    const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (long < 64) return;
    const angle = Math.atan2(b[1] - a[1], b[0] - a[0]);
    const away = size.group === 'edge' ? 16 : 9;
    const n = [Math.sin(angle) * -away, Math.cos(angle) * away];
    const full = long > 170 && !size.decided && size.U ? [`${short(size.value)} ${within(size.U)}`] : [];
    const written = [...full, short(size.value)].some((words) => [1, -1, 2, -2].some((side) => label(ctx, stage, words,
      [(a[0] + b[0]) / 2 + side * n[0], (a[1] + b[1]) / 2 + side * n[1]], { angle: upright(angle), colour: c.stone })));
    if (!written) return;
    if (size.group !== 'edge') line(ctx, [a, b], { colour: c.stone, width: 1, dash: [1, 3], casing: false });
  }
}

// Edges pressed for a run that is being made
export class RunDraft {
  hidden = false;
  /** @type {string[]} */
  ids = [];

  paint(ctx, stage) {
    const at = projector(stage), c = palette();
    for (const [k, id] of this.ids.entries()) {
      const e = found(id);
      if (!e) continue;
      const points = e.xy.map(at);
      line(ctx, points, { colour: c.pick, width: 9 });
      label(ctx, stage, String(k + 1), points[points.length >> 1], { size: 16, colour: c.ink });
    }
  }
}

// A path being drawn, or the two ends of a distance
export class Draft {
  points = [];
  words = '';
  live = null;
  /** @type {Point[]} about where the line that is asked for may lie */
  guide = [];

  paint(ctx, stage) {
    const at = projector(stage), c = palette();
    if (this.guide.length) line(ctx, this.guide.map(at), { colour: c.pick, width: 2, dash: [2, 8] });
    const points = [...this.points, ...(this.live && this.points.length ? [this.live] : [])].map(at);
    line(ctx, points, { colour: c.hint, width: 2.5, dash: this.words ? [] : [5, 4] });
    for (const p of this.points.map(at)) {
      ctx.beginPath();
      ctx.arc(p[0], p[1], 6, 0, 7);
      ctx.fillStyle = c.paper;
      ctx.fill();
      ctx.lineWidth = 2.5;
      ctx.strokeStyle = c.hint;
      ctx.stroke();
      ctx.fillStyle = c.hint;
      ctx.fillRect(p[0] - 1, p[1] - 1, 2, 2);
    }
    if (this.words && points.length > 1) {
      const [a, b] = points;
      text(ctx, this.words, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2 - 16], { size: 15, colour: c.ink });
    }
  }
}

export class Ruler {
  paint(ctx, stage) {
    const c = palette();
    const nice = inInch() ? [1, 2, 6, 12, 24, 48, 96].map((n) => n * 25.4) : [10, 20, 50, 100, 200, 500, 1000, 2000];
    const size = nice.find((n) => n * stage.view.k > 70) || nice[nice.length - 1];
    const px = size * stage.view.k, x = stage.width - px - 20, y = stage.height - (stage.lift || 20);
    line(ctx, [[x, y - 6], [x, y], [x + px, y], [x + px, y - 6]], { colour: c.ink, width: 2 });
    text(ctx, inInch() ? `${fraction(size)} · ${metric(size, 0)}` : `${metric(size, 0)} · ${fraction(size)}`, [x + px / 2, y - 14], { size: 12 });
  }
}

// Nearest thing to a place on the screen: corner, then edge
/** @returns {Near | null} */
export function nearest(stage, p, reach = 14) {
  const at = projector(stage);
  /** @type {Near | null} */
  let best = null;
  for (const loop of store.result?.loops || []) {
    for (const [k, corner] of loop.corners.entries()) {
      const q = at(corner.xy), d = Math.hypot(q[0] - p[0], q[1] - p[1]);
      if (d < reach && (!best || d < best.d)) best = { kind: 'corner', loop: loop.id, corner: k, xy: corner.xy, d };
    }
  }
  if (best) return best;
  for (const e of store.result?.edges || []) {
    if (!e.found) continue;
    for (const part of [e, ...e.more]) {
      const { d, i, s } = footOn(part.xy.map(at), p);
      if (d >= reach || (best && d >= best.d)) continue;
      const w = part.xy[i], v = part.xy[i + 1];
      best = { kind: 'edge', edge: e.id, xy: [w[0] + s * (v[0] - w[0]), w[1] + s * (v[1] - w[1])], d };
    }
  }
  return best;
}
