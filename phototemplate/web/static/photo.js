// One photo at full size: what was found in it, what the adjustment made of that, and edges drawn in it.

import { h, fill, button, icon, notice } from './dom.js';
import { get, sentenceOf } from './api.js';
import { Stage } from './canvas.js';
import { framesOf, putPhoto, zoomButtons } from './photostage.js';
import { apply, inverse } from './geometry.js';
import { line, palette, text } from './drawing.js';
import { Draft } from './overlay.js';
import { store, edges } from './store.js';
import { newEdgeForm, addEdge } from './draw.js';
import { told } from './findings.js';
import { t } from './text.js';

const ARROW = 100; // residuals are drawn this much larger
const layers = { targets: true, points: true, residuals: true, edges: true };

export function open(root, name, id) {
  const canvas = h('canvas', { class: 'stage' });
  const side = h('aside', { class: 'side', 'aria-label': t('photo.side') });
  const bar = h('div', { class: 'stage-bar' });
  root.append(h('section', { class: 'split' }, h('div', { class: 'stage-box' }, canvas, bar), side));
  const stage = new Stage(canvas, { name: t('photo.canvas') });
  /** @type {{id: string, photo: PhotoView | null, marks: any, tool: any, matrix: Matrix}} */
  const state = { id, photo: null, marks: null, tool: null, matrix: [1, 0, 0, 1, 0, 0] };
  const draft = new Draft();
  stage.background = '#6f6d68';
  stage.pad = [8, 8, 8, 8];

  const layer = { paint: (ctx) => state.marks && paintMarks(ctx, stage, state) };

  function start() {
    const photo = store.photos.get(state.id);
    if (!photo?.seen || state.photo?.version === photo.version) return;
    state.photo = photo;
    state.matrix = putPhoto(stage, photo, [layer, draft]).matrix;
    load();
  }

  async function load() {
    try {
      const marks = await get(`/api/photos/${encodeURIComponent(state.id)}/marks`);
      if (stage.closed) return;
      state.marks = marks;
      stage.draw();
      panel();
    } catch (error) { notice(error.sentence || String(error), 'error'); }
  }

  stage.onhover = (world) => { if (state.tool) { draft.live = world; stage.draw(); } };
  stage.ontap = (world) => {
    if (!state.tool) { pick(world); return; }
    draft.points.push(world);
    if (state.tool.shape === 'line' && draft.points.length === 2 || ['arc', 'circle'].includes(state.tool.shape) && draft.points.length === 3) finish();
    stage.draw();
    panel();
  };
  stage.onkey = (e) => {
    if (!state.tool) return false;
    if (e.key === 'Escape') { stop(); return true; }
    if (e.key === 'Backspace') { draft.points.pop(); stage.draw(); return true; }
    if (e.key === 'Enter' && e.shiftKey) { finish(); return true; }
    return false;
  };

  function pick(world) {
    const p = apply(inverse(state.matrix), world);
    let best = null;
    for (const e of state.marks?.edges || []) {
      for (const q of e.uv) {
        const d = Math.hypot(q[0] - p[0], q[1] - p[1]) * stage.view.k;
        if (d < 12 && (!best || d < best.d)) best = { id: e.id, d };
      }
    }
    store.selected = best ? best.id : '';
    stage.draw();
    panel();
  }

  function begin(tool) {
    state.tool = tool;
    draft.points = [];
    stage.cross = true;
    panel();
    stage.canvas.focus();
  }

  function stop() {
    state.tool = null;
    draft.points = [];
    draft.live = null;
    stage.cross = false;
    stage.draw();
    panel();
  }

  async function finish() {
    if (draft.points.length < 2) return;
    const path = draft.points.map(framesOf(state.matrix).fromWorld);
    const tool = state.tool;
    stop();
    await addEdge({ ...tool, photo: state.id, path });
  }

  function panel() {
    const photo = store.photos.get(state.id);
    const all = [...store.photos.keys()];
    const k = all.indexOf(state.id);
    const step = (d) => all.length && (location.hash = `photo/${encodeURIComponent(all[(k + d + all.length) % all.length])}`);
    fill(bar, zoomButtons(stage));
    if (!photo) { fill(side, h('p', {}, t('photo.gone'))); return; }
    const m = state.marks;
    const r = m?.residuals;
    fill(side,
      h('div', { class: 'row spread' }, h('a', { href: '#photos', class: 'button plain' }, icon('back'), t('photo.all')),
        h('span', { class: 'row' }, button('', () => step(-1), { icon: 'back', 'aria-label': t('photo.before'), title: t('photo.before'), data: { key: 'prev' } }),
          button('', () => step(1), { icon: 'next', 'aria-label': t('photo.after'), title: t('photo.after'), data: { key: 'next' } }))),
      h('h1', {}, photo.file),
      m ? h('p', {}, t('photo.found', { n: m.targets.length, points: m.points.length }), m.placed ? '' : ` ${t('photo.unplaced')}`) : h('p', {}, photo.state === 'bad' ? sentenceOf(photo.trouble) : t('photo.looking')),
      r?.rms != null ? h('p', {}, t('photo.residuals', { rms: r.rms.toFixed(2), n: r.weight.filter((w) => w > 0).length, out: r.weight.filter((w) => !w).length })) : null,
      told(photo.seen?.findings || [], null, 'photo'),
      h('fieldset', { class: 'layers' }, h('legend', {}, t('layers')),
        Object.keys(layers).map((name) => h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: layers[name], data: { key: `l-${name}` }, onchange: (e) => { layers[name] = e.target.checked; stage.draw(); } }), t(`photo.layer.${name}`)))),
      state.tool ? drawing() : newEdgeForm((tool) => begin(tool), { trace: true }),
      h('h2', {}, t('photo.edges')),
      m?.edges.length ? h('ul', { class: 'plain-list' }, m.edges.map((e) => h('li', {}, button(e.id, () => { store.selected = e.id; go(e); }, { class: 'plain', data: { key: `e-${e.id}` }, 'aria-pressed': String(store.selected === e.id) })))) : h('p', { class: 'hint' }, t('photo.no-edges')));
  }

  function drawing() {
    return h('div', { class: 'card' }, h('p', {}, t('draw.hint', { n: draft.points.length })),
      h('div', { class: 'row' }, button(t('draw.done'), finish, { disabled: draft.points.length < 2, class: 'main', data: { key: 'done' } }), button(t('cancel'), stop, { data: { key: 'stop' } })));
  }

  function go(e) {
    const q = apply(state.matrix, e.uv[e.uv.length >> 1]);
    stage.show(q, Math.max(stage.view.k, 1));
    panel();
  }

  start();
  panel();
  return {
    update(what) { if (what === 'work' || what === 'online') return; if (what === 'photos' || what === 'job') start(); if (what === 'result') load(); panel(); stage.draw(); },
    stays(page, other) {
      if (page !== 'photo') return false;
      if (other !== state.id) { state.id = other; state.photo = null; state.marks = null; stop(); start(); panel(); }
      return true;
    },
    close() { stage.close(); },
  };
}

function paintMarks(ctx, stage, { marks, matrix, id }) {
  const w = stage.matrix();
  const at = (p) => { const q = apply(matrix, p); return [w[0] * q[0] + w[2] * q[1] + w[4], w[1] * q[0] + w[3] * q[1] + w[5]]; };
  const c = palette();
  if (layers.targets) {
    for (const x of marks.targets) {
      const points = x.hull.map(at);
      line(ctx, points, { colour: c.sheet, width: 1.5, closed: true });
      const n = points.length;
      const mid = points.reduce((s, p) => [s[0] + p[0] / n, s[1] + p[1] / n], [0, 0]);
      text(ctx, x.id, [mid[0], Math.min(...points.map((p) => p[1])) - 12], { colour: c.sheet });
    }
  }
  if (layers.points && stage.view.k > 0.12) {
    ctx.strokeStyle = c.hint;
    ctx.lineWidth = 1.5;
    ctx.beginPath();
    for (const p of marks.points) {
      const [x, y] = at(p);
      if (x < -9 || y < -9 || x > stage.width + 9 || y > stage.height + 9) continue;
      ctx.moveTo(x - 5, y); ctx.lineTo(x + 5, y); ctx.moveTo(x, y - 5); ctx.lineTo(x, y + 5);
    }
    ctx.stroke();
  }
  if (layers.residuals && marks.residuals) {
    const { uv, d, weight } = marks.residuals;
    uv.forEach((p, i) => {
      const a = at(p), b = at([p[0] + d[i][0] * ARROW, p[1] + d[i][1] * ARROW]);
      if (Math.max(a[0], b[0]) < 0 || Math.min(a[0], b[0]) > stage.width) return;
      line(ctx, [a, b], { colour: weight[i] > 0 ? c.mark : c['class-e'], width: 2 });
      if (!(weight[i] > 0)) line(ctx, [[a[0] - 7, a[1] - 7], [a[0] + 7, a[1] + 7]], { colour: c['class-e'], width: 2 });
    });
  }
  if (layers.edges) {
    for (const e of marks.edges) {
      const points = e.uv.map(at);
      ctx.fillStyle = e.id === store.selected ? c.pick : c['class-b'];
      for (const [x, y] of points) { ctx.beginPath(); ctx.arc(x, y, e.id === store.selected ? 4 : 2.5, 0, 7); ctx.fill(); }
      if (points.length) text(ctx, e.id, points[points.length >> 1].map((v, i) => v - (i ? 14 : 0)), {});
    }
    for (const e of edges()) {
      if (e.photo !== id || !e.path) continue;
      line(ctx, e.path.map((p) => at([p[0] + 0.5, p[1] + 0.5])), { colour: c.hint, width: 1.5, dash: [3, 4] });
    }
  }
}

