// Plane geometry of the page against shapes whose answer is plain.

import assert from 'node:assert/strict';
import test from 'node:test';
import { apply, chain, footOn, inside, inverse, runsOf, upright, uprightMatrix, uprightSize } from '../../../phototemplate/web/static/geometry.js';

test('a matrix and its inverse', () => {
  const m = [0.6, -0.8, 1.6, 1.2, 11, -7];
  const p = apply(inverse(m), apply(m, [3, 4]));
  assert.ok(Math.hypot(p[0] - 3, p[1] - 4) < 1e-12);
});

test('corners of a stored picture after turning, by Exif 2.32, 4.6.5 A: where row 0 and column 0 are shown', () => {
  // the first stored pixel lies top-left, top-right, bottom-right, bottom-left, left-top, right-top, right-bottom, left-bottom
  const wanted = { 1: [0, 0], 2: [1, 0], 3: [1, 1], 4: [0, 1], 5: [0, 0], 6: [1, 0], 7: [1, 1], 8: [0, 1] };
  for (const [orientation, [x, y]] of Object.entries(wanted)) {
    const size = uprightSize([40, 30], Number(orientation));
    assert.deepEqual(apply(uprightMatrix([40, 30], Number(orientation)), [0, 0]), [x * size[0], y * size[1]], orientation);
  }
});

test('inside, and the foot on a path', () => {
  const l = [[0, 0], [4, 0], [4, 2], [2, 2], [2, 4], [0, 4]];
  assert.equal(inside(l, [1, 3]), true);
  assert.equal(inside(l, [3, 3]), false);
  assert.deepEqual(footOn([[0, 0], [10, 0]], [3, 4]), { d: 4, i: 0, s: 0.3 });
});

test('words are never upside down', () => {
  for (let a = -7; a < 7; a += 0.1) assert.ok(Math.abs(upright(a)) <= Math.PI / 2 + 1e-12);
});

const ENDS = new Map([
  ['front', [[0, 0], [2000, 0]]], ['end', [[2030, 10], [2030, 600]]], ['wall', [[0, 640], [2000, 640]]], ['left', [[0, 620], [0, 5]]],
  ['front2', [[5000, 0], [6000, 0]]], ['wall2', [[6000, 600], [5000, 600]]], ['side2', [[5000, 610], [5000, 0]]], ['lost', null],
]);

test('edges in their order round a run', () => {
  assert.deepEqual(chain(['front', 'wall', 'left', 'end', 'lost'], ENDS), ['front', 'end', 'wall', 'left', 'lost']);
});

const isWall = (id) => id.startsWith('wall');

test('two runs of a kitchen are two runs', () => {
  const runs = runsOf([...ENDS.keys()], ENDS, 150, isWall);
  assert.equal(runs.length, 2);
  assert.deepEqual(runs.map((r) => r.length), [4, 3]);
  assert.deepEqual(new Set(runs[1]), new Set(['front2', 'wall2', 'side2']));
});

test('one wall behind two runs is offered to both, and ties them not together', () => {
  // an L at the left and a straight run at the right of a range, as in the demo kitchen
  const ends = new Map([
    ['wall-left', [[0, 0], [0, -2200]]], ['end-left', [[0, -2200], [600, -2200]]], ['front-left', [[600, -2200], [600, -600]]],
    ['front-back', [[600, -600], [1416, -600]]], ['gap-left', [[1416, -600], [1416, -5]]], ['wall-back', [[3000, 0], [0, 0]]],
    ['gap-right', [[2179, -5], [2179, -600]]], ['front-right', [[2179, -600], [3000, -600]]], ['panel-right', [[3000, -600], [3000, -5]]],
  ]);
  const runs = runsOf([...ends.keys()], ends, 150, isWall).map((r) => new Set(r));
  assert.deepEqual(runs, [new Set(['end-left', 'front-left', 'front-back', 'gap-left', 'wall-left', 'wall-back']), new Set(['gap-right', 'front-right', 'panel-right', 'wall-back'])]);
});

test('a wall between two walls closes a U', () => {
  const ends = new Map([['front', [[100, -600], [1900, -600]]], ['wall-a', [[0, 0], [0, -600]]], ['wall-b', [[0, 0], [2000, 0]]], ['wall-c', [[2000, 0], [2000, -600]]]]);
  assert.deepEqual(new Set(runsOf([...ends.keys()], ends, 150, isWall)[0]), new Set(['front', 'wall-a', 'wall-b', 'wall-c']));
});

test('fronts that were not seen up to their corner meet there all the same', () => {
  const ends = new Map([['front-a', [[600, -2200], [600, -730]]], ['front-b', [[690, -600], [1416, -600]]], ['beyond', [[690, -300], [1416, -300]]]]);
  assert.deepEqual(runsOf([...ends.keys()], ends, 150, () => false).map((r) => r.length), [2, 1]);
});
