// What every layer draws with: colours of the style sheet, lines and words that are seen on any picture.

let colours = null;
const scheme = window.matchMedia('(prefers-color-scheme: dark)');
scheme.addEventListener('change', () => { colours = null; });

/** @returns {Record<string, string>} */
export function palette() {
  if (!colours) {
    const css = getComputedStyle(document.documentElement);
    const names = ['class-a', 'class-b', 'class-c', 'class-d', 'class-e', 'pick', 'sheet', 'strip', 'stone', 'seam', 'ink', 'paper', 'level-low', 'level-high', 'hint', 'mark'];
    colours = Object.fromEntries(names.map((n) => [n, css.getPropertyValue(`--${n}`).trim()]));
  }
  return colours;
}

// Lines with a pale casing so that they are seen on any picture
/** @param {CanvasRenderingContext2D} ctx @param {ArrayLike<number>[]} points @param {{colour: string, width?: number, dash?: number[], closed?: boolean, casing?: boolean}} style */
export function line(ctx, points, { colour, width = 2, dash = [], closed = false, casing = true }) {
  if (points.length < 2) return;
  ctx.beginPath();
  ctx.moveTo(points[0][0], points[0][1]);
  for (let i = 1; i < points.length; i++) ctx.lineTo(points[i][0], points[i][1]);
  if (closed) ctx.closePath();
  ctx.lineJoin = 'round';
  ctx.lineCap = 'butt';
  if (casing) {
    ctx.setLineDash([]);
    ctx.lineWidth = width + 3;
    ctx.strokeStyle = palette().paper;
    ctx.globalAlpha = 0.75;
    ctx.stroke();
    ctx.globalAlpha = 1;
  }
  ctx.setLineDash(dash);
  ctx.lineWidth = width;
  ctx.strokeStyle = colour;
  ctx.stroke();
  ctx.setLineDash([]);
}

/** @param {CanvasRenderingContext2D} ctx @param {string} words @param {ArrayLike<number>} place @param {{colour?: string, size?: number, angle?: number, align?: CanvasTextAlign, weight?: number}} style */
export function text(ctx, words, place, { colour = '', size = 13, angle = 0, align = 'center', weight = 600 } = {}) {
  ctx.save();
  ctx.translate(place[0], place[1]);
  ctx.rotate(angle);
  ctx.font = `${weight} ${size}px system-ui, sans-serif`;
  ctx.textAlign = align;
  ctx.textBaseline = 'middle';
  ctx.lineJoin = 'round';
  ctx.lineWidth = 4;
  ctx.strokeStyle = palette().paper;
  ctx.strokeText(words, 0, 0);
  ctx.fillStyle = colour || palette().ink;
  ctx.fillText(words, 0, 0);
  ctx.restore();
}

/**
 * Words that give way: nothing is written where other words stand already. True where they were written.
 * @param {CanvasRenderingContext2D} ctx @param {View} stage @param {string} words @param {ArrayLike<number>} place @param {{colour?: string, size?: number, angle?: number, weight?: number}} style
 */
export function label(ctx, stage, words, place, style = {}) {
  const size = style.size || 13, angle = style.angle || 0;
  ctx.font = `${style.weight || 600} ${size}px system-ui, sans-serif`;
  const w = ctx.measureText(words).width / 2 + 3, h = size / 2 + 2;
  const c = Math.abs(Math.cos(angle)), s = Math.abs(Math.sin(angle));
  const box = [place[0] - w * c - h * s, place[1] - w * s - h * c, place[0] + w * c + h * s, place[1] + w * s + h * c];
  if (stage.taken.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1])) return false;
  stage.taken.push(box);
  text(ctx, words, place, style);
  return true;
}

/** @param {View} stage @returns {(p: ArrayLike<number>) => Point} */
export function projector(stage) {
  const m = stage.matrix();
  return (p) => [m[0] * p[0] + m[2] * p[1] + m[4], m[1] * p[0] + m[3] * p[1] + m[5]];
}

export function boxOf(item, points) {
  if (!item.box) {
    let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
    for (const [x, y] of points) { x0 = Math.min(x0, x); x1 = Math.max(x1, x); y0 = Math.min(y0, y); y1 = Math.max(y1, y); }
    item.box = [x0, y0, x1, y1];
  }
  return item.box;
}

// Outside the screen? Cheap: the circle around the box against the circle around the screen.
export function away(stage, at, box) {
  const c = at([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]);
  const r = Math.hypot(box[2] - box[0], box[3] - box[1]) / 2 * stage.view.k + 60;
  return c[0] < -r || c[1] < -r || c[0] > stage.width + r || c[1] > stage.height + r;
}
