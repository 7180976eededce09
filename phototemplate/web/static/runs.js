// Panel of runs: edges in their order round one top. Neighbours are put together by one press; a wall may belong to two runs.

import { h, fill, button, icon, select, labelled } from './dom.js';
import { finding, findingsOf } from './findings.js';
import { nextStep } from './nextstep.js';
import { how } from './page.js';
import { drawBetween, offers, openPlace, orderOf } from './offers.js';
import { nearest } from './overlay.js';
import { store, edit, edges, found, freeName } from './store.js';
import { short } from './units.js';
import { t } from './text.js';

/** @param {any} plan */
export function enter(plan) { plan.parts.run.ids = []; plan.tool = { hint: t('runs.press') }; }
export function leave(plan) { plan.parts.run.ids = []; }
export function update(plan, what) { if (what === 'job') plan.parts.run.ids = plan.parts.run.ids.filter((id) => edges().some((e) => e.id === id)); }

/** Pressing edges puts them together; pressing one again takes it out. */
export function tap(plan, _world, p) {
  const thing = nearest(plan.stage, p, 18);
  const id = thing?.kind === 'edge' ? thing.edge : '';
  const ids = plan.parts.run.ids;
  if (id) plan.parts.run.ids = ids.includes(id) ? ids.filter((x) => x !== id) : [...ids, id];
  plan.redraw();
  return true;
}

const loops = () => store.job.loops || [];

const make = (ids) => edit('add-loop', '', [{ op: 'add', at: ['loops'], value: { id: freeName('run', loops().map((l) => l.id)), edges: ids } }]);

export function panel(side, plan) {
  const draft = plan.parts.run.ids;
  fill(side,
    h('h1', {}, t('page.runs')), nextStep('runs'), how('runs'), h('p', { class: 'hint' }, t('runs.hint')),
    draft.length ? h('div', { class: 'card' }, h('p', {}, t('runs.picked', { names: draft.join(' · ') })), h('div', { class: 'row wrap' },
      button(t('runs.make'), () => { make(orderOf(draft)); plan.parts.run.ids = []; }, { class: 'main', icon: 'plus', disabled: draft.length < 2, data: { key: 'make-run' } }),
      button(t('cancel'), () => { plan.parts.run.ids = []; plan.redraw(); }, { data: { key: 'drop-run' } }))) : null,
    draft.length ? null : offers().map((one, k) => offer(one, k, plan)),
    loops().map((loop) => run(loop, plan)),
    edges().length ? null : h('p', {}, t('runs.no-edges')));
}

// A run that is not there yet: closed by one press, or what has to be drawn first
function offer(one, k, plan) {
  const see = () => { plan.parts.run.ids = one.ids; plan.redraw(); };
  return h('div', { class: 'card' }, h('p', {}, t('runs.meet', { names: one.ids.join(' · ') })),
    one.unseen.map((u) => h('p', { class: 'mark note' }, icon('note'), h('span', {}, t('runs.unseen', { ...u, mm: short(u.mm) })))),
    one.open ? missing(one.open, plan, `${k}`) : null,
    h('div', { class: 'row wrap' },
      button(t(one.open ? 'runs.open' : 'runs.close'), () => make(one.ids), { class: one.open ? '' : 'main', icon: 'plus', data: { key: k ? `new-run-${k}` : 'new-run' } }),
      button('', see, { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `see-run-${k}` } })));
}

// The edge that is missing, and the way to draw it
const missing = (open, plan, key) => [
  h('p', { class: 'mark look' }, icon('look'), h('span', {}, open.from === open.to ? t('runs.lone', open) : t('runs.missing', open))),
  h('div', { class: 'row wrap' },
    button(t('runs.draw'), () => drawBetween(open), { class: 'main', icon: 'draw', data: { key: `draw-missing-${key}` } }),
    button('', () => plan.show(open.place, 0.3), { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `see-missing-${key}` } }))];

function run(loop, plan) {
  const at = ['loops', { id: loop.id }];
  const set = (ids) => edit('edit-loop', loop.id, ids.length ? [{ op: 'set', at: [...at, 'edges'], value: ids }] : [{ op: 'remove', at }]);
  const closed = Boolean((store.result?.loops || []).find((l) => l.id === loop.id)?.closed); // an open run comes back in parts
  const open = closed || store.stale || !loop.edges.every((id) => found(id)) ? null : openPlace(loop.edges);
  const move = (k, d) => { const ids = [...loop.edges]; const [x] = ids.splice(k, 1); ids.splice(k + d, 0, x); set(ids); };
  const others = edges().map((e) => e.id).filter((id) => !loop.edges.includes(id));
  return h('details', { class: 'card', open: true, data: { key: `run-${loop.id}` } },
    h('summary', {}, h('b', {}, loop.id), ' ', store.result && !store.stale ? h('span', { class: `mark ${closed ? 'good' : 'look'}` }, icon(closed ? 'good' : 'look'), t(closed ? 'run.closed' : 'run.open')) : null),
    h('ol', { class: 'chain' }, loop.edges.map((id, k) => h('li', {},
      button(id, () => { store.selected = id; plan.redraw(); }, { class: 'plain', data: { key: `r-${loop.id}-${id}` } }),
      h('small', {}, found(id) ? short(found(id).length) : t('edge.lost')),
      h('span', { class: 'row' },
        button('', () => move(k, -1), { icon: 'up', class: 'small', disabled: !k, 'aria-label': t('run.up', { name: id }), title: t('run.up', { name: id }), data: { key: `u-${loop.id}-${id}` } }),
        button('', () => move(k, 1), { icon: 'down', class: 'small', disabled: k === loop.edges.length - 1, 'aria-label': t('run.down', { name: id }), title: t('run.down', { name: id }), data: { key: `d-${loop.id}-${id}` } }),
        button('', () => set(loop.edges.filter((x) => x !== id)), { icon: 'gone', class: 'small', 'aria-label': t('run.out', { name: id }), title: t('run.out', { name: id }), data: { key: `o-${loop.id}-${id}` } }))))),
    open ? missing(open, plan, loop.id) : null,
    findingsOf([loop.id], store.result?.findings).map((f) => finding(f, plan, loop.id)),
    h('div', { class: 'row wrap' },
      others.length ? labelled(t('run.add'), select([['', t('choose')], ...others.map((id) => [id, id])], '', (v) => v && set([...loop.edges, v]), { data: { key: `add-${loop.id}` } })) : null,
      button(t('run.order'), () => set(orderOf(loop.edges)), { data: { key: `sort-${loop.id}` } }),
      button(t('run.remove'), () => edit('remove-loop', loop.id, [{ op: 'remove', at }]), { icon: 'gone', data: { key: `gone-${loop.id}` } }),
      h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: loop.closed !== false, data: { key: `c-${loop.id}` }, onchange: (e) => edit('edit-loop', loop.id, [{ op: 'set', at: [...at, 'closed'], value: e.target.checked ? null : false }]) }), t('run.is-closed'))));
}
