// Panel of edges: what was found, how well it is known, and every way to correct it.

import { OTHER_LINE_MM, USUAL_MM } from './constants.js';
import { h, fill, button, icon, select, labelled, notice } from './dom.js';
import { post } from './api.js';
import { store, edit, edges, found, freeName } from './store.js';
import { newEdgeForm, carrierForm, addEdge, kindOptions, shapeOptions } from './draw.js';
import { finding, findingsOf } from './findings.js';
import * as geometry from './geometry.js';
import { lengthInput } from './form.js';
import { length, short, shortU, uncertainty, metric } from './units.js';
import { classOf } from './overlay.js';
import { nextStep } from './nextstep.js';
import { t } from './text.js';

let carrier = null;

export function panel(side, plan) {
  const list = edges();
  carrier ||= carrierForm();
  fill(side,
    h('h1', {}, t('page.edges')),
    plan.tool?.draw ? drawing(plan) : null,
    plan.tool?.draw ? null : nextStep('edges'),
    h('ul', { class: 'edges' }, list.map((spec) => row(spec, plan))),
    proposals(plan),
    plan.tool?.draw ? null : [newEdgeForm((tool) => plan.begin({ draw: true, ...tool }), { trace: false }), store.result ? carrier : null],
    runs(plan),
    general(plan));
}

// ------------------------------------------------------------------------------------------- proposals

function proposals(plan) {
  if (!store.result) return null;
  const list = store.proposals;
  return h('section', {}, h('div', { class: 'row spread' }, h('h2', {}, t('proposals', { n: list.length })),
    list.length > 1 ? button(t('proposal.all'), async () => { for (const p of [...store.proposals]) await accept(p); }, { class: 'small', data: { key: 'accept-all' } }) : null),
  h('ul', { class: 'plain-list proposals' }, list.map((p, k) => h('li', { class: 'card row spread' },
    h('span', {}, h('b', {}, `${k + 1} · ${t(`kind.${p.kind}`)}`), h('small', {}, ` ${t(`source.${p.source}`)}${p.targets.length ? ` ${p.targets.join(' ')}` : ''} · ${t('proposal.sure', { n: Math.round(p.confidence * 100) })}`)),
    h('span', { class: 'row' },
      button('', () => plan.show(geometry.middle(p.line), 0.4), { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `ps-${p.key}` } }),
      button(t('proposal.yes'), () => accept(p), { class: 'small main', icon: 'good', data: { key: `py-${p.key}` } }),
      button('', () => post('/api/turn-down', { key: p.key }).catch(() => {}), { icon: 'short', class: 'small', 'aria-label': t('proposal.no'), title: t('proposal.no'), data: { key: `pn-${p.key}` } }))))),
  list.length ? h('p', { class: 'hint' }, t('proposal.hint')) : null,
  button(t('proposal.look'), () => post('/api/propose').then((r) => !r.n && notice(t('proposal.none')), (e) => notice(e.sentence, 'error')), { disabled: store.work.state === 'measuring', data: { key: 'propose' } }));
}

async function accept(p) {
  const spec = { kind: p.kind };
  if (p.source !== 'trace') Object.assign(spec, { source: p.source, targets: p.targets });
  else Object.assign(spec, await post('/api/ask/anchor', { path: p.path }), p.search && p.search !== 12 ? { search: p.search } : {}, p.height ? { height: p.height } : {});
  await addEdge({ shape: p.shape, ...spec });
  store.proposals = store.proposals.filter((x) => x.key !== p.key);
  post('/api/turn-down', { key: p.key }).catch(() => {});
}

export function changed() { carrier = null; }

function drawing(plan) {
  const n = plan.parts.draft.points.length;
  return h('div', { class: 'card' }, h('p', {}, t('draw.hint', { n })),
    h('div', { class: 'row' }, button(t('draw.done'), () => plan.finish(), { disabled: n < 2, class: 'main', data: { key: 'done' } }),
      button(t('cancel'), () => plan.stop(), { data: { key: 'cancel' } })));
}

const SIGN = { good: 'good', look: 'look', short: 'short' };

function row(spec, plan) {
  const e = found(spec.id);
  const verdict = store.result?.verdicts?.[spec.id];
  const open = store.selected === spec.id;
  const pending = !e && (!store.result || store.stale || !store.result.edges.some((x) => x.id === spec.id));
  const sign = e ? SIGN[verdict?.state] || 'note' : pending ? 'note' : 'short';
  const worst = e ? Math.max(...(e.offset_U || e.U)) : null;
  const head = h('button', {
    type: 'button', class: 'edge-head', 'aria-expanded': String(open), data: { key: `edge-${spec.id}` },
    onclick: () => { store.selected = open ? '' : spec.id; if (!open && e) bringIn(plan, e); plan.redraw(); },
  },
  h('span', { class: `sign ${e ? verdict?.state || '' : pending ? '' : 'short'}` }, icon(sign)),
  h('span', { class: 'edge-name' }, spec.id, h('small', {}, `${t(`kind.${spec.kind}`)} · ${t(`source.${spec.source}`)}`)),
  e ? h('span', { class: 'edge-figure' }, short(e.length), h('small', {}, h('b', {}, classOf(worst).toUpperCase()), ` ${shortU(worst)}`))
    : h('span', { class: 'edge-figure' }, t(pending ? 'edge.pending' : 'edge.lost')));
  return h('li', { class: open ? 'open' : '' }, head, open ? details(spec, e, verdict, plan) : null);
}

function bringIn(plan, e) {
  const q = plan.stage.toScreen(e.xy[e.xy.length >> 1]);
  if (q[0] < 40 || q[1] < 40 || q[0] > plan.stage.width - 40 || q[1] > plan.stage.height - 40) plan.show(e.xy[e.xy.length >> 1]);
}

function details(spec, e, verdict, plan) {
  const id = spec.id;
  const at = (key) => ['edges', { id }, key];
  const set = (key, value) => edit(`edge-${key}`, id, [{ op: 'set', at: at(key), value }]);
  const own = findingsOf([id], store.result?.findings);
  const hint = (store.result?.edges || []).find((x) => x.id === id)?.hint;
  return h('div', { class: 'edge-body' },
    verdict ? h('p', { class: `verdict ${verdict.state}` }, icon(SIGN[verdict.state]), h('span', {}, verdict.sentence)) : null,
    e ? h('dl', { class: 'figures' },
      pair(t('edge.length'), length(e.length), e.length_U > 1e-6 ? uncertainty(e.length_U) : ''),
      pair(t('edge.place'), e.offset_U ? e.offset_U.map((u) => shortU(u)).join(' · ') : '–', t('edge.place.hint')),
      pair(t('edge.height'), `${e.height.map((v) => v.toFixed(1).replace('-', '−')).join(' · ')} mm`, t('edge.height.hint')),
      pair(t('edge.seen'), t('edge.seen.in', { photos: e.n_photos, points: e.n_points }), e.rms != null ? t('edge.rms', { rms: metric(e.rms, 2) }) : '')) : null,
    e?.budget?.length ? budget(e) : null,
    own.map((f) => finding(f, plan, id)),
    e ? candidates(spec, e) : null,
    h('div', { class: 'row wrap' },
      labelled(t('edge.kind'), select(kindOptions(), spec.kind, (v) => set('kind', v), { data: { key: `k-${id}` } })),
      labelled(t('edge.shape'), select(shapeOptions(), spec.shape, (v) => set('shape', v === 'line' ? null : v), { data: { key: `s-${id}` } }))),
    h('div', { class: 'row wrap' },
      labelled(t('edge.name'), h('input', { value: id, maxlength: 40, autocomplete: 'off', data: { key: `n-${id}` }, onchange: (ev) => rename(id, ev.target.value) })),
      spec.source === 'trace' ? labelled(t('edge.search'), lengthInput(spec.search, (v) => set('search', v), `w-${id}`, { usual: USUAL_MM.search })) : null),
    spec.source !== 'trace' ? h('p', { class: 'hint' }, t('edge.carried', { targets: spec.targets.join(', ') })) : null,
    spec.source === 'trace' ? h('fieldset', { class: 'ends' }, h('legend', {}, t('edge.ends')),
      h('p', { class: 'hint' }, t('edge.ends.hint')),
      h('div', { class: 'row wrap' }, (hint || []).map((q, k) => button(t('edge.end', { n: k + 1 }), () => plan.moveEnd(id, k), { data: { key: `end-${id}-${k}` } })))) : null,
    h('div', { class: 'row wrap' },
      e ? button(t('show-place'), () => plan.show(e.xy[e.xy.length >> 1], 0.7), { icon: 'place', data: { key: `show-${id}` } }) : null,
      spec.source === 'trace' ? button(t('edge.again'), () => plan.begin({ draw: true, kind: spec.kind, shape: spec.shape, again: id }), { icon: 'draw', data: { key: `again-${id}` } }) : null,
      spec.photo ? h('a', { class: 'button', href: `#photo/${encodeURIComponent(spec.photo)}` }, t('edge.photo', { name: spec.photo })) : null,
      button(t('edge.remove'), () => { store.selected = ''; edit('remove-edge', id, [{ op: 'remove-edge', id }]); }, { icon: 'gone', data: { key: `gone-${id}` } })));
}

const pair = (name, value, more) => [h('dt', {}, name), h('dd', {}, value, more ? h('small', {}, more) : null)];

function budget(e) {
  const most = e.budget[0][1] || 1;
  return h('details', { data: { key: `budget-${e.id}` } }, h('summary', {}, t('budget')),
    h('ul', { class: 'budget' }, e.budget.map(([cause, u]) => h('li', {}, h('span', {}, cause), h('meter', { min: 0, max: most, value: u, 'aria-label': cause }), h('span', { class: 'num' }, `${u.toFixed(2)} mm`)))));
}

function candidates(spec, e) {
  const close = (e.candidates || []).filter((c) => c.choose !== null && Math.abs(c.offset) <= OTHER_LINE_MM);
  if (!close.length && spec.choose === undefined) return null;
  const choose = (v) => edit('choose-edge', spec.id, [{ op: 'set', at: ['edges', { id: spec.id }, 'choose'], value: v }]);
  return h('fieldset', { class: 'candidates' }, h('legend', {}, t('candidates')),
    h('p', { class: 'hint' }, t('candidates.hint')),
    h('ul', { class: 'plain-list' },
      h('li', { class: 'row spread' }, h('span', {}, icon('good'), ` ${t('candidate.this')}`),
        spec.choose === undefined ? button(t('candidate.confirm'), () => choose(e.choose_now), { class: 'small', data: { key: `keep-${spec.id}` } })
          : button(t('candidate.free'), () => choose(null), { class: 'small', data: { key: `free-${spec.id}` } })),
      (e.candidates || []).map((c, k) => (c.choose === null || Math.abs(c.offset) > OTHER_LINE_MM ? null : h('li', { class: 'row spread' },
        h('span', {}, h('b', {}, `${k + 1} `), t(c.offset > 0 ? 'candidate.left' : 'candidate.right', { d: metric(Math.abs(c.offset)), h: metric(c.height), s: Math.round(c.support * 100) })),
        button(t('candidate.take'), () => choose(c.choose), { class: 'small', data: { key: `take-${spec.id}-${k}` } }))))));
}

async function rename(id, to) {
  const name = to.trim();
  if (!name || name === id) return;
  store.selected = name;
  if (!await edit('rename', name, [{ op: 'rename', kind: 'edge', id, to: name }])) store.selected = id;
}

// ------------------------------------------------------------------------------------------------- runs

function runs(plan) {
  const loops = store.job.loops || [];
  const used = new Set(loops.flatMap((l) => l.edges));
  const spare = edges().filter((e) => !used.has(e.id) && found(e.id)).map((e) => e.id);
  return h('section', {}, h('h2', {}, t('runs')), h('p', { class: 'hint' }, t('runs.hint')),
    loops.map((loop) => run(loop, plan)),
    button(t('runs.new'), () => {
      const ids = chain(spare.length > 1 ? spare : edges().filter((e) => found(e.id)).map((e) => e.id));
      edit('add-loop', '', [{ op: 'add', at: ['loops'], value: { id: freeName('run', loops.map((l) => l.id)), edges: ids } }]);
    }, { icon: 'plus', disabled: !edges().length, data: { key: 'new-run' } }));
}

function run(loop, plan) {
  const at = ['loops', { id: loop.id }];
  const set = (ids) => edit('edit-loop', loop.id, ids.length ? [{ op: 'set', at: [...at, 'edges'], value: ids }] : [{ op: 'remove', at }]);
  const measured = (store.result?.loops || []).filter((l) => l.id === loop.id || l.id.startsWith(`${loop.id}/`));
  const closed = measured.length === 1 && measured[0].closed;
  const move = (k, d) => { const ids = [...loop.edges]; const [x] = ids.splice(k, 1); ids.splice(k + d, 0, x); set(ids); };
  const others = edges().map((e) => e.id).filter((id) => !loop.edges.includes(id));
  return h('details', { class: 'card', open: loop.edges.length > 0, data: { key: `run-${loop.id}` } },
    h('summary', {}, h('b', {}, loop.id), ' ', store.result && !store.stale ? h('span', { class: `mark ${closed ? 'good' : 'look'}` }, icon(closed ? 'good' : 'look'), t(closed ? 'run.closed' : 'run.open')) : null),
    h('ol', { class: 'chain' }, loop.edges.map((id, k) => h('li', {},
      button(id, () => { store.selected = id; plan.redraw(); }, { class: 'plain', data: { key: `r-${loop.id}-${id}` } }),
      h('span', { class: 'row' },
        button('', () => move(k, -1), { icon: 'up', class: 'small', disabled: !k, 'aria-label': t('run.up', { name: id }), title: t('run.up', { name: id }), data: { key: `u-${loop.id}-${id}` } }),
        button('', () => move(k, 1), { icon: 'down', class: 'small', disabled: k === loop.edges.length - 1, 'aria-label': t('run.down', { name: id }), title: t('run.down', { name: id }), data: { key: `d-${loop.id}-${id}` } }),
        button('', () => set(loop.edges.filter((x) => x !== id)), { icon: 'gone', class: 'small', 'aria-label': t('run.out', { name: id }), title: t('run.out', { name: id }), data: { key: `o-${loop.id}-${id}` } }))))),
    findingsOf([loop.id], store.result?.findings).map((f) => finding(f, plan, loop.id)),
    h('div', { class: 'row wrap' },
      others.length ? labelled(t('run.add'), select([['', t('choose')], ...others.map((id) => [id, id])], '', (v) => v && set([...loop.edges, v]), { data: { key: `add-${loop.id}` } })) : null,
      button(t('run.order'), () => set(chain(loop.edges)), { data: { key: `sort-${loop.id}` } }),
      h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: loop.closed !== false, data: { key: `c-${loop.id}` }, onchange: (e) => edit('edit-loop', loop.id, [{ op: 'set', at: [...at, 'closed'], value: e.target.checked ? null : false }]) }), t('run.is-closed'))));
}

const endsOf = (ids) => new Map(ids.map((id) => { const e = found(id); return [id, e ? /** @type {[Point, Point]} */ ([e.xy[0], e.xy[e.xy.length - 1]]) : null]; }));
const chain = (ids) => geometry.chain(ids, endsOf(ids));

function general(plan) {
  const named = new Set([...edges().map((e) => e.id), ...(store.job.loops || []).map((l) => l.id)]);
  const rest = (store.result?.findings || []).filter((f) => !f.where.split('/').some((n) => named.has(n)) && f.severity !== 'note');
  if (!rest.length) return null;
  return h('section', {}, h('h2', {}, t('findings.rest')), rest.map((f) => finding(f, plan, 'rest')));
}

