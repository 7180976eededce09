// A photo on a canvas, upright, with what is drawn over it; and the buttons that every canvas has.

import { h, button } from './dom.js';
import { apply, inverse, uprightMatrix, uprightSize } from './geometry.js';
import { photoLayer } from './tiles.js';
import { t } from './text.js';

/** px of the stored picture to the canvas, whose origin is the picture's outer corner, and back. @param {Matrix} matrix */
export const framesOf = (matrix) => ({
  /** @param {Point} p */
  toWorld: (p) => apply(matrix, [p[0] + 0.5, p[1] + 0.5]),
  /** @param {Point} w */
  fromWorld: (w) => /** @type {Point} */ (apply(inverse(matrix), w).map((v) => Math.round((v - 0.5) * 100) / 100)),
});

/** Show a photo with layers over it; until its tiles are cut its thumbnail stands in. @param {any} stage @param {PhotoView} photo @param {any[]} above */
export function putPhoto(stage, photo, above) {
  const { size, orientation } = photo.seen, [w, hgt] = uprightSize(size, orientation);
  const picture = photoLayer(photo), small = h('img', { src: `/thumb/${encodeURIComponent(photo.id)}/${photo.version}`, onload: () => stage.draw() });
  const stand = { paint: (ctx) => {
    if (picture.complete || !small.naturalWidth) return;
    const m = stage.matrix(), r = stage.ratio;
    ctx.setTransform(m[0] * r, m[1] * r, m[2] * r, m[3] * r, m[4] * r, m[5] * r);
    ctx.drawImage(small, 0, 0, w, hgt);
  } };
  stage.layers = [stand, picture, ...above];
  stage.extent = [[0, 0], [w, hgt]];
  stage.limits = [Math.min(stage.width / w, stage.height / hgt) * 0.4, 32];
  stage.fit();
  return { picture, matrix: uprightMatrix(size, orientation) };
}

/** One button of a canvas. @param {string} icon @param {string} word @param {() => void} act */
export const stageButton = (icon, word, act) => button('', act, { icon, 'aria-label': t(word), title: t(word), data: { key: word } });

/** Larger, smaller, all of it. @param {any} stage */
export const zoomButtons = (stage) => [stageButton('plus', 'zoom.in', () => stage.zoom(1.4)), stageButton('minus', 'zoom.out', () => stage.zoom(1 / 1.4)), stageButton('fit', 'zoom.fit', () => stage.fit())];
