// Stone by hand: a sink, seam, opening, splash or post is placed by pressing the edge it belongs to, and dragged along it.

import { APPLIANCE_GAP_MM, PLACED_MM, SNAP_IN_MM, SNAP_MM } from './constants.js';
import { label, line, palette, projector } from './drawing.js';
import { distanceOf, facing, footOn, middle } from './geometry.js';
import { nearest } from './overlay.js';
import { store, edit, found, freeName } from './store.js';
import { LISTS } from './things.js';
import { inInch, short } from './units.js';
import { t } from './text.js';

/** What can be placed; `list` is where it stands in the job file (of the piece, or of the job), `edge` that the whole edge is meant. */
export const PLACEABLE = {
  sink: { list: 'cutouts', make: () => ({ kind: 'sink', setback: PLACED_MM.setback, width: PLACED_MM.sink[0], depth: PLACED_MM.sink[1] }) },
  cooktop: { list: 'cutouts', make: () => ({ kind: 'cooktop', setback: PLACED_MM.setback, width: PLACED_MM.cooktop[0], depth: PLACED_MM.cooktop[1] }) },
  seam: { list: 'seams', make: () => ({}) },
  range: { list: 'openings', ofJob: true, make: () => ({ width: PLACED_MM.range }) },
  splash: { list: 'splashes', edge: true, make: () => ({}) },
  dishwasher: { list: 'appliances', ofJob: true, make: () => ({}) },
  centre: { list: 'centre_lines', ofJob: true, make: () => ({}) },
  post: { list: 'posts', make: () => ({ setback: PLACED_MM.post[0], diameter: PLACED_MM.post[1] }) },
};

/** The piece and the run that an edge belongs to. @param {string} id */
function pieceOf(id) {
  const piece = (store.job.pieces || []).find((p) => (store.job.loops || []).find((l) => l.id === p.loop)?.edges.includes(id));
  const loop = piece && store.job.loops.find((l) => l.id === piece.loop);
  return piece ? { piece, loop } : null;
}

/** The neighbours of an edge in its run, from which a place along it is counted. @param {LoopSpec} loop @param {string} id */
function neighbours(loop, id) {
  const k = loop.edges.indexOf(id), n = loop.edges.length;
  return [loop.edges[(k + n - 1) % n], loop.edges[(k + 1) % n]].filter((x) => x !== id && found(x));
}

const snap = (mm) => { const step = inInch() ? SNAP_IN_MM : SNAP_MM; return Math.round(mm / step) * step; };

/** Distance of a place from the line of an edge, along the front. @param {string} id @param {Point} p */
function from(id, p) {
  const e = found(id), a = e.xy[0], b = e.xy[e.xy.length - 1];
  return Math.abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / (distanceOf(a, b) || 1);
}

/** Where along an edge a place is, counted from the nearer neighbour. @param {string} id @param {Point} p */
function along(id, p) {
  const { loop } = pieceOf(id);
  const sides = neighbours(loop, id).sort((a, b) => from(a, p) - from(b, p));
  return sides.length ? { edge: sides[0], distance: snap(from(sides[0], p)) } : null;
}

/** Place what was chosen on the edge that was pressed. True where something was pressed. @param {any} plan @param {string} what @param {Point} p screen */
export function place(plan, what, p) {
  const thing = nearest(plan.stage, p, 22);
  const owner = thing?.kind === 'edge' ? pieceOf(thing.edge) : null;
  if (!owner) return false;
  const { list, ofJob, edge, make } = PLACEABLE[what];
  const at = ofJob ? [list] : ['pieces', { id: owner.piece.id }, list];
  const taken = (ofJob ? store.job[list] || [] : owner.piece[list] || []).map((x) => x.id);
  const way = edge ? null : along(thing.edge, thing.xy);
  if (!edge && !way) return false;
  const id = freeName(what, taken);
  edit(`add-${LISTS[list].thing}`, id, [{ op: 'add', at, value: { id, ...(edge ? { edge: thing.edge } : { run: thing.edge, along: way }), ...make() } }]);
  return true;
}

/**
 * Gaps between two tops that no opening is said for yet, with the front along which one would lie.
 * @returns {{a: string, b: string, gap: number, place: Point, run: string}[]}
 */
export function gaps() {
  const ends = [], fronts = new Map();
  for (const piece of store.job.pieces || []) {
    const loop = (store.job.loops || []).find((l) => l.id === piece.loop);
    const there = (loop?.edges || []).filter((id) => found(id));
    if (!there.length) continue;
    const inside = middle(there.map((id) => middle(found(id).xy)));
    for (const id of there.filter((x) => ['end', 'panel', 'opening'].includes(found(x).kind) && !piece.edges?.[x]?.side_of)) {
      const run = neighbours(loop, id).find((x) => found(x).kind === 'front');
      if (!run) continue;
      const [p, q] = [found(run).xy[0], found(run).xy[found(run).xy.length - 1]], n = [q[1] - p[1], p[0] - q[0]];
      const sign = Math.sign((inside[0] - p[0]) * n[0] + (inside[1] - p[1]) * n[1]) || 1;
      fronts.set(id, { run, piece: piece.id });
      ends.push({ id, ends: /** @type {[Point, Point]} */ ([found(id).xy[0], found(id).xy[found(id).xy.length - 1]]), inside, front: /** @type {Point} */ ([-sign * n[0], -sign * n[1]]) });
    }
  }
  const [least, most] = APPLIANCE_GAP_MM;
  return facing(ends, least, most).filter((g) => fronts.get(g.a).piece !== fronts.get(g.b).piece).map((g) => ({ ...g, run: fronts.get(g.a).run }));
}

/** An opening in a gap, with both tops ending at it, as one step. @param {ReturnType<typeof gaps>[number]} gap */
export function openGap(gap) {
  const id = freeName('range', (store.job.openings || []).map((o) => o.id));
  const side = (edge, which) => {
    const { piece } = pieceOf(edge), wish = piece.edges?.[edge] || {};
    return { op: 'set', at: ['pieces', { id: piece.id }, 'edges', edge], value: { ...wish, side_of: `${id}/${which}` } };
  };
  return edit('add-opening', id, [
    { op: 'add', at: ['openings'], value: { id, run: gap.run, width: Math.min(PLACED_MM.range, Math.floor(gap.gap)), along: { between: [gap.a, gap.b] } } },
    side(gap.a, 'left'), side(gap.b, 'right')]);
}

/** Everything that can be dragged: where its handle is, and where in the job file its place stands. */
function handles() {
  const stone = store.result?.stone;
  const out = [];
  const foot = (run, p) => { const e = found(run); if (!e) return null; const { i, s } = footOn(e.xy, p); const a = e.xy[i], b = e.xy[i + 1]; return /** @type {Point} */ ([a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]); };
  const ofJob = (list, one, place) => { const p = place && Number.isFinite(place[0]) && foot(one.run, place); if (p) out.push({ id: one.id, run: one.run, p, at: [list, { id: one.id }, 'along'], key: `edit-${LISTS[list].thing}` }); };
  for (const piece of store.job.pieces || []) {
    // a post is cut like anything else that passes through
    for (const [list, c] of [...(piece.cutouts || []).map((x) => ['cutouts', x]), ...(piece.posts || []).filter((x) => x.run).map((x) => ['posts', x])]) {
      const made = (stone?.pieces || []).flatMap((p) => p.cutouts).find((x) => x.id === c.id);
      const p = made && foot(c.run, made.centre);
      if (p) out.push({ id: c.id, run: c.run, p, at: ['pieces', { id: piece.id }, list, { id: c.id }, 'along'], key: `edit-${LISTS[list].thing}` });
    }
    for (const s of piece.seams || []) {
      const made = s.run && (stone?.seams || []).find((x) => x.id === s.id);
      const p = made && foot(s.run, distanceOf(made.start, foot(s.run, made.start)) < distanceOf(made.end, foot(s.run, made.end)) ? made.start : made.end);
      if (p) out.push({ id: s.id, run: s.run, p, at: ['pieces', { id: piece.id }, 'seams', { id: s.id }, 'along'], key: 'edit-seam' });
    }
  }
  for (const o of store.job.openings || []) {
    const size = (stone?.opening_sizes || []).find((x) => x.name.split(/\s/).includes(o.id));
    ofJob('openings', o, size && middle([size.start, size.end]));
  }
  for (const a of store.job.appliances || []) ofJob('appliances', a, middle((stone?.appliances || []).find((x) => x.id === a.id)?.shape || []));
  for (const c of store.job.centre_lines || []) { const made = (stone?.centres || []).find((x) => x.id === c.id); ofJob('centre_lines', c, made && middle([made.start, made.end])); }
  return out;
}

/** Take hold of a handle; the number runs along beside the finger. @param {any} plan @param {Point} world @param {Point} p @param {number} reach @returns {Held | null} */
export function grab(plan, world, p, reach) {
  const layer = plan.parts.hand;
  const one = handles().find((q) => distanceOf(plan.stage.toScreen(q.p), p) < reach);
  if (!one) return null;
  const shift = [one.p[0] - world[0], one.p[1] - world[1]];
  let way = null;
  return {
    move: (w) => {
      const e = found(one.run), q = /** @type {Point} */ ([w[0] + shift[0], w[1] + shift[1]]);
      const { i, s } = footOn(e.xy, q), a = e.xy[i], b = e.xy[i + 1];
      const here = /** @type {Point} */ ([a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]);
      way = along(one.run, here);
      layer.held = way ? { p: here, words: `${short(way.distance)} ${t('stone.from', { name: way.edge })}` } : null;
      plan.stage.draw();
    },
    drop: () => { layer.held = null; if (way) edit(one.key, one.id, [{ op: 'set', at: one.at, value: way }]); plan.stage.draw(); },
    cancel: () => { layer.held = null; plan.stage.draw(); },
  };
}

// The handles, and the number of the one that is held
export class Hand {
  hidden = false;
  /** @type {{p: Point, words: string} | null} */
  held = null;

  paint(ctx, stage) {
    const at = projector(stage), c = palette();
    for (const one of handles()) {
      const [x, y] = at(one.p);
      line(ctx, [[x - 9, y], [x + 9, y]], { colour: c.seam, width: 3 });
      ctx.beginPath();
      ctx.arc(x, y, 8, 0, 7);
      ctx.fillStyle = c.paper;
      ctx.fill();
      ctx.lineWidth = 3;
      ctx.strokeStyle = c.seam;
      ctx.stroke();
    }
    if (!this.held) return;
    const [x, y] = at(this.held.p);
    ctx.beginPath();
    ctx.arc(x, y, 12, 0, 7);
    ctx.strokeStyle = c.pick;
    ctx.lineWidth = 5;
    ctx.stroke();
    label(ctx, stage, this.held.words, [x, y - 34], { size: 16 });
  }
}
