// Panel of runs: edges in their order round one top. Neighbours are put together by one press; a wall may belong to two runs.

import { CORNER_REACH_MM } from './constants.js';
import { h, fill, button, icon, select, labelled } from './dom.js';
import { finding, findingsOf } from './findings.js';
import { chain, runsOf } from './geometry.js';
import { nextStep } from './nextstep.js';
import { nearest } from './overlay.js';
import { store, edit, edges, endsOf, found, freeName } from './store.js';
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

/** Runs that the edges found so far form and that are not there yet; a wall beside two of them is offered to both. */
function suggestions() {
  const used = new Set(loops().flatMap((l) => l.edges));
  const isWall = (id) => found(id)?.kind === 'wall';
  const ids = edges().map((e) => e.id).filter((id) => found(id) && (isWall(id) || !used.has(id)));
  return runsOf(ids, endsOf(ids), CORNER_REACH_MM, isWall).filter((run) => run.length > 2);
}

const make = (ids) => edit('add-loop', '', [{ op: 'add', at: ['loops'], value: { id: freeName('run', loops().map((l) => l.id)), edges: ids } }]);

export function panel(side, plan) {
  const draft = plan.parts.run.ids;
  fill(side,
    h('h1', {}, t('page.runs')), nextStep('runs'), h('p', { class: 'hint' }, t('runs.hint')),
    draft.length ? h('div', { class: 'card' }, h('p', {}, t('runs.picked', { names: draft.join(' · ') })), h('div', { class: 'row wrap' },
      button(t('runs.make'), () => { make(chain(draft, endsOf(draft))); plan.parts.run.ids = []; }, { class: 'main', icon: 'plus', disabled: draft.length < 2, data: { key: 'make-run' } }),
      button(t('cancel'), () => { plan.parts.run.ids = []; plan.redraw(); }, { data: { key: 'drop-run' } }))) : null,
    draft.length ? null : suggestions().map((ids, k) => h('div', { class: 'card row spread wrap' }, h('span', {}, t('runs.meet', { names: ids.join(' · ') })), h('span', { class: 'row' },
      button('', () => { plan.parts.run.ids = ids; plan.redraw(); }, { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `see-run-${k}` } }),
      button(t('runs.close'), () => make(ids), { class: 'main', icon: 'plus', data: { key: k ? `new-run-${k}` : 'new-run' } })))),
    loops().map((loop) => run(loop, plan)),
    edges().length ? null : h('p', {}, t('runs.no-edges')));
}

function run(loop, plan) {
  const at = ['loops', { id: loop.id }];
  const set = (ids) => edit('edit-loop', loop.id, ids.length ? [{ op: 'set', at: [...at, 'edges'], value: ids }] : [{ op: 'remove', at }]);
  // an open run comes back in parts that are called after it
  const measured = (store.result?.loops || []).filter((l) => l.id === loop.id || l.id.startsWith(`${loop.id}/`));
  const closed = measured.length === 1 && measured[0].closed;
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
    findingsOf([loop.id], store.result?.findings).map((f) => finding(f, plan, loop.id)),
    h('div', { class: 'row wrap' },
      others.length ? labelled(t('run.add'), select([['', t('choose')], ...others.map((id) => [id, id])], '', (v) => v && set([...loop.edges, v]), { data: { key: `add-${loop.id}` } })) : null,
      button(t('run.order'), () => set(chain(loop.edges, endsOf(loop.edges))), { data: { key: `sort-${loop.id}` } }),
      button(t('run.remove'), () => edit('remove-loop', loop.id, [{ op: 'remove', at }]), { icon: 'gone', data: { key: `gone-${loop.id}` } }),
      h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: loop.closed !== false, data: { key: `c-${loop.id}` }, onchange: (e) => edit('edit-loop', loop.id, [{ op: 'set', at: [...at, 'closed'], value: e.target.checked ? null : false }]) }), t('run.is-closed'))));
}
