// What can be put together next: the runs that the edges found so far form, and what is missing to close one.

import { JOINING_MM } from './constants.js';
import { inOrder, runsOf } from './joining.js';
import { store, edges, endsOf, found } from './store.js';

/** @typedef {import('./joining.js').Run} Run */

const loops = () => store.job.loops || [];
const isWall = (id) => found(id)?.kind === 'wall';

/** Runs that are not there yet, first those that close; a wall beside two of them is offered to both. @returns {Run[]} */
export function offers() {
  const used = new Set(loops().flatMap((l) => l.edges));
  const ids = edges().map((e) => e.id).filter((id) => found(id) && (isWall(id) || !used.has(id)));
  return runsOf(ids, endsOf(ids), JOINING_MM, isWall).filter((run) => run.ids.length > 1).sort((a, b) => Number(!!a.open) - Number(!!b.open));
}

/** Where a run is open, as its edges lie. @param {string[]} ids */
export const openPlace = (ids) => runsOf(ids, endsOf(ids), JOINING_MM, isWall).find((run) => run.open)?.open || null;

/** Edges of one run in their order. @param {string[]} ids */
export const orderOf = (ids) => inOrder(ids, endsOf(ids), isWall);

/** What an edge that closes a run most likely is, by what it lies between. @param {{from: string, to: string}} open */
export function kindBetween({ from, to }) {
  const walls = [from, to].filter(isWall).length;
  if (walls === 2) return 'wall';
  return !walls && [from, to].some((id) => ['end', 'panel'].includes(found(id)?.kind)) ? 'front' : 'end';
}

/** An edge to be drawn on the page of edges, asked for on another page. @type {{kind: string, place: Point, gap: Point[], from: string, to: string} | null} */
let wanted = null;

/** @param {{from: string, to: string, gap: Point[], place: Point}} open */
export function drawBetween(open) {
  wanted = { kind: kindBetween(open), ...open };
  location.hash = 'edges';
}

export function takeWanted() {
  const now = wanted;
  wanted = null;
  return now;
}
