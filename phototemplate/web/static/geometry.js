// Plane geometry without state: matrices of the canvas, shapes, edges in their order. Points are [x, y].

/** @param {ArrayLike<number>} m @param {ArrayLike<number>} p @returns {Point} */
export const apply = (m, p) => [m[0] * p[0] + m[2] * p[1] + m[4], m[1] * p[0] + m[3] * p[1] + m[5]];

/** @param {ArrayLike<number>} m @returns {Matrix} */
export function inverse(m) {
  const [a, b, c, d, e, f] = Array.from(m);
  const det = a * d - b * c;
  return [d / det, -b / det, -c / det, a / det, (c * f - d * e) / det, (b * e - a * f) / det];
}

/**
 * Stored picture -> the way a viewer shows it, by Exif orientation; both with the origin at the outer corner.
 * @param {ArrayLike<number>} size @param {number} orientation @returns {Matrix}
 */
export function uprightMatrix(size, orientation) {
  const w = size[0], h = size[1];
  /** @type {Record<number, Matrix>} */
  const table = {
    1: [1, 0, 0, 1, 0, 0], 2: [-1, 0, 0, 1, w, 0], 3: [-1, 0, 0, -1, w, h], 4: [1, 0, 0, -1, 0, h],
    5: [0, 1, 1, 0, 0, 0], 6: [0, 1, -1, 0, h, 0], 7: [0, -1, -1, 0, h, w], 8: [0, -1, 1, 0, 0, w],
  };
  return table[orientation] || table[1];
}

/** @param {ArrayLike<number>} size @param {number} orientation @returns {Point} */
export const uprightSize = (size, orientation) => (orientation >= 5 ? [size[1], size[0]] : [size[0], size[1]]);

/** @param {ArrayLike<number>} a @param {ArrayLike<number>} b */
export const distanceOf = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** Mean of some points. @param {Point[]} points @returns {Point} */
export const middle = (points) => [points.reduce((s, p) => s + p[0], 0) / points.length, points.reduce((s, p) => s + p[1], 0) / points.length];

/** Is a place inside a closed shape? @param {Point[]} shape @param {Point} place */
export function inside(shape, [x, y]) {
  let odd = false;
  for (let i = 0, j = shape.length - 1; i < shape.length; j = i++) {
    const a = shape[i], b = shape[j];
    if ((a[1] > y) !== (b[1] > y) && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]) odd = !odd;
  }
  return odd;
}

/** Foot of a place on a path: distance and place. @param {Point[]} points @param {Point} p @returns {{d: number, i: number, s: number}} */
export function footOn(points, p) {
  let best = { d: Infinity, i: 0, s: 0 };
  for (let i = 0; i + 1 < points.length; i++) {
    const a = points[i], b = points[i + 1];
    const size = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 || 1;
    const s = Math.max(0, Math.min(1, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / size));
    const d = Math.hypot(a[0] + s * (b[0] - a[0]) - p[0], a[1] + s * (b[1] - a[1]) - p[1]);
    if (d < best.d) best = { d, i, s };
  }
  return best;
}

/** Angle at which words along a line can be read from below. @param {number} angle */
export function upright(angle) {
  let a = angle;
  while (a > Math.PI / 2) a -= Math.PI;
  while (a <= -Math.PI / 2) a += Math.PI;
  return a;
}

/**
 * Ends of two tops that face each other across a gap, as beside a range. Each end has a place inside its own top; a is the one on the
 * left as seen from the room, which lies before the fronts.
 * @param {{id: string, ends: [Point, Point], inside: Point, front: Point}[]} ends `front`: a direction to the room @param {number} least mm @param {number} most mm
 * @returns {{a: string, b: string, gap: number, place: Point}[]}
 */
export function facing(ends, least, most) {
  const out = [];
  for (const [k, one] of ends.entries()) {
    for (const other of ends.slice(k + 1)) {
      const u = [one.ends[1][0] - one.ends[0][0], one.ends[1][1] - one.ends[0][1]], v = [other.ends[1][0] - other.ends[0][0], other.ends[1][1] - other.ends[0][1]];
      const lu = Math.hypot(u[0], u[1]) || 1, lv = Math.hypot(v[0], v[1]) || 1;
      if (Math.abs(u[0] * v[1] - u[1] * v[0]) > 0.1 * lu * lv) continue; // not parallel
      const m = middle(one.ends), q = middle(other.ends), n = [u[1] / lu, -u[0] / lu];
      const gap = (q[0] - m[0]) * n[0] + (q[1] - m[1]) * n[1], beside = Math.abs((q[0] - m[0]) * u[0] + (q[1] - m[1]) * u[1]) / lu;
      const away = (top, from) => ((top.inside[0] - from[0]) * n[0] + (top.inside[1] - from[1]) * n[1]) * Math.sign(gap);
      if (Math.abs(gap) < least || Math.abs(gap) > most || beside > 0.5 * Math.min(lu, lv) || away(one, m) > 0 || away(other, q) < 0) continue;
      // looking from the room to the wall, the right hand points along the front turned by a quarter
      const right = (q[0] - m[0]) * -one.front[1] + (q[1] - m[1]) * one.front[0] > 0;
      out.push({ a: right ? one.id : other.id, b: right ? other.id : one.id, gap: Math.abs(gap), place: middle([m, q]) });
    }
  }
  return out;
}

/** Centre of area of a polygon; that of its corners where it has no area. @param {Point[]} shape @returns {Point} */
export function centroid(shape) {
  let area = 0, x = 0, y = 0;
  shape.forEach(([x0, y0], k) => {
    const [x1, y1] = shape[(k + 1) % shape.length], cross = x0 * y1 - x1 * y0;
    area += cross / 2;
    x += (x0 + x1) * cross / 6;
    y += (y0 + y1) * cross / 6;
  });
  return Math.abs(area) > 1e-9 ? [x / area, y / area] : middle(shape);
}
