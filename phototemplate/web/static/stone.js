// Panel of the stone: pieces made from runs, with overhang, corners, openings, cut-outs, seams and splashes.

import { h, fill, button, icon, notice, select, labelled } from './dom.js';
import { store, edit, loadSchema, freeName } from './store.js';
import { fields, field, lengthInput, schemaOf, setter, resolve, fieldName } from './form.js';
import { things } from './things.js';
import { finding, findingsOf, sorted, told } from './findings.js';
import { PLACEABLE, gaps, openGap, place } from './stonehand.js';
import { nearest } from './overlay.js';
import { inside, middle } from './geometry.js';
import { short, within, length, degrees, metric, inInch } from './units.js';
import { nextStep } from './nextstep.js';
import { how } from './page.js';
import { t } from './text.js';

const FINISHES = ['finished', 'wall', 'panel', 'appliance', 'seam'];

export function enter(plan) {
  if (!store.schema) loadSchema().then(() => plan.redraw());
}

export function leave(plan) { plan.tool = null; }

/** @param {any} plan @param {Point} world @param {Point} p screen */
export function tap(plan, world, p) {
  if (plan.tool?.place) {
    if (place(plan, plan.tool.place, p)) plan.stop(); else notice(t('stone.press-edge'));
    return true;
  }
  const thing = nearest(plan.stage, p);
  if (thing?.kind === 'edge') store.selected = thing.edge;
  const piece = (store.result?.stone?.pieces || []).find((p) => inside(p.shape, world));
  plan.parts.stone.selected = piece?.id || '';
  plan.redraw();
  return true;
}

export function panel(side, plan) {
  const stone = store.result?.stone;
  const specs = store.job.pieces || [];
  const loops = [...(store.job.loops || []), ...(store.job.drawn || [])];
  fill(side, h('h1', {}, t('page.stone')), nextStep('stone'), how('stone'),
    store.schema ? null : h('p', {}, t('loading')),
    store.schema ? [
      stone?.trouble ? h('div', { class: 'finding serious', role: 'alert' }, icon('short'), h('div', {}, h('p', {}, h('b', {}, `${t('stone.trouble')} `), stone.trouble),
        stone.nearest != null ? h('p', { class: 'hint' }, t('stone.nearest', { value: length(stone.nearest) })) : null)) : null,
      specs.length ? null : h('p', { class: 'hint' }, loops.length ? t('stone.none') : t('stone.no-runs')),
      loops.filter((l) => !specs.some((s) => s.loop === l.id)).map((l) => button(t('stone.make', { run: l.id }), () => edit('add-piece', l.id,
        [{ op: 'add', at: ['pieces'], value: { id: freeName(l.id, specs.map((s) => s.id)), loop: l.id } }]), { icon: 'plus', class: specs.length ? '' : 'main', data: { key: `make-${l.id}` } })),
      specs.length ? [offeredGaps(plan), byHand(plan)] : null,
      specs.map((spec) => pieceCard(spec, stone, plan)),
      stone?.splashes?.length ? splashes(stone) : null,
      ofJob(stone, plan),
      stone?.shims?.length ? shims(stone) : null,
      stone?.checks?.length ? checks(stone) : null,
      stone?.findings ? general(stone, specs, plan) : null,
      shop(),
      stone?.cautions ? h('details', { class: 'card', data: { key: 'cautions' } }, h('summary', {}, t('cautions')), h('ul', {}, stone.cautions.map((c) => h('li', {}, c.text)))) : null,
    ] : null);
}

// A gap between two tops: an opening is offered, and both tops end at it
const offeredGaps = (plan) => gaps().map((gap) => h('div', { class: 'card' }, h('p', {}, t('stone.gap-between', { ...gap, gap: short(gap.gap) })),
  h('div', { class: 'row wrap' }, button(t('stone.open-gap'), () => openGap(gap), { class: 'main', icon: 'plus', data: { key: `open-gap-${gap.a}` } }),
    button('', () => plan.show(gap.place, 0.3), { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `see-gap-${gap.a}` } }))));

// Pressing a thing, then the edge it belongs to, places it; its handle is dragged along that edge
function byHand(plan) {
  const now = plan.tool?.place;
  return h('section', { class: 'card' }, h('h2', {}, t('stone.by-hand')), h('p', { class: 'hint' }, t('stone.by-hand.how')),
    h('div', { class: 'row wrap' }, Object.keys(PLACEABLE).map((what) => button(t(`place.${what}`), () => (now === what ? plan.stop() : plan.begin({ place: what, hint: t('stone.press', { what: t(`place.${what}`) }) })), { 'aria-pressed': String(now === what), class: 'small', data: { key: `place-${what}` } }))));
}

function pieceCard(spec, stone, plan) {
  const made = (stone?.pieces || []).filter((p) => p.source === spec.id);
  const at = ['pieces', { id: spec.id }];
  const key = `piece-${spec.id}`;
  const setIn = (name, id, value) => edit('edit-piece', spec.id, [{ op: 'set', at: [...at, name, id], value }]);
  const listOf = (name) => things(name, at, spec[name], `${key}-${name}`, { about: (one) => sizesOf(made, one.id), findings: stone?.findings, plan });
  return h('section', { class: 'piece' },
    h('div', { class: 'row spread' }, h('h2', {}, spec.id), made.length ? button(t('show-place'), () => { plan.parts.stone.selected = made[0].id; plan.show(middle(made[0].shape)); }, { icon: 'place', class: 'small', data: { key: `${key}-show` } }) : null),
    made.map((p) => h('p', { class: 'hint' }, made.length > 1 ? `${p.id}: ` : '', t('stone.facts', { area: area(p), kg: p.weight.toFixed(0) }))),
    findingsOf([spec.id, ...made.map((p) => p.id)], stone?.findings).filter((f) => !f.where.includes('/') && f.code !== 'seam-proposed').map((f) => finding(f, plan, spec.id)),
    edgesTable(spec, made, at, stone, plan),
    cornersTable(spec, made, setIn),
    seamIdeas(spec, made, stone, at, plan),
    ['cutouts', 'seams', 'splashes', 'posts'].map(listOf),
    h('div', { class: 'row wrap' }, labelled(t('stone.name'), h('input', { value: spec.id, maxlength: 40, data: { key: `${key}-name` }, onchange: (e) => e.target.value.trim() !== spec.id && edit('rename', spec.id, [{ op: 'rename', kind: 'piece', id: spec.id, to: e.target.value }]) })),
      button(t('stone.remove'), () => edit('remove-piece', spec.id, [{ op: 'remove', at }]), { icon: 'gone', data: { key: `${key}-remove` } })));
}

// Where a seam could go; taking it up writes it into the job like any other
function seamIdeas(spec, made, stone, at, plan) {
  const ideas = (stone?.proposals || []).filter((p) => p.seam && (p.piece === spec.id || made.some((m) => m.id === p.piece)));
  return ideas.map((p, k) => h('div', { class: 'card row spread' }, h('span', {}, t('stone.seam-idea', { why: p.reason })), h('span', { class: 'row' },
    button('', () => plan.show([(p.start[0] + p.end[0]) / 2, (p.start[1] + p.end[1]) / 2], 0.4), { icon: 'place', class: 'small', 'aria-label': t('show-place'), title: t('show-place'), data: { key: `si-${spec.id}-${k}` } }),
    button(t('stone.cut-here'), () => { const id = freeName('seam', (spec.seams || []).map((x) => x.id)); edit('add-seam', id, [{ op: 'add', at: [...at, 'seams'], value: { id, ...p.seam } }]); }, { class: 'small', data: { key: `sc-${spec.id}-${k}` } }))));
}

const area = (p) => (inInch() ? `${(p.area / 92903.04).toFixed(2)} ft² (${(p.area / 1e6).toFixed(3)} m²)` : `${(p.area / 1e6).toFixed(3)} m² (${(p.area / 92903.04).toFixed(2)} ft²)`);

// Does the name of a size speak of this thing? `sink` is not `sink-2`.
const speaksOf = (name, id) => name.split(/[^\p{L}\p{N}_-]+/u).includes(id) || name === id || name.startsWith(`${id} `) || name.endsWith(` ${id}`);

function sizesOf(made, id) {
  const sizes = made.flatMap((p) => p.sizes).filter((s) => speaksOf(s.name, id));
  return sizes.length ? h('ul', { class: 'plain-list sizes' }, sizes.map((s) => h('li', {}, `${s.name}: `, h('b', {}, short(s.value)), s.decided ? '' : ` ${within(s.U)}`))) : null;
}

// ------------------------------------------------------------------------------------------------ tables

function edgesTable(spec, made, at, stone, plan) {
  const loop = (store.job.loops || []).find((l) => l.id === spec.loop);
  const names = loop?.edges || [...new Set(made.flatMap((p) => p.edges.map((e) => e.id)))];
  const shop = store.job.shop || {};
  return h('div', {}, h('h3', {}, t('stone.edges')),
    h('ul', { class: 'stone-edges' }, names.map((id) => {
      const wish = spec.edges?.[id] || {};
      const rows = made.flatMap((p) => p.edges.filter((e) => e.id === id));
      const outside = (wish.finish || rows[0]?.finish || 'finished') === 'finished';
      const name = outside ? 'overhang' : 'clearance';
      const put = setter('piece-edge', id, [...at, 'edges', id]);
      const usual = rows[0] && wish.overhang === undefined && wish.clearance === undefined ? Math.abs(rows[0].outward) : undefined;
      const own = findingsOf([id], (stone?.findings || []).filter((f) => f.where.startsWith(`${spec.id}/`)));
      return h('li', {},
        h('div', { class: 'head' }, button(id, () => { store.selected = id; plan.redraw(); }, { class: 'plain', data: { key: `pe-${spec.id}-${id}` } }),
          h('span', { class: 'num' }, rows.map((e) => h('span', {}, h('b', {}, short(e.length)), e.U ? h('small', {}, ` ${within(e.U)}`) : null, e.gap ? h('small', {}, t('stone.gap', { gap: metric(e.gap) })) : null)))),
        h('div', { class: 'three' },
          labelled(t('stone.finish'), select([['', `${t('form.usual')}${rows[0] && !wish.finish ? `: ${t(`choice.${rows[0].finish}`)}` : ''}`], ...FINISHES.map((f) => [f, t(`choice.${f}`)])], wish.finish || '', (v) => refinish(id, [...at, 'edges', id], v), { 'aria-label': t('stone.finish.of', { name: id }), data: { key: `pf-${spec.id}-${id}` } })),
          labelled(t(outside ? 'stone.overhang' : 'stone.clearance'), lengthInput(wish[name], (v) => put(name, v), `po-${spec.id}-${id}`, { placeholder: usual !== undefined ? short(usual) : '', 'aria-label': t(outside ? 'stone.overhang.of' : 'stone.clearance.of', { name: id }) })),
          labelled(t('stone.shape'), select([['as-found', t('choice.as-found')], ['straight', t('choice.straight')]], wish.shape || 'as-found', (v) => put('shape', v === 'as-found' ? null : v), { 'aria-label': t('stone.shape.of', { name: id }), data: { key: `ps-${spec.id}-${id}` } }))),
        own.map((f) => finding(f, plan, `${spec.id}-${id}`)));
    })),
  loop && h('p', { class: 'hint' }, t('stone.usual', { out: short(shop.overhang ?? 38.1), wall: short(shop.wall_clearance ?? 3) })),
  h('details', { data: { key: `made-${spec.id}` } }, h('summary', {}, t('stone.made')), names.map((id) => h('div', { class: 'card' }, h('b', {}, id), madeHow(spec, id, at)))),
  h('details', { data: { key: `align-${spec.id}` } }, h('summary', {}, t('stone.align')), names.map((id) => {
    const wish = spec.edges?.[id] || {};
    const put = setter('piece-edge', id, [...at, 'edges', id]);
    const align = (k, v) => (k !== 'to' ? wish.align?.to && put('align', v, k) : v ? put('align', v, 'to') : put('align', null)); // nothing to be parallel to yet
    return h('div', { class: 'card' }, h('b', {}, id), fields(schemaOf('AlignSpec'), wish.align || {}, align, `al-${spec.id}-${id}`),
      field('side_of', resolve(schemaOf('PieceEdgeSpec').properties.side_of), wish.side_of, (v) => put('side_of', v), `so-${spec.id}-${id}`));
  })));
}

// Profile of an edge, and how it is built up to look thicker than the slab
function madeHow(spec, id, at) {
  const rules = schemaOf('PieceEdgeSpec'), wish = spec.edges?.[id] || {};
  const put = setter('piece-edge', id, [...at, 'edges', id]);
  const thickness = store.job.shop?.material?.thickness ?? resolve(schemaOf('MaterialSpec').properties.thickness).default;
  return [field('profile', rules.properties.profile, wish.profile, (v) => put('profile', v), `pp-${spec.id}-${id}`),
    wish.build_up ? [field('build_up', rules.properties.build_up, wish.build_up, (v, ...deeper) => put('build_up', v, ...deeper), `pb-${spec.id}-${id}`),
      button(t('stone.no-build-up'), () => put('build_up', null), { icon: 'gone', class: 'small', data: { key: `pb-${spec.id}-${id}-gone` } })]
      : button(t('stone.build-up'), () => put('build_up', { height: 2 * thickness }), { icon: 'plus', class: 'small', data: { key: `pb-${spec.id}-${id}-add` } })];
}

// Another finish has another distance; that of the one before means nothing to it
const refinish = (id, at, v) => edit('piece-edge', id, [['finish', v || null], ['overhang', null], ['clearance', null]].map(([k, value]) => ({ op: 'set', at: [...at, k], value })));

function cornersTable(spec, made, setIn) {
  const corners = made.flatMap((p) => p.corners);
  if (!corners.length) return null;
  return h('details', { data: { key: `corners-${spec.id}` } }, h('summary', {}, `${t('stone.corners')} (${corners.length})`),
    h('div', { class: 'scroll' }, h('table', {}, h('thead', {}, h('tr', {}, ['stone.corner', 'stone.angle', 'stone.kind', 'stone.size'].map((k) => h('th', { scope: 'col' }, t(k))))),
      h('tbody', {}, corners.map((c) => {
        const name = Object.keys(spec.corners || {}).find((n) => same(n, c.name)) || c.name;
        const wish = spec.corners?.[name] || {};
        const kind = wish.kind || 'sharp';
        const sizeKey = { rounded: 'radius', clipped: 'clip' }[kind];
        return h('tr', {}, h('th', { scope: 'row' }, c.name, c.inside ? h('small', {}, t('stone.inside')) : null),
          h('td', { class: 'num' }, degrees(c.angle), c.angle_U === null ? null : h('small', {}, ` ± ${degrees(c.angle_U)}`)),
          h('td', {}, select(['sharp', 'rounded', 'clipped'].map((k) => [k, t(`choice.${k}`)]), kind, (v) => setIn('corners', name, v === 'sharp' ? null : v === 'rounded' ? { kind: v, radius: 12.7 } : { kind: v, clip: 25.4 }), { 'aria-label': t('stone.corner.of', { name: c.name }), data: { key: `ck-${spec.id}-${c.name}` } })),
          h('td', {}, sizeKey ? lengthInput(wish[sizeKey], (v) => setIn('corners', name, { ...wish, [sizeKey]: v ?? 12.7 }), `cs-${spec.id}-${c.name}`, { 'aria-label': t('stone.corner-size.of', { name: c.name }) }) : c.size ? t('stone.by-shop', { size: short(c.size) }) : '–'));
      })))));
}

const same = (a, b) => a.split('/').sort().join('/') === b.split('/').sort().join('/');

// ----------------------------------------------------------------------------------------- whole kitchen

const OF_JOB = ['openings', 'appliances', 'centre_lines', 'maker_sheets', 'drawn', 'site_photos'];

const ofJob = (stone, plan) => h('section', { class: 'of-job' }, h('h2', {}, t('stone.of-job')), OF_JOB.map((list) => things(list, [], store.job[list], list, {
  about: (one) => (stone?.opening_sizes || []).filter((s) => speaksOf(s.name, one.id)).map((s) => h('p', {}, `${s.name}: `, h('b', {}, short(s.value)), s.decided ? '' : ` ${within(s.U)}`)),
  findings: stone?.findings, plan })));

function splashes(stone) {
  return h('section', {}, h('h2', {}, t('stone.splash-list')), h('ul', { class: 'plain-list' }, stone.splashes.map((s) => h('li', {}, h('b', {}, s.id), ` ${t(`choice.${s.kind}`)} · ${length(s.length.value)} ${within(s.length.U)} × ${short(s.height)}`,
    s.extra > 0.05 ? h('small', {}, t(s.follows ? 'stone.foot.follows' : 'stone.foot.gap', { mm: metric(s.extra) })) : null))));
}

function shims(stone) {
  return h('details', { class: 'card', data: { key: 'shims' } }, h('summary', {}, t('stone.shims')), h('p', { class: 'hint' }, t('stone.shims.hint')),
    h('table', {}, h('tbody', {}, stone.shims.map((s) => h('tr', {}, h('th', { scope: 'row' }, s.name, s.group ? h('small', {}, ` ${s.group}`) : null), h('td', { class: 'num' }, metric(s.shim)), h('td', { class: 'num' }, `± ${s.U.toFixed(1)}`))))));
}

const VERDICT = { ok: ['good', 'good'], look: ['look', 'look'], note: ['note', 'note'] };

function checks(stone) {
  const bad = stone.checks.filter((c) => c.verdict !== 'ok').length;
  return h('details', { class: 'card', data: { key: 'checks' } }, h('summary', {}, t('stone.checks', { n: stone.checks.length, bad })),
    h('ul', { class: 'plain-list checks' }, stone.checks.map((c) => h('li', { class: VERDICT[c.verdict]?.[1] }, icon(VERDICT[c.verdict]?.[0]), h('div', {}, h('b', {}, c.rule), ` ${c.where}: ${c.found}`, h('small', {}, `${t('stone.limit')} ${c.limit} · ${c.source}`))))));
}

function general(stone, specs, plan) {
  const rest = sorted(stone.findings || []).filter((f) => f.where.includes('/') ? !names(specs).has(f.where.split('/')[1]) : !specs.some((s) => f.where === s.id || (stone.pieces || []).some((p) => p.source === s.id && p.id === f.where)));
  return rest.length ? h('section', {}, h('h2', {}, t('findings.rest')), told(rest, plan, 'stone')) : null;
}

const names = (specs) => new Set(specs.flatMap((s) => [...((store.job.loops || []).find((l) => l.id === s.loop)?.edges || []), ...['cutouts', 'seams', 'splashes', 'posts'].flatMap((k) => (s[k] || []).map((x) => x.id))]));

function shop() {
  const value = store.job.shop || {};
  const set = (k, v, ...deeper) => edit('shop', fieldName(deeper.at(-1) || k), [{ op: 'set', at: ['shop', k, ...deeper], value: v }]);
  return h('details', { class: 'card', data: { key: 'shop' } }, h('summary', {}, t('stone.shop')), h('p', { class: 'hint' }, t('stone.shop.hint')), fields(schemaOf('ShopSpec'), value, set, 'shop'));
}

