// Which edges form a run: ends are joined where their lines cross, the nearest first. Points are [x, y], lengths mm.

import { distanceOf, footOn, middle } from './geometry.js';

/** sine. Lines that cross at less than this have no corner. Convention: 17 degrees, flatter than any corner of a counter. */
const FLAT = 0.3;

/** @typedef {[Point, Point]} Ends */
/** @typedef {{a: string, i: number, b: string, j: number, cost: number, unseen: number}} Joint end i of a with end j of b; j is -1 on a wall */
/** @typedef {{near: number, far: number}} Reach how far an edge may run past a corner, and how far it may have gone unseen up to one */
/** @typedef {{ids: string[], open: {from: string, to: string, gap: [Point, Point], place: Point} | null, unseen: {a: string, b: string, mm: number}[]}} Run */

/**
 * Where the line through end i of one edge crosses that through end j of another: how far each has to be run on (negative: cut back).
 * @param {Ends} a @param {number} i @param {Ends} b @param {number} j @returns {[number, number] | null}
 */
function runOn(a, i, b, j) {
  const la = distanceOf(a[0], a[1]) || 1, lb = distanceOf(b[0], b[1]) || 1;
  const u = [(a[i][0] - a[1 - i][0]) / la, (a[i][1] - a[1 - i][1]) / la], v = [(b[j][0] - b[1 - j][0]) / lb, (b[j][1] - b[1 - j][1]) / lb];
  const cross = u[0] * v[1] - u[1] * v[0], w = [b[j][0] - a[i][0], b[j][1] - a[i][1]];
  return Math.abs(cross) < FLAT ? null : [(w[0] * v[1] - w[1] * v[0]) / cross, (w[0] * u[1] - w[1] * u[0]) / cross];
}

/** @param {string} a @param {number} i @param {string} b @param {number} j @param {Map<string, Ends>} ends @param {Reach} reach @returns {Joint | null} */
function corner(a, i, b, j, ends, reach) {
  const on = runOn(ends.get(a), i, ends.get(b), j);
  const gap = distanceOf(ends.get(a)[i], ends.get(b)[j]);
  if (!on) return gap < reach.near ? { a, i, b, j, cost: gap, unseen: 0 } : null;
  if (on.some((s) => s < -reach.near || s > reach.far)) return null;
  return { a, i, b, j, cost: Math.abs(on[0]) + Math.abs(on[1]), unseen: Math.max(0, ...on) > reach.near ? Math.max(...on) : 0 };
}

/** An end that runs up to a wall, anywhere along it. @param {string} a @param {number} i @param {string} wall @param {Map<string, Ends>} ends @param {Reach} reach @returns {Joint | null} */
function upTo(a, i, wall, ends, reach) {
  const w = ends.get(wall), on = runOn(ends.get(a), i, w, 1);
  if (!on || on[0] < -reach.near || on[0] > reach.far) return null;
  const beyond = Math.max(on[1], -distanceOf(w[0], w[1]) - on[1], 0);
  return beyond > reach.near ? null : { a, i, b: wall, j: -1, cost: Math.abs(on[0]) + beyond, unseen: on[0] > reach.near ? on[0] : 0 };
}

/** The walls from one to another that meet in corners, shortest way; empty where a corner is missing. @returns {string[]} */
function wallsBetween(from, to, walls, ends, reach) {
  const ways = [[from]];
  const seen = new Set([from]);
  for (const way of ways) {
    const last = way[way.length - 1];
    if (last === to) return way;
    for (const next of walls) {
      if (seen.has(next) || ![0, 1].some((i) => [0, 1].some((j) => corner(last, i, next, j, ends, reach)))) continue;
      seen.add(next);
      ways.push([...way, next]);
    }
  }
  return [];
}

/** @typedef {{last: string, at: Point, wall: string}} Side one side of an open run: its last edge, that edge's end, and the wall it reaches */

/**
 * The edge that is missing to a run: from an open end to what lies nearest of the other end and the walls, or between two walls that
 * do not meet. A wall counts where it leads round to that which the other side has reached.
 * @param {Side} a @param {Side} b @param {string[]} walls @param {Map<string, Ends>} ends @param {Reach} reach
 * @returns {{from: string, to: string, gap: [Point, Point]}}
 */
function missingEdge(a, b, walls, ends, reach) {
  /** @type {{from: string, to: string, gap: [Point, Point]}[]} */
  const ways = [];
  for (const [free, other] of [[a, b], [b, a]]) {
    if (free.wall) continue;
    if (!other.wall && (other.last !== free.last)) ways.push({ from: free.last, to: other.last, gap: [free.at, other.at] });
    for (const wall of walls) {
      if (other.wall && !wallsBetween(wall, other.wall, walls, ends, reach).length) continue;
      const w = ends.get(wall), { s } = footOn(w, free.at);
      ways.push({ from: free.last, to: wall, gap: [free.at, [w[0][0] + s * (w[1][0] - w[0][0]), w[0][1] + s * (w[1][1] - w[0][1])]] });
    }
  }
  if (a.wall && b.wall) for (const p of ends.get(a.wall)) for (const q of ends.get(b.wall)) ways.push({ from: a.wall, to: b.wall, gap: [p, q] });
  return ways.reduce((best, way) => (distanceOf(...way.gap) < distanceOf(...best.gap) ? way : best), ways[0] || { from: a.last, to: b.last, gap: [a.at, b.at] });
}

/**
 * Runs that edges form. Every end of a front, end or panel is joined once: to the end or the wall that it reaches first. A wall does
 * not tie runs together, for it goes on behind all of them; it is part of each. What is still open says between which edges.
 * @param {string[]} ids @param {Map<string, Ends | null>} measured ends of each edge @param {Reach} reach @param {(id: string) => boolean} isWall
 * @returns {Run[]}
 */
export function runsOf(ids, measured, reach, isWall) {
  const there = ids.filter((id) => measured.get(id));
  const ends = /** @type {Map<string, Ends>} */ (measured);
  const walls = there.filter(isWall), others = there.filter((id) => !isWall(id));
  /** @type {Joint[]} */
  const possible = [];
  for (const [k, a] of others.entries()) {
    for (const i of [0, 1]) {
      for (const b of others.slice(k + 1)) for (const j of [0, 1]) possible.push(corner(a, i, b, j, ends, reach));
      for (const wall of walls) possible.push(upTo(a, i, wall, ends, reach));
    }
  }
  /** @type {Map<string, {id: string, i: number, unseen: number}>} end -> what it is joined to */
  const joined = new Map();
  const key = (id, i) => `${i} ${id}`;
  for (const q of possible.filter(Boolean).sort((x, y) => x.cost - y.cost)) {
    if (joined.has(key(q.a, q.i)) || (q.j >= 0 && joined.has(key(q.b, q.j)))) continue;
    joined.set(key(q.a, q.i), { id: q.b, i: q.j, unseen: q.unseen });
    if (q.j >= 0) joined.set(key(q.b, q.j), { id: q.a, i: q.i, unseen: q.unseen });
  }
  /** From an edge, leaving it at end i: the edges in their order, and the wall or the open end at which they stop */
  const follow = (start, i) => {
    const out = [], unseen = [];
    let id = start, end = i;
    for (;;) {
      const next = joined.get(key(id, end));
      if (next?.unseen) unseen.push({ a: id, b: next.id, mm: next.unseen });
      if (!next || next.i < 0) return { out, unseen, last: id, at: ends.get(id)[end], wall: next?.id || '', round: false };
      if (next.id === start) return { out, unseen, last: id, at: ends.get(id)[end], wall: '', round: true };
      out.push(next.id);
      [id, end] = [next.id, 1 - next.i];
    }
  };
  const left = new Set(others);
  /** @type {Run[]} */
  const runs = [];
  for (const start of others) {
    if (!left.has(start)) continue;
    const onward = follow(start, 1), back = onward.round ? null : follow(start, 0);
    const chain = back ? [...back.out.reverse(), start, ...onward.out] : [start, ...onward.out];
    for (const id of chain) left.delete(id);
    const unseen = [...(back?.unseen || []), ...onward.unseen];
    if (!back) { runs.push({ ids: chain, open: null, unseen }); continue; }
    const between = onward.wall && back.wall ? wallsBetween(onward.wall, back.wall, walls, ends, reach) : [];
    const missing = between.length ? null : missingEdge(onward, back, walls, ends, reach);
    const open = missing && { ...missing, place: middle(missing.gap) };
    // the walls that the missing edge leads to belong to the run; the open place lies between the last and the first
    const [head, tail] = [onward, back].map((side) => side.wall || (missing && walls.includes(missing.to) && missing.from === side.last ? missing.to : ''));
    const round = between.length ? between : head && tail ? wallsBetween(head, tail, walls, ends, reach) : [];
    const own = round.length ? round : [...new Set([head, tail])].filter(Boolean);
    runs.push({ ids: [...chain, ...own], open, unseen });
  }
  return runs;
}

/** Edges that somebody put together, in their order round the run where that is plain, else as they were pressed. @param {string[]} ids @param {Map<string, Ends | null>} ends @param {(id: string) => boolean} isWall */
export function inOrder(ids, ends, isWall) {
  const runs = runsOf(ids, ends, { near: Infinity, far: Infinity }, isWall);
  return runs.length === 1 && !runs[0].open && runs[0].ids.length === ids.length ? runs[0].ids : ids;
}
