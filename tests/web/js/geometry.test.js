// Plane geometry of the page against shapes whose answer is plain.

import assert from 'node:assert/strict';
import test from 'node:test';
import { apply, footOn, inside, inverse, upright, uprightMatrix, uprightSize } from '../../../phototemplate/web/static/geometry.js';

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
