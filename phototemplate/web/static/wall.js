// Check a wall: how far it is from straight or square, what gap a piece would leave, what to scribe.

import { post } from './api.js';
import { h, button, icon, labelled, notice, select } from './dom.js';
import { told } from './findings.js';
import { fileList } from './files.js';
import { lengthInput } from './form.js';
import { how, page } from './page.js';
import { store, edges } from './store.js';
import { metric, short, within } from './units.js';
import { has, t } from './text.js';

/** mm. Largest gap behind a piece. Convention: 1/8 in, that of the command line. */
const GAP_MM = 25.4 / 8;
const WIDE = 900, HIGH = 260, PAD = 40;
const wish = { edge: '', against: 'straight', gap: GAP_MM, corner: '' };
/** @type {any} */
let answer = null;
let asked = '', busy = false, place = -1;

/** @param {HTMLElement} root */
export const open = (root) => page(root, content, { wide: true });

async function ask(draw) {
  busy = true;
  draw();
  const revision = store.revision;
  try {
    answer = await post('/api/make/wall', { gap: wish.gap, against: wish.against, ...(wish.edge ? { edge: wish.edge } : {}), ...(wish.corner ? { corner: wish.corner } : {}) });
    asked = revision;
    place = -1;
  } catch (error) { answer = null; notice(error.sentence || String(error), 'error'); }
  busy = false;
  draw();
}

/** Walls that can be checked: those of the job, or those that strips in the photos show, the longest first. @returns {[string, string][]} */
function wallsThere() {
  const drawn = edges().filter((e) => e.kind === 'wall' || e.kind === 'panel');
  if (drawn.length) return drawn.map((e) => [e.id, e.id]);
  const strips = edges().length ? [] : Object.entries(store.result?.walls || {}).sort((a, b) => b[1].length - a[1].length);
  return strips.map(([id, names]) => [id, t('wall.of-strips', { first: names[0], last: names[names.length - 1] })]);
}

function content(draw) {
  const walls = wallsThere();
  if (!walls.some(([id]) => id === wish.edge)) wish.edge = walls[0]?.[0] || '';
  const others = edges().map((e) => e.id).filter((id) => id !== wish.edge);
  const set = (key) => (v) => { wish[key] = v; };
  return [
    h('h1', {}, t('page.wall')), h('p', {}, t('wall.how')), how('wall'),
    h('div', { class: 'card' }, h('div', { class: 'row wrap' },
      labelled(t('wall.edge'), select(walls.length ? walls : [['', t('wall.strips')]], wish.edge, set('edge'), { data: { key: 'wall-edge' } })),
      labelled(t('wall.against'), select([['straight', t('wall.straight')], ...others.map((o) => [`square:${o}`, t('wall.square', { name: o })])], wish.against, set('against'), { data: { key: 'wall-against' } })),
      labelled(t('wall.gap'), lengthInput(wish.gap, (v) => { wish.gap = v ?? GAP_MM; }, 'wall-gap')),
      labelled(t('wall.corner'), select([['', t('form.usual')], ['left', t('wall.left')], ['right', t('wall.right')]], wish.corner, set('corner'), { data: { key: 'wall-corner' } }))),
    button(busy ? t('wall.busy') : t('wall.ask'), () => ask(draw), { class: 'main', disabled: busy || !store.photos.size, data: { key: 'wall-ask' } })),
    answer ? result(draw) : null,
  ];
}

const STATE = { meets: 'good', fails: 'short' };

function result(draw) {
  const state = STATE[answer.verdict] || 'look';
  return [
    asked !== store.revision ? h('p', { class: 'mark look' }, icon('look'), t('wall.old')) : null,
    h('div', { class: `big-verdict ${state}` }, icon(state), h('div', {}, h('p', { class: 'big' }, headline()), answer.help.text ? h('p', {}, answer.help.text) : null)),
    chart(draw),
    place >= 0 ? h('p', { class: 'big', role: 'status' }, t('wall.here', { x: short(answer.x[place]), gap: short(answer.gap[place]), U: within(answer.gap_U[place]), scribe: short(answer.scribe[place] ?? 0) })) : h('p', { class: 'hint' }, t('wall.press')),
    answer.lean ? h('p', {}, lean(answer.lean)) : null,
    h('div', { class: 'scroll' }, h('table', {}, h('thead', {}, h('tr', {}, ['wall.figure', 'wall.value', 'wall.known', 'wall.meaning'].map((k) => h('th', { scope: 'col' }, t(k))))),
      h('tbody', {}, answer.figures.map((f) => h('tr', {}, h('th', { scope: 'row' }, figure(f[0])), f.slice(1).map((x) => h('td', {}, x)), h('td', {}, has(`figure.${key(f[0])}.is`) ? t(`figure.${key(f[0])}.is`) : '')))))),
    told(answer.findings.filter((f) => f.severity !== 'note'), null, 'wall'),
    asked === store.revision ? [h('h2', {}, t('finish.files')), fileList(answer.files)] : null];
}

const key = (name) => name.replaceAll(' ', '-');
const figure = (name) => (has(`figure.${key(name)}`) ? t(`figure.${key(name)}`) : name);

function headline() {
  const facts = { gap: short(answer.largest[0]), U: within(answer.largest[1]), limit: short(answer.limit), where: answer.largest_at.map((x) => short(x)).join(' · ') };
  return t(answer.verdict === 'fails' ? `wall.says.fails.${answer.begin}` : answer.verdict === 'meets' ? 'wall.says.meets' : 'wall.says.open', facts);
}

function lean({ by, U, heights }) {
  const facts = { by: metric(Math.abs(by), 1), U: metric(U, 1), low: short(heights[0]), high: short(heights[1]) };
  return t(Math.abs(by) <= U ? 'wall.no-lean' : by > 0 ? 'wall.lean-in' : 'wall.lean-out', facts);
}

// The gap behind a straight piece along the wall, with how well it is known, and the largest that is allowed
function chart(draw) {
  const { x, gap, gap_U: U, limit } = answer;
  const most = Math.max(limit * 1.2, ...gap.map((g, i) => (g ?? 0) + (U[i] ?? 0)));
  const at = (i, v) => [PAD + (x[i] - x[0]) / Math.max(x[x.length - 1] - x[0], 1) * (WIDE - 2 * PAD), HIGH - PAD - v / most * (HIGH - 2 * PAD)];
  const path = (values) => values.map((v, i) => `${i ? 'L' : 'M'}${at(i, Math.max(0, v ?? 0)).map((q) => q.toFixed(1)).join(' ')}`).join('');
  const band = `${path(gap.map((g, i) => (g ?? 0) + (U[i] ?? 0)))}${gap.map((g, i) => `L${at(gap.length - 1 - i, Math.max(0, (gap[gap.length - 1 - i] ?? 0) - (U[gap.length - 1 - i] ?? 0))).map((q) => q.toFixed(1)).join(' ')}`).join('')}Z`;
  const pick = (e) => {
    const box = e.currentTarget.getBoundingClientRect();
    const u = (e.clientX - box.left) / box.width * WIDE;
    place = x.reduce((best, _, i) => (Math.abs(at(i, 0)[0] - u) < Math.abs(at(best, 0)[0] - u) ? i : best), 0);
    draw();
  };
  const step = (d) => { place = Math.max(0, Math.min(x.length - 1, (place < 0 ? 0 : place) + d)); draw(); };
  const line = at(0, limit)[1];
  return h('svg:svg', { viewBox: `0 0 ${WIDE} ${HIGH}`, class: 'chart', role: 'application', tabindex: '0', 'aria-label': t('wall.chart'), 'data-key': 'wall-chart', onclick: pick,
    onkeydown: (e) => { const d = { ArrowLeft: -1, ArrowRight: 1 }[e.key]; if (d) { e.preventDefault(); step(d); } } },
  h('svg:path', { d: `M${PAD} ${HIGH - PAD}H${WIDE - PAD}`, class: 'axis' }),
  h('svg:path', { d: band, class: 'band' }), h('svg:path', { d: path(gap), class: 'curve' }),
  h('svg:path', { d: `M${PAD} ${line.toFixed(1)}H${WIDE - PAD}`, class: 'limit' }),
  h('svg:text', { x: WIDE - PAD, y: line - 6, 'text-anchor': 'end' }, t('wall.limit', { gap: short(limit) })),
  h('svg:text', { x: PAD, y: HIGH - 14 }, short(x[0])), h('svg:text', { x: WIDE - PAD, y: HIGH - 14, 'text-anchor': 'end' }, short(x[x.length - 1])),
  place >= 0 ? h('svg:path', { d: `M${at(place, 0)[0].toFixed(1)} ${PAD}V${HIGH - PAD}`, class: 'here' }) : null);
}
