// Runs that edges form, against kitchens whose runs are plain.

import assert from 'node:assert/strict';
import test from 'node:test';
import { inOrder, runsOf } from '../../../phototemplate/web/static/joining.js';

const REACH = { near: 150, far: 900 };
const isWall = (id) => id.startsWith('wall');
const runs = (ends) => runsOf([...ends.keys()], ends, REACH, isWall);
/** The same edges in the same order round, begun anywhere and gone either way */
function sameRound(ids, wanted) {
  const k = ids.indexOf(wanted[0]), turned = [...ids.slice(k), ...ids.slice(0, k)];
  assert.deepEqual(turned[1] === wanted[1] ? turned : [turned[0], ...turned.slice(1).reverse()], wanted);
}

const TWO = new Map([
  ['front', [[0, 0], [2000, 0]]], ['end', [[2030, 10], [2030, 600]]], ['wall', [[0, 640], [2000, 640]]], ['left', [[0, 620], [0, 5]]],
  ['front2', [[5000, 0], [6000, 0]]], ['wall2', [[6000, 600], [5000, 600]]], ['side2', [[5000, 610], [5000, 0]]], ['lost', null],
]);

test('two runs of a kitchen are two runs, and where an edge is missing it is said between which', () => {
  const [one, two, ...more] = runs(TWO);
  assert.deepEqual(more, []);
  sameRound(one.ids, ['front', 'end', 'wall', 'left']);
  assert.equal(one.open, null);
  assert.deepEqual(new Set(two.ids), new Set(['front2', 'wall2', 'side2']));
  assert.deepEqual(new Set([two.open.from, two.open.to]), new Set(['front2', 'wall2']));
  // the end at the right is missing, from the front to the wall behind it
  assert.deepEqual(two.open.gap.map((p) => p[0]), [6000, 6000]);
  assert.deepEqual(new Set(two.open.gap.map((p) => p[1])), new Set([0, 600]));
});

const demo = (seen = {}) => new Map(Object.entries({
  'wall-left': [[0, 0], [0, -2200]], 'end-left': [[50, -2200], [600, -2200]], 'front-left': [[600, -2200], [600, -600]],
  'front-back': [[600, -600], [1416, -600]], 'gap-left': [[1416, -600], [1416, -35]], 'wall-back': [[3000, 0], [0, 0]],
  'gap-right': [[2179, -5], [2179, -600]], 'front-right': [[2179, -600], [3000, -600]], 'panel-right': [[3000, -600], [3000, -5]], ...seen,
}));
const LEFT = ['end-left', 'front-left', 'front-back', 'gap-left', 'wall-back', 'wall-left'];

test('one wall behind two runs is offered to both, and ties them not together', () => {
  const [left, right, ...more] = runs(demo());
  assert.deepEqual(more, []);
  sameRound(left.ids, LEFT);
  sameRound(right.ids, ['gap-right', 'front-right', 'panel-right', 'wall-back']);
  assert.ok(!left.open && !right.open);
  assert.deepEqual(left.unseen, []);
});

test('fronts that were not seen up to their inner corner meet there all the same, and that is said', () => {
  // as the photos of a kitchen showed them: the cabinet in the corner stood a little lower
  const [left] = runs(demo({ 'front-left': [[600, -2185], [600, -720]], 'front-back': [[1018, -600], [1408, -602]] }));
  sameRound(left.ids, LEFT);
  assert.equal(left.open, null);
  assert.equal(left.unseen.length, 1);
  assert.ok(Math.abs(left.unseen[0].mm - 418) < 2);
});

test('a missing end is looked for between the front and the wall behind it, not along the front', () => {
  const ends = demo({ 'front-back': [[690, -600], [1416, -600]] });
  ends.delete('gap-left');
  const left = runs(ends).find((r) => r.ids.includes('front-left'));
  assert.deepEqual([left.open.from, left.open.to], ['front-back', 'wall-back']);
  assert.deepEqual(left.open.gap, [[1416, -600], [1416, 0]]);
  assert.deepEqual(new Set(left.ids), new Set(['end-left', 'front-left', 'front-back', 'wall-back', 'wall-left']));
});

test('ends on both sides of a range are not one edge', () => {
  const found = runs(new Map([['gap-left', [[1416, -600], [1416, -5]]], ['gap-right', [[2179, -5], [2179, -600]]]]));
  assert.equal(found.length, 2);
  assert.ok(found.every((r) => r.open));
});

test('a wall between two walls closes a U; without its corner it is open', () => {
  const ends = new Map([['front', [[100, -600], [1900, -600]]], ['wall-a', [[0, 0], [0, -600]]], ['wall-b', [[0, 0], [2000, 0]]], ['wall-c', [[2000, 0], [2000, -600]]]]);
  sameRound(runs(ends)[0].ids, ['front', 'wall-a', 'wall-b', 'wall-c']);
  ends.delete('wall-b');
  assert.ok(runs(ends)[0].open);
});

test('an island is a run of its own', () => {
  const ends = new Map([['a', [[0, 0], [1000, 0]]], ['b', [[0, 700], [1000, 700]]], ['c', [[0, 30], [0, 660]]], ['d', [[1000, 690], [1000, 12]]]]);
  sameRound(runs(ends)[0].ids, ['a', 'd', 'b', 'c']);
});

test('what was pressed is put in order however it was pressed, and left alone where no order is plain', () => {
  const pressed = ['gap-left', 'wall-left', 'front-left', 'wall-back', 'end-left', 'front-back'];
  sameRound(inOrder(pressed, demo(), isWall), LEFT);
  assert.deepEqual(inOrder(['front-left', 'lost', 'end-left'], new Map([...demo(), ['lost', null]]), isWall), ['front-left', 'lost', 'end-left']);
});
