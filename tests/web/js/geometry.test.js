// Plane geometry of the page against shapes whose answer is plain.

import assert from 'node:assert/strict';
import test from 'node:test';
import { centroid, apply, facing, footOn, inside, inverse, upright, uprightMatrix, uprightSize } from '../../../phototemplate/web/static/geometry.js';

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

test('ends beside a range face each other, left and right as seen from the room', () => {
  // wall at y = 0, room at negative y, as in the demo kitchen
  const front = [0, -1];
  const ends = [
    { id: 'gap-right', ends: [[2179, -5], [2179, -600]], inside: [2600, -300], front },
    { id: 'gap-left', ends: [[1416, -600], [1416, -5]], inside: [1000, -300], front },
    { id: 'end-left', ends: [[50, -2200], [600, -2200]], inside: [1000, -300], front: [1, 0] },
    { id: 'far-right', ends: [[3000, -5], [3000, -600]], inside: [2600, -300], front },
  ];
  const [gap, ...more] = facing(ends, 250, 1600);
  assert.deepEqual(more, []);
  assert.deepEqual([gap.a, gap.b, gap.gap], ['gap-left', 'gap-right', 763]);
  assert.deepEqual(gap.place, [1797.5, -302.5]);
});

test('the middle of an L is that of its two rectangles', () => {
  // 4 x 1 and 1 x 2 above it: (4 * (2, 0.5) + 2 * (0.5, 2)) / 6
  const [x, y] = centroid([[0, 0], [4, 0], [4, 1], [1, 1], [1, 3], [0, 3]]);
  assert.ok(Math.abs(x - 9 / 6) < 1e-12 && Math.abs(y - 1) < 1e-12);
  assert.deepEqual(centroid([[1, 1], [3, 1]]), [2, 1]); // no area
});
