// Panel of distances: two places, the distance between them and how well it is known. They are kept with the job.

import { h, fill, button, icon, notice } from './dom.js';
import { post, sentenceOf } from './api.js';
import { store, edit, freeName } from './store.js';
import { middle } from './geometry.js';
import { nearest } from './overlay.js';
import { length, short, uncertainty, within, known } from './units.js';
import { nextStep } from './nextstep.js';
import { how } from './page.js';
import { t } from './text.js';

/** @type {{place: any, at: Point}[]} */
let places = [];

export function enter(plan) { places = []; plan.tool = { hint: t('distance.first') }; }
export function leave(plan) { places = []; plan.parts.draft.points = []; }

export function tap(plan, world, p) {
  const thing = nearest(plan.stage, p);
  if (places.length === 2) places = [];
  const place = thing?.kind === 'corner' ? { loop: thing.loop, corner: thing.corner } : { ...(thing ? { edge: thing.edge } : {}), xy: thing ? thing.xy : world };
  places.push({ place, at: thing ? thing.xy : world });
  draw(plan, places.map((x) => x.at), '');
  plan.tool = { hint: t(places.length === 1 ? 'distance.second' : 'distance.first') };
  if (places.length === 2) keep(plan, places.map((x) => x.place));
  plan.redraw();
  return true;
}

function draw(plan, points, words) {
  Object.assign(plan.parts.draft, { points, words, live: null });
}

// The answer at once, and the question into the job file: it is worked out anew with every measurement
async function keep(plan, ends) {
  const [a, b] = ends;
  const pointing = 1 / plan.stage.view.k;
  try {
    const answer = await post('/api/ask/distance', { a, b, mm_per_px: pointing });
    draw(plan, answer.ends, words(answer));
    const id = freeName('distance', (store.job.distances || []).map((d) => d.id));
    const tied = async (place) => {
      if (place.loop !== undefined) return place;
      const anchored = await post('/api/ask/anchor', { path: [place.xy] });
      return { ...(place.edge ? { edge: place.edge } : {}), sheet: anchored.sheet, at: anchored.path[0] };
    };
    await edit('add-distance', words(answer), [{ op: 'add', at: ['distances'], value: { id, a: await tied(a), b: await tied(b), pointing } }]);
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  plan.redraw();
}

const words = (d) => `${short(d.value)} ${within(d.U)}`;
const nameOf = (place) => (place.loop !== undefined ? t('distance.corner', { loop: place.loop, n: place.corner + 1 }) : place.edge ? t('distance.edge', { name: place.edge }) : t('distance.point'));
// causes of the engine have its own names, those of this page begin with @
const causeName = (cause) => (cause.startsWith('@') ? t(`cause.${cause.slice(1)}`) : cause);

export function panel(side, plan) {
  const kept = [...(store.result?.distances || [])].filter((d) => (store.job.distances || []).some((spec) => spec.id === d.id)).reverse();
  fill(side, h('h1', {}, t('page.distance')), h('p', { class: 'hint' }, t('distance.how')), how('distance'),
    kept.length ? null : h('p', {}, t('distance.none')),
    kept.map((d, k) => h('article', { class: `card distance ${k ? '' : 'latest'}` },
      d.trouble ? h('p', { class: 'mark look' }, icon('look'), sentenceOf(d.trouble))
        : [h('p', { class: 'big', role: k ? null : 'status' }, length(d.value)), h('p', { class: 'big-u' }, known(d.U)),
          d.unscaled ? h('p', { class: 'mark look' }, t('unscaled')) : null],
      h('p', { class: 'hint' }, `${nameOf(d.from)} → ${nameOf(d.to)}`),
      d.trouble || d.U === null ? null : h('details', { data: { key: `b-${d.id}` } }, h('summary', {}, t('why')), h('p', { class: 'hint' }, t('why.U', { U: uncertainty(d.U) })),
        h('ul', { class: 'budget' }, d.budget.map(([cause, u]) => h('li', {}, h('span', {}, causeName(cause)), h('meter', { min: 0, max: d.budget[0][1], value: u, 'aria-label': causeName(cause) }), h('span', { class: 'num' }, `${u.toFixed(2)} mm`))))),
      h('div', { class: 'row' },
        d.trouble ? null : button(t('show-place'), () => { draw(plan, d.ends, words(d)); plan.show(middle(d.ends)); plan.redraw(); }, { icon: 'place', class: 'small', data: { key: `p-${d.id}` } }),
        button(t('remove'), () => { draw(plan, [], ''); edit('remove-distance', d.trouble ? d.id : short(d.value), [{ op: 'remove', at: ['distances', { id: d.id }] }]); }, { icon: 'gone', class: 'small', data: { key: `g-${d.id}` } })))),
    store.result ? null : nextStep('distance'));
}
