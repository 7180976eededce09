// The ends of the chosen edge's rough line: dragged by mouse or finger, moved by the arrow keys, tied to a sheet when let go.

import { post } from './api.js';
import { notice } from './dom.js';
import { distanceOf } from './geometry.js';
import { store, edit, edgeOf } from './store.js';

const STEP_MM = 1; // of an arrow key; with Shift ten times as much
const DRAFT_MS = 1500; // the moved line stays until the new result is here, at the latest this long

/** What changes in the job file when an edge gets another rough line. */
export const movedTo = (id, anchored) => [
  { op: 'set', at: ['edges', { id }, 'sheet'], value: anchored.sheet }, { op: 'set', at: ['edges', { id }, 'path'], value: anchored.path },
  { op: 'set', at: ['edges', { id }, 'photo'], value: null }, { op: 'set', at: ['edges', { id }, 'choose'], value: null },
];

/** @returns {Point[] | null} */
function pathOf(id) {
  const e = (store.result?.edges || []).find((x) => x.id === id);
  return edgeOf(id)?.source === 'trace' && e?.hint ? e.hint : null;
}

export class Handles {
  /** @param {{stage: import('./canvas.js').Stage, chosen: any, loupe: any, hint: () => void}} view */
  constructor({ stage, chosen, loupe, hint }) {
    this.stage = stage;
    this.chosen = chosen;
    this.loupe = loupe;
    this.hint = hint;
    /** @type {{id: string, k: number, path: Point[]} | null} the end that the keyboard moves */
    this.nudged = null;
  }

  /** @param {Point} world @param {Point} p @param {number} reach @returns {Held | null} */
  grab(world, p, reach) {
    const id = store.selected, path = pathOf(id);
    const k = path ? path.findIndex((q) => distanceOf(this.stage.toScreen(q), p) < reach) : -1;
    if (k < 0) return null;
    const start = path[k], shift = [start[0] - world[0], start[1] - world[1]];
    const next = path.map((q) => /** @type {Point} */ ([...q]));
    const low = p[1] < this.stage.height * 0.45; // the pictures beside it stand where the finger is not
    this.loupe.show(start, low);
    return {
      move: (w) => { next[k] = [w[0] + shift[0], w[1] + shift[1]]; this.chosen.draft = next; this.loupe.show(next[k], low); this.stage.draw(); },
      drop: () => { this.loupe.hide(); this.commit(id, next); },
      cancel: () => { this.loupe.hide(); this.chosen.draft = null; this.stage.draw(); },
    };
  }

  async commit(id, path) {
    try {
      const anchored = await post('/api/ask/anchor', { path });
      this.chosen.draft = path;
      await edit('move-edge', id, movedTo(id, anchored));
    } catch (error) { notice(error.sentence || String(error), 'error'); }
    setTimeout(() => { this.chosen.draft = null; this.stage.draw(); }, DRAFT_MS);
  }

  /** Move an end by keyboard: arrows move it, Enter keeps it, Escape gives up. */
  nudge(id, k) {
    const path = pathOf(id);
    if (!path) return;
    this.nudged = { id, k, path: path.map((q) => /** @type {Point} */ ([...q])) };
    this.chosen.draft = this.nudged.path;
    this.stage.show(path[k], Math.max(this.stage.view.k, 0.6));
    this.loupe.show(path[k]);
    this.hint();
    this.stage.canvas.focus({ preventScroll: true });
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    if (!this.nudged) return false;
    const { id, k, path } = this.nudged;
    const step = e.shiftKey ? 10 * STEP_MM : STEP_MM;
    const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[e.key];
    if (by) {
      const c = Math.cos(this.stage.view.turn), s = Math.sin(this.stage.view.turn);
      path[k] = [path[k][0] + by[0] * c + by[1] * s, path[k][1] - by[0] * s + by[1] * c];
      this.loupe.show(path[k]);
    } else if (e.key === 'Enter' || e.key === 'Escape') {
      this.nudged = null;
      this.loupe.hide();
      if (e.key === 'Enter') this.commit(id, path); else this.chosen.draft = null;
      this.hint();
    } else return false;
    this.stage.draw();
    return true;
  }
}
