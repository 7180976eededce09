// Plan the photos before the visit: the runs are drawn by dragging their ends, the answer says how many photos from where.

import { post } from './api.js';
import { h, button, labelled, notice, select } from './dom.js';
import { fileList } from './files.js';
import { lengthInput } from './form.js';
import { how, page } from './page.js';
import { store } from './store.js';
import { short, within } from './units.js';
import { t } from './text.js';

const WIDE = 640, HIGH = 460, PAD = 60;
/** mm. A run cannot be dragged shorter or longer than this. Convention: the study's own limits. */
const LEAST_MM = 300, MOST_MM = 12000;
/** mm. What dragging snaps to. Convention: the inch. */
const SNAP_MM = 25.4;
const wish = { runs: [2438.4, 1828.8], depth: 609.6, sheets: 0, want: 25.4 / 16, bar: /** @type {number | null} */ (null), paper: '' };
/** @type {any} */
let answer = null;
let busy = false;

/** @param {HTMLElement} root */
export function open(root) {
  wish.paper ||= store.paper;
  return { ...page(root, content, { wide: true }), update: () => {} };
}

async function ask(draw) {
  busy = true;
  draw();
  try {
    answer = await post('/api/make/plan', { runs: wish.runs, depth: wish.depth, sheets: wish.sheets, want: wish.want, paper: wish.paper, ...(wish.bar ? { bar: wish.bar } : {}) });
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  busy = false;
  draw();
}

function content(draw) {
  const change = (act) => { act(); answer = null; draw(); };
  const names = ['plan.first', 'plan.second', 'plan.third'];
  return [
    h('h1', {}, t('page.plan')), h('p', {}, t('plan.how')), how('plan'),
    h('div', { class: 'columns' },
      h('div', {}, sketch(draw), h('p', { class: 'hint' }, t('plan.drag'))),
      h('div', {},
        h('div', { class: 'card' },
          labelled(t('plan.shape'), select([['1', t('plan.straight')], ['2', t('plan.l')], ['3', t('plan.u')]], String(wish.runs.length), (v) => change(() => { wish.runs = [0, 1, 2].slice(0, Number(v)).map((k) => wish.runs[k] ?? 1828.8); }), { data: { key: 'plan-shape' } })),
          wish.runs.map((mm, k) => labelled(t(names[k]), lengthInput(mm, (v) => change(() => { wish.runs[k] = v ?? mm; }), `plan-run-${k}`, { usual: [LEAST_MM, MOST_MM] }))),
          h('div', { class: 'row wrap' },
            labelled(t('plan.depth'), lengthInput(wish.depth, (v) => change(() => { wish.depth = v ?? 609.6; }), 'plan-depth', { usual: [200, 2000] })),
            labelled(t('plan.want'), lengthInput(wish.want, (v) => change(() => { wish.want = v ?? 25.4 / 16; }), 'plan-want', { usual: [0.2, 20] })),
            labelled(t('plan.bar'), lengthInput(wish.bar, (v) => change(() => { wish.bar = v; }), 'plan-bar', { usual: [150, 9000] }), t('plan.bar.hint')),
            labelled(t('prepare.paper'), select([['Letter', 'Letter'], ['A4', 'A4']], wish.paper, (v) => change(() => { wish.paper = v; }), { data: { key: 'plan-paper' } }))),
          button(busy ? t('plan.busy') : t('plan.ask'), () => ask(draw), { class: 'main', disabled: busy, data: { key: 'plan-ask' } })),
        answer ? [h('p', { class: 'big', role: 'status' }, t('plan.answer', { n: answer.stand.length, sheets: answer.sheets.length, U: within(answer.worst_U) })),
          h('ol', {}, answer.instructions.map((words) => h('li', {}, words))),
          h('details', { data: { key: 'tried' } }, h('summary', {}, t('why')), h('ul', {}, answer.tried.map(([n, U]) => h('li', {}, t('plan.tried', { n, U: U === null ? '–' : within(U) }))))),
          fileList(answer.files)] : null)),
  ];
}

/** Corners of the runs, in mm, as the study lays them. @returns {Point[][]} */
function boxes() {
  const [a, b, c] = wish.runs, d = wish.depth;
  /** @type {Point[][]} */
  const out = [[[0, 0], [a, 0], [a, -d], [0, -d]]];
  if (b !== undefined) out.push([[a, 0], [a, -b], [a - d, -b], [a - d, 0]]);
  if (c !== undefined) out.push([[0, 0], [0, -c], [d, -c], [d, 0]]);
  return out;
}

function sketch(draw) {
  const shapes = boxes();
  const all = [...shapes.flat(), ...(answer?.stand || []).map((s) => s.eye)];
  const x0 = Math.min(...all.map((p) => p[0])), x1 = Math.max(...all.map((p) => p[0])), y0 = Math.min(...all.map((p) => p[1])), y1 = Math.max(...all.map((p) => p[1]));
  const k = Math.min((WIDE - 2 * PAD) / (x1 - x0), (HIGH - 2 * PAD) / (y1 - y0));
  const at = (p) => [PAD + (p[0] - x0) * k, PAD + (y1 - p[1]) * k];
  const d = (points) => `${points.map((p, i) => `${i ? 'L' : 'M'}${at(p).map((q) => q.toFixed(1)).join(' ')}`).join('')}Z`;
  // the free end of every run can be dragged, or moved by the arrow keys
  const ends = [{ run: 0, p: shapes[0][wish.runs.length > 1 ? 0 : 1], axis: 0 }, { run: 1, p: shapes[1]?.[1], axis: 1 }, { run: 2, p: shapes[2]?.[1], axis: 1 }].filter((e) => e.p && !(e.run === 0 && wish.runs.length > 2));
  const handle = ({ run, p, axis }) => {
    const [x, y] = at(axis ? [p[0], p[1]] : [p[0], -wish.depth / 2]);
    const set = (mm) => { wish.runs[run] = Math.max(LEAST_MM, Math.min(MOST_MM, Math.round(mm / SNAP_MM) * SNAP_MM)); answer = null; draw(); };
    const grow = axis || wish.runs.length === 1 ? 1 : -1;
    return h('svg:circle', { cx: x, cy: y, r: 13, class: 'handle', tabindex: '0', role: 'slider', 'aria-label': t('plan.end', { n: run + 1 }), 'aria-valuenow': Math.round(wish.runs[run]), 'aria-valuemin': LEAST_MM, 'aria-valuemax': MOST_MM, 'aria-valuetext': short(wish.runs[run]), 'data-key': `plan-end-${run}`,
      onkeydown: (e) => { const s = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1 }[e.key]; if (s) { e.preventDefault(); set(wish.runs[run] + s * SNAP_MM); } },
      onpointerdown: (e) => {
        const from = [e.clientX, e.clientY], start = wish.runs[run], scale = e.currentTarget.ownerSVGElement.getBoundingClientRect().width / WIDE;
        const move = (m) => set(start + grow * (axis ? m.clientY - from[1] : m.clientX - from[0]) / scale / k);
        const up = () => { window.removeEventListener('pointermove', move); window.removeEventListener('pointerup', up); };
        window.addEventListener('pointermove', move);
        window.addEventListener('pointerup', up);
        e.preventDefault();
      } });
  };
  return h('svg:svg', { viewBox: `0 0 ${WIDE} ${HIGH}`, class: 'chart plan-sketch', role: 'group', 'aria-label': t('plan.sketch') },
    shapes.map((s) => h('svg:path', { d: d(s), class: 'cabinet' })),
    wish.runs.map((mm, i) => { const s = shapes[i], q = at([(s[0][0] + s[2][0]) / 2, (s[0][1] + s[2][1]) / 2]); return h('svg:text', { x: q[0], y: q[1], 'text-anchor': 'middle' }, short(mm)); }),
    (answer?.sheets || []).map((p) => { const [x, y] = at(p); return h('svg:rect', { x: x - 5, y: y - 4, width: 10, height: 8, class: 'sheet' }); }),
    (answer?.stand || []).map((s, i) => { const a = at(s.eye), b = at([s.eye[0] + (s.aim[0] - s.eye[0]) / 4, s.eye[1] + (s.aim[1] - s.eye[1]) / 4]); return [h('svg:path', { d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}`, class: 'look' }), h('svg:circle', { cx: a[0], cy: a[1], r: 10, class: s.upright ? 'stand upright' : 'stand' }), h('svg:text', { x: a[0], y: a[1] + 4, 'text-anchor': 'middle', class: 'small' }, i + 1)]; }),
    ends.map(handle));
}
