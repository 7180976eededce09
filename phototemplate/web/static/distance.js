// Panel of distances: two places, the distance between them and how well it is known.

import { h, fill, button, notice } from './dom.js';
import { post } from './api.js';
import { store } from './store.js';
import { nearest } from './overlay.js';
import { length, short, uncertainty, shortU } from './units.js';
import { nextStep } from './nextstep.js';
import { t } from './text.js';

let places = [];
let answers = [];

export function enter(plan) { places = []; plan.tool = { hint: t('distance.first') }; }
export function leave() { places = []; }

export function tap(plan, world, p) {
  const thing = nearest(plan.stage, p);
  const place = thing ? (thing.kind === 'corner' ? { loop: thing.loop, corner: thing.corner } : { edge: thing.edge, xy: thing.xy }) : { xy: world };
  const at = thing ? thing.xy : world;
  if (places.length === 2) places = [];
  places.push({ place, at, name: nameOf(thing) });
  plan.parts.draft.points = places.map((x) => x.at);
  plan.parts.draft.words = '';
  plan.parts.draft.live = null;
  plan.tool = { hint: places.length === 1 ? t('distance.second') : t('distance.first') };
  if (places.length === 2) ask(plan);
  plan.redraw();
  return true;
}

const nameOf = (thing) => (!thing ? t('distance.point') : thing.kind === 'corner' ? t('distance.corner', { loop: thing.loop, n: thing.corner + 1 }) : t('distance.edge', { name: thing.edge }));

// causes of the engine have its own names, those of this page begin with @
const causeName = (cause) => (cause.startsWith('@') ? t(`cause.${cause.slice(1)}`) : cause);

async function ask(plan) {
  const [a, b] = places;
  try {
    const answer = await post('/api/ask/distance', { a: a.place, b: b.place, mm_per_px: 1 / plan.stage.view.k });
    answers.unshift({ ...answer, from: a.name, to: b.name });
    answers = answers.slice(0, 30);
    plan.parts.draft.points = answer.ends;
    plan.parts.draft.words = `${short(answer.value)} ${shortU(answer.U)}`;
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  plan.redraw();
}

export function changed(plan) {
  answers = [];
  places = [];
  plan.parts.draft.points = [];
  plan.parts.draft.words = '';
}

export function panel(side, plan) {
  fill(side, h('h1', {}, t('page.distance')), h('p', { class: 'hint' }, t('distance.how')),
    answers.length ? null : h('p', {}, t('distance.none')),
    answers.map((a, k) => h('article', { class: `card distance ${k ? '' : 'latest'}` },
      h('p', { class: 'big', role: k ? null : 'status' }, length(a.value)), h('p', { class: 'big-u' }, uncertainty(a.U), h('small', {}, ` ${t('k2')}`)),
      a.unscaled ? h('p', { class: 'mark look' }, t('unscaled')) : null,
      h('p', { class: 'hint' }, `${a.from} → ${a.to}`),
      h('details', { data: { key: `b-${k}` } }, h('summary', {}, t('budget')), h('ul', { class: 'budget' }, a.budget.map(([cause, u]) => h('li', {}, h('span', {}, causeName(cause)), h('meter', { min: 0, max: a.budget[0][1], value: u, 'aria-label': causeName(cause) }), h('span', { class: 'num' }, `${u.toFixed(2)} mm`))))),
      button(t('show-place'), () => { plan.parts.draft.points = a.ends; plan.parts.draft.words = `${short(a.value)} ${shortU(a.U)}`; plan.show([(a.ends[0][0] + a.ends[1][0]) / 2, (a.ends[0][1] + a.ends[1][1]) / 2]); plan.redraw(); }, { icon: 'place', class: 'small', data: { key: `p-${k}` } }))),
    answers.length ? button(t('distance.clear'), () => { changed(plan); plan.redraw(); }, { data: { key: 'clear' } }) : null,
    store.result ? null : nextStep('distance'));
}
