// Panel of edges: what is proposed, one at a time; what was found, how well it is known, and every way to correct it.

import { OTHER_LINE_MM, SURE, USUAL_MM } from './constants.js';
import { h, fill, button, icon, select, labelled, notice } from './dom.js';
import { post } from './api.js';
import { store, changed as tell, edit, edges, found, freeName, openProposals, paperSaid } from './store.js';
import { newEdgeForm, carrierForm, kindOptions, shapeOptions } from './draw.js';
import { palette } from './drawing.js';
import { finding, findingsOf, told } from './findings.js';
import { lengthInput } from './form.js';
import { distanceOf, middle } from './geometry.js';
import { Loupe } from './loupe.js';
import { nextStep } from './nextstep.js';
import { how } from './page.js';
import { takeWanted } from './offers.js';
import { length, short, uncertainty, metric, within, known, largest } from './units.js';
import { t, has } from './text.js';

/** ratio. Share of the top view that a line to be drawn takes. Convention: its surroundings are seen, and a press is good to a few mm. */
const DRAWN_SHARE = 0.6;
/** mm. Shorter lines are not shown larger. Convention: a narrow cabinet. */
const DRAWN_LEAST_MM = 300;

let carrier = null;
/** @type {Loupe | null} pictures of the place in question, kept while the panel is drawn anew */
let closeup = null;
let lookedAt = '';

export function enter(plan) {
  closeup = null;
  lookedAt = '';
  const wanted = takeWanted();
  if (!wanted) return;
  plan.begin({ draw: true, kind: wanted.kind, shape: 'line', why: t(wanted.from === wanted.to ? 'runs.lone' : 'runs.missing', wanted) });
  plan.parts.draft.guide = wanted.gap;
  const [a, b] = wanted.gap;
  plan.show(wanted.place, DRAWN_SHARE * Math.min(plan.stage.width, plan.stage.height) / Math.max(distanceOf(a, b), DRAWN_LEAST_MM));
}
export function leave(plan) { closeup?.close(); plan.parts.proposals.present = ''; }

export function panel(side, plan) {
  const list = edges();
  carrier ||= carrierForm();
  if (!closeup) closeup = new Loupe({ width: 372, height: 150, zoom: 1, still: true });
  const draws = Boolean(plan.tool?.draw);
  fill(side,
    h('h1', {}, t('page.edges')),
    draws ? drawing(plan) : [nextStep('edges'), how('edges')],
    draws ? null : question(plan),
    list.length ? h('h2', {}, t('edges.taken', { n: list.length })) : null,
    h('ul', { class: 'edges' }, list.map((spec) => row(spec, plan))),
    draws ? null : [newEdgeForm((tool) => plan.begin({ draw: true, ...tool }), { trace: false }), store.result ? carrier : null],
    general(plan));
}

// ------------------------------------------------------------------------------------------- proposals

/** Sure, and nothing else worth naming it could be. A traced line whose readings nobody has weighed is never sure. @param {Proposal} p */
const isSure = (p) => p.confidence >= SURE && (p.source !== 'trace' || Boolean(p.reading));

// One proposal at a time: the place in the top view and in the photos, what it is taken for, what else it could be
function question(plan) {
  if (!store.result) return null;
  const list = openProposals();
  const look = button(t('proposal.look'), () => post('/api/propose').then((r) => !r.n && notice(t('proposal.none')), (e) => notice(e.sentence, 'error')), { disabled: store.work.state === 'measuring' || !paperSaid(), class: 'small', data: { key: 'propose' } });
  if (!list.length) { plan.parts.proposals.present = ''; return h('div', { class: 'row wrap' }, look, paperSaid() ? null : h('p', { class: 'hint' }, t('proposal.under'))); }
  const p = list.find((x) => x.key === plan.parts.proposals.present) || list[0];
  const k = list.indexOf(p), unsure = !isSure(p), sure = list.filter(isSure);
  const show = (x) => { plan.parts.proposals.present = x.key; lookedAt = ''; plan.redraw(); };
  plan.parts.proposals.present = p.key;
  look_at(plan, p);
  return h('section', { class: 'card question', 'aria-label': t('proposal.one', { k: k + 1, n: list.length }) },
    h('div', { class: 'row spread' }, h('h2', {}, t('proposal.one', { k: k + 1, n: list.length })), h('span', { class: 'row' },
      button('', () => show(list[(k + list.length - 1) % list.length]), { icon: 'back', class: 'small', disabled: list.length < 2, 'aria-label': t('proposal.before'), title: t('proposal.before'), data: { key: 'p-before' } }),
      button('', () => show(list[(k + 1) % list.length]), { icon: 'next', class: 'small', disabled: list.length < 2, 'aria-label': t('proposal.after'), title: t('proposal.after'), data: { key: 'p-after' } }))),
    h('p', { class: 'big-question' }, t('proposal.is-it', { kind: t(`kind.${p.kind}`) })),
    h('p', { class: 'hint' }, p.source === 'trace' ? p.reading ? t('proposal.taken-for', { what: p.reading.text }) : t('proposal.traced') : t('proposal.carried', { what: t(`source.${p.source}`), targets: p.targets.join(', ') }), ` ${t(isSure(p) ? 'proposal.is-sure' : 'proposal.is-unsure', { n: Math.round(p.confidence * 100) })}`),
    p.second ? h('p', { class: `mark ${unsure ? 'look' : 'note'}` }, icon(unsure ? 'look' : 'note'), h('span', {}, t('proposal.other', { what: p.second.text }))) : null,
    h('div', { class: 'row wrap' },
      button(t('proposal.yes'), () => accept([p]), { class: 'main', icon: 'good', data: { key: 'p-yes' } }),
      p.source === 'trace' ? button(t('proposal.the-other'), () => another(p), { data: { key: 'p-other' } }) : null,
      button(t('proposal.draw'), () => plan.begin({ draw: true, kind: p.kind, shape: p.shape, instead: p.key }), { icon: 'draw', data: { key: 'p-draw' } }),
      button(t('proposal.no'), () => post('/api/turn-down', { key: p.key }).catch((e) => notice(e.sentence, 'error')), { icon: 'short', data: { key: 'p-no' } })),
    closeup.box,
    sure.length ? h('div', { class: 'row wrap' }, button(t('proposal.sure', { n: sure.length, left: list.length - sure.length }), () => accept(sure), { class: 'small', data: { key: 'accept-sure' } }))
      : list.length > 1 ? h('p', { class: 'hint' }, t('proposal.none-sure')) : null,
    h('div', { class: 'row' }, look));
}

function look_at(plan, p) {
  if (lookedAt === p.key) return;
  lookedAt = p.key;
  const place = middle(p.line);
  closeup.lines = [{ points: p.line, colour: palette().pick, dash: [12, 6] }];
  closeup.show(place);
  plan.show(place, 0.3);
}

// Another line of the same place: the edge is taken, and opened where the lines beside it can be chosen
async function another(p) {
  await accept([p]);
  store.selected = store.accepted[p.key] || '';
}

/** Keys of proposals that are being taken, so that a button pressed twice takes them once */
const taking = new Set();

// One step for one act, however many edges it takes
async function accept(wanted) {
  const list = wanted.filter((p) => !taking.has(p.key) && openProposals().includes(p));
  if (!list.length) return;
  for (const p of list) taking.add(p.key);
  const taken = edges().map((e) => e.id);
  const operations = [], made = {};
  try {
    for (const p of list) {
      const id = freeName(p.kind, taken);
      taken.push(id);
      made[p.key] = id;
      const spec = { id, kind: p.kind };
      if (p.shape !== 'line') spec.shape = p.shape;
      if (p.source !== 'trace') Object.assign(spec, { source: p.source, targets: p.targets });
      else {
        Object.assign(spec, await post('/api/ask/anchor', { path: p.path, ...p.level ? { level: p.level } : {} }), p.search && p.search !== 12 ? { search: p.search } : {}, p.height ? { height: p.height } : {});
      }
      operations.push({ op: 'add', at: ['edges'], value: spec });
    }
    if (await edit(list.length > 1 ? 'add-edges' : 'add-edge', list.length > 1 ? String(list.length) : operations[0].value.id, operations)) {
      Object.assign(store.accepted, made);
      tell('proposals');
      await post('/api/accept', { made });
    }
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  for (const p of list) taking.delete(p.key);
}

/** An edge was drawn in place of a proposal. @param {string} key @param {string} id */
export function drawnInstead(key, id) { post('/api/accept', { made: { [key]: id } }).catch(() => {}); }

export function changed() { carrier = null; }

function drawing(plan) {
  const n = plan.parts.draft.points.length;
  return h('div', { class: 'card' }, plan.tool.why ? h('p', {}, h('b', {}, plan.tool.why)) : null, h('p', {}, t('draw.hint', { n })),
    plan.tool.again ? null : labelled(t('edge.kind'), select(kindOptions(), plan.tool.kind, (v) => { plan.tool.kind = v; }, { data: { key: 'draw-kind' } })),
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
  const worst = e ? largest(e.offset_U || e.U) : null;
  const head = h('button', {
    type: 'button', class: 'edge-head', 'aria-expanded': String(open), data: { key: `edge-${spec.id}` },
    onclick: () => { store.selected = open ? '' : spec.id; if (!open && e) bringIn(plan, e); plan.redraw(); },
  },
  h('span', { class: `sign ${e ? verdict?.state || '' : pending ? '' : 'short'}` }, icon(sign)),
  h('span', { class: 'edge-name' }, spec.id, h('small', {}, `${t(`kind.${spec.kind}`)} · ${t(`source.${spec.source}`)}`)),
  e ? h('span', { class: 'edge-figure' }, short(e.length), h('small', {}, known(worst)))
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
      pair(t('edge.length'), length(e.length), e.length_U !== null ? known(e.length_U) : ''),
      pair(t('edge.place'), e.offset_U ? within(largest(e.offset_U)) : '–', t('edge.place.hint')),
      e.source === 'trace' && (e.kind === 'front' || e.kind === 'end') ? pair(t('edge.line'), t(e.line === 'door' ? 'edge.line.door' : 'edge.line.box')) : null,
      e.level ? pair(t('edge.level'), e.level) : null,
      pair(t('edge.height'), `${e.height.map((v) => v.toFixed(1).replace('-', '−')).join(' · ')} mm`, t('edge.height.hint')),
      pair(t('edge.seen'), t('edge.seen.in', { photos: e.n_photos, points: e.n_points }), '')) : null,
    e ? why(e) : null,
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

// The statistics behind the words, for who asks
function why(e) {
  const most = e.budget?.[0]?.[1] || 1;
  return h('details', { data: { key: `budget-${e.id}` } }, h('summary', {}, t('why')),
    h('p', { class: 'hint' }, store.result.inside?.[e.id] === undefined ? '' : `${t('why.places', { n: Math.floor(100 * store.result.inside[e.id]), places: (e.offset_U || []).map((u) => uncertainty(u)).join(' · ') })} `, e.rms != null ? ` ${t('why.scatter', { rms: metric(e.rms, 2) })}` : ''),
    h('ul', { class: 'budget' }, (e.budget || []).map(([cause, u]) => h('li', {}, h('span', {}, has(`cause.${cause}`) ? t(`cause.${cause}`) : cause), h('meter', { min: 0, max: most, value: u, 'aria-label': cause }), h('span', { class: 'num' }, `${u.toFixed(2)} mm`)))));
}

function candidates(spec, e) {
  const close = (e.candidates || []).filter((c) => c.choose !== null && Math.abs(c.offset) <= OTHER_LINE_MM);
  const named = spec.choose !== undefined || spec.line !== undefined;
  if (!close.length && !named) return null;
  // a line that has a name is meant by it, wherever the path is drawn; any other by its place
  const choose = (line, place = null) => edit('choose-edge', spec.id, [
    { op: 'set', at: ['edges', { id: spec.id }, 'line'], value: line }, { op: 'set', at: ['edges', { id: spec.id }, 'choose'], value: place }]);
  return h('fieldset', { class: 'candidates' }, h('legend', {}, t('candidates')),
    h('p', { class: 'hint' }, t('candidates.hint')),
    h('ul', { class: 'plain-list' },
      h('li', { class: 'row spread' }, h('span', {}, icon('good'), ` ${t('candidate.this')}`),
        !named ? button(t('candidate.confirm'), () => choose(e.line || 'box'), { class: 'small', data: { key: `keep-${spec.id}` } })
          : button(t('candidate.free'), () => choose(null, null), { class: 'small', data: { key: `free-${spec.id}` } })),
      (e.candidates || []).map((c, k) => (c.choose === null || Math.abs(c.offset) > OTHER_LINE_MM ? null : h('li', { class: 'row spread' },
        h('span', {}, h('b', {}, `${k + 1} `), t(c.offset > 0 ? 'candidate.left' : 'candidate.right', { d: metric(Math.abs(c.offset)), h: metric(c.height), s: Math.round(c.support * 100) }), c.reading ? `: ${c.reading.text}` : ''),
        button(t('candidate.take'), () => (c.line ? choose(c.line) : choose(null, c.choose)), { class: 'small', data: { key: `take-${spec.id}-${k}` } }))))));
}

async function rename(id, to) {
  const name = to.trim();
  if (!name || name === id) return;
  store.selected = name;
  if (!await edit('rename', name, [{ op: 'rename', kind: 'edge', id, to: name }])) store.selected = id;
}

function general(plan) {
  const named = new Set([...edges().map((e) => e.id), ...(store.job.loops || []).map((l) => l.id)]);
  const rest = (store.result?.findings || []).filter((f) => !f.where.split('/').some((n) => named.has(n)) && f.severity !== 'note');
  if (!rest.length) return null;
  return h('section', {}, h('h2', {}, t('findings.rest')), told(rest, plan, 'rest'));
}

