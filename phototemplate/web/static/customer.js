// A customer's photos: what the program found in them is corrected by dragging; sizes and their range follow every move.

import { post } from './api.js';
import { h, fill, button, icon, labelled, notice, select, announce } from './dom.js';
import { Stage } from './canvas.js';
import { distanceOf, middle } from './geometry.js';
import { framesOf, putPhoto, zoomButtons } from './photostage.js';
import { label, line, palette, projector, text } from './drawing.js';
import { rowName } from './estimate.js';
import { lengthInput } from './form.js';
import { Magnifier } from './magnifier.js';
import { dropBox } from './photos.js';
import { store } from './store.js';
import { short, within } from './units.js';
import { t } from './text.js';

/** count. Corners of the shapes that can be begun with. Convention: straight, L and U. */
const SHAPES = { straight: 4, l: 6, u: 8 };
/** Kinds of the edges of those shapes, in order from the left end of the front on. @type {Record<string, string[]>} */
const KINDS = { straight: ['front', 'wall', 'wall', 'wall'], l: ['front', 'front', 'end', 'wall', 'wall', 'end'], u: ['end', 'front', 'front', 'front', 'end', 'wall', 'wall', 'wall'] };
const THINGS = ['A4', 'Letter', 'card', 'A3', 'A5'];
const EDGE_KINDS = ['front', 'wall', 'end', 'panel', 'opening', 'other'];
/** mm. A usual sink, and how far its cut-out stands behind the front. Convention: a 30 in sink. */
const SINK = { width: 762, depth: 406, setback: 89 };
/** mm. Least and most of a length from a customer. Convention: a sheet's side; the longest run. */
const GIVEN_MM = /** @type {[number, number]} */ ([100, 9000]);
const STEP_PX = 1;

/** @type {any} */
let file = null, answer = null;
let of = '', current = '', busy = '', picked = '';
/** @type {string[]} what the clicks were before each change, and what they are now */
let past = [];
let last = '';
/** @type {null | {kind: 'corner' | 'thing', points: Point[]}} */
let tool = null;

/** @param {HTMLElement} root */
export function open(root) {
  if (of !== store.folder) { file = answer = tool = null; current = picked = last = ''; past = []; of = store.folder; }
  const canvas = h('canvas', { class: 'stage' }), side = h('aside', { class: 'side', 'aria-label': t('customer.side') });
  const bar = h('div', { class: 'stage-bar' }), strip = h('div', { class: 'strip', role: 'tablist', 'aria-label': t('customer.photos') });
  const glass = new Magnifier();
  const box = h('div', { class: 'stage-box' }, canvas, bar, glass.box);
  root.append(h('section', { class: 'split customer' }, h('div', { class: 'stage-with-strip' }, box, strip), side));
  const stage = new Stage(canvas, { name: t('customer.canvas') });
  stage.background = '#6f6d68';
  stage.pad = [8, 8, 8, 8];
  let ownWish = false;
  let shown = '', pending = false, again = false, keepNext = false, closed = false;
  /** @type {Matrix} */
  let matrix = [1, 0, 0, 1, 0, 0];
  /** @type {any} */
  let picture = null;

  const photos = () => [...store.photos.values()].filter((p) => p.state === 'seen' && p.used);
  const clicks = () => file?.photos.find((p) => p.file === current);
  const toWorld = (p) => framesOf(matrix).toWorld(p), fromWorld = (w) => framesOf(matrix).fromWorld(w);
  const corners = () => (file?.runs || []).flatMap((r) => r.corners);
  /** Corners in this photo: clicked ones, and where the fit expects the others. @returns {Map<string, {p: Point, state: 'set' | 'proposed' | 'expected'}>} */
  const places = () => {
    const out = new Map(), mine = clicks();
    for (const [name, p] of Object.entries(mine?.points || {})) out.set(name, { p, state: (mine.proposed || []).includes(name) ? 'proposed' : 'set' });
    for (const [name, p] of Object.entries(answer?.expected?.[current] || {})) if (!out.has(name)) out.set(name, { p, state: 'expected' });
    return out;
  };

  // ---------------------------------------------------------------------------------------------- talking

  async function call(what, body, words) {
    busy = words;
    panel();
    try { return await post(`/api/clicks/${what}`, body); } catch (error) { notice(error.sentence || String(error), 'error'); return null; } finally { busy = ''; if (!closed) panel(); }
  }

  async function begin() {
    if (file || busy) return;
    const a = await call('begin', {}, t('loading'));
    if (!a || closed) return;
    // photos with target sheets are measured without any clicks; looking for corners in them is a wish of its own
    ownWish = !a.file && Boolean(store.result);
    if (ownWish) { panel(); return; }
    file = a.file || { photos: [], runs: [], lengths: [], pieces: [] };
    last = JSON.stringify(file);
    if (!a.file) await look(); else await fit(false);
  }

  // Find known things and corners in photos that nobody has clicked in
  async function look() {
    if (!photos().length || photos().length < store.photos.size && [...store.photos.values()].some((p) => p.state === 'waiting' || p.state === 'looking')) { file = null; panel(); return; }
    const a = await call('propose', { paper: store.paper }, t('customer.looking'));
    if (!a) return;
    file = a.file;
    last = JSON.stringify(file);
    announce(t('customer.found', { things: file.photos.reduce((n, p) => n + (p.known || []).length, 0), corners: file.photos.reduce((n, p) => n + Object.keys(p.points || {}).length, 0) }));
    await fit(false);
  }

  // One fit at a time; while a corner is dragged the last place wins
  async function fit(keep) {
    keepNext ||= keep;
    if (pending) { again = true; return; }
    pending = true;
    try {
      do {
        again = false;
        const keeping = keepNext;
        keepNext = false;
        const made = await post('/api/clicks/fit', { file, keep: keeping });
        answer = made.trouble ? { ...made, expected: made.expected || answer?.expected } : made;
      } while (again);
    } catch (error) { notice(error.sentence || String(error), 'error'); }
    pending = false;
    if (!closed) { panel(); stage.draw(); }
  }

  const changed = () => { past.push(last); last = JSON.stringify(file); panel(); stage.draw(); return fit(true); };
  const undo = () => { last = past.pop(); file = JSON.parse(last); tool = null; panel(); stage.draw(); fit(true); };

  // ------------------------------------------------------------------------------------------- the picture

  function show(name) {
    current = name;
    const photo = photos().find((p) => p.file === name);
    if (!photo) return;
    const key = `${photo.id}-${photo.version}`;
    if (shown !== key) {
      shown = key;
      ({ matrix, picture } = putPhoto(stage, photo, [{ paint }]));
    }
    stage.draw();
  }

  function paint(ctx) {
    const at = projector(stage), c = palette(), here = places();
    const screen = (p) => at(toWorld(p));
    for (const run of file?.runs || []) {
      run.corners.forEach((name, k) => {
        const next = run.corners[(k + 1) % run.corners.length], a = here.get(name), b = here.get(next);
        if (!a || !b) return;
        const sure = a.state !== 'expected' && b.state !== 'expected';
        line(ctx, [screen(a.p), screen(b.p)], { colour: run.edges[k].kind === 'wall' ? c.strip : c['class-a'], width: 2.5, dash: sure ? [] : [6, 5] });
        const made = answer?.edges?.find((e) => e.id === run.edges[k].id);
        if (made) label(ctx, stage, short(made.length), middle([screen(a.p), screen(b.p)]), { colour: c.ink });
      });
    }
    for (const thing of clicks()?.known || []) {
      line(ctx, thing.corners.map(screen), { colour: c.sheet, width: 2, closed: true });
      text(ctx, thing.name || thing.kind || t('customer.thing'), screen(middle(thing.corners)), { colour: c.sheet });
      for (const p of thing.corners) spot(ctx, screen(p), c.sheet, 4, true);
    }
    for (const [name, { p, state }] of here) {
      spot(ctx, screen(p), name === picked ? c.pick : c['class-b'], 7, state === 'set', state === 'expected');
      text(ctx, name, screen(p).map((v, i) => v - (i ? 18 : 0)), {});
    }
    for (const p of tool?.points || []) spot(ctx, screen(p), c.pick, 5, true);
  }

  stage.grab = (world, p, reach) => {
    if (tool || !file) return null;
    /** @type {{d: number, start: Point, set: (q: Point) => void, name: string} | null} */
    let best = null;
    const offer = (at, set, name) => { const d = distanceOf(stage.toScreen(toWorld(at)), p); if (d < reach && (!best || d < best.d)) best = { d, start: at, set, name }; };
    for (const thing of clicks()?.known || []) thing.corners.forEach((q, k) => offer(q, (n) => { thing.corners[k] = n; }, ''));
    for (const [name, { p: q }] of places()) offer(q, (n) => put(name, n), name);
    if (!best) return null;
    const { start, set, name } = best, w0 = toWorld(start), shift = [w0[0] - world[0], w0[1] - world[1]], low = p[1] < stage.height * 0.45;
    picked = name;
    const to = (w) => { const now = /** @type {Point} */ ([w[0] + shift[0], w[1] + shift[1]]); glass.show(picture, now, stage.view.k, low); return fromWorld(now); };
    const before = JSON.stringify(file);
    return {
      move: (w) => { set(to(w)); stage.draw(); fit(false); },
      drop: (w) => { set(to(w)); glass.hide(); changed(); },
      cancel: () => { glass.hide(); file = JSON.parse(before); stage.draw(); panel(); },
    };
  };
  stage.ontap = (world) => {
    if (!tool) return;
    tool.points.push(fromWorld(world));
    if (tool.kind === 'corner') {
      const name = missing()[0];
      if (name) put(name, tool.points.pop());
      tool.points = [];
      if (!missing().length) tool = null;
      changed();
    } else if (tool.points.length === 4) {
      mine().known = [...(mine().known || []), { kind: store.paper, corners: tool.points }];
      tool = null;
      changed();
    } else { stage.draw(); panel(); }
  };
  stage.onkey = (e) => {
    if (e.key === 'Escape' && tool) { tool = null; stage.cross = false; panel(); stage.draw(); return true; }
    const step = e.shiftKey ? 10 * STEP_PX : STEP_PX, by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[e.key];
    const place = picked && places().get(picked);
    if (!by || !place || tool) return false;
    const w = toWorld(place.p);
    put(picked, fromWorld([w[0] + by[0], w[1] + by[1]]));
    changed();
    return true;
  };

  function mine() {
    if (!clicks()) file.photos.push({ file: current });
    return clicks();
  }

  function put(name, p) {
    const own = mine();
    own.points = { ...(own.points || {}), [name]: p };
    own.proposed = (own.proposed || []).filter((n) => n !== name);
  }

  /** Corners that are not clicked in this photo */
  const missing = () => corners().filter((n) => !clicks()?.points?.[n]);

  // ---------------------------------------------------------------------------------------------- the panel

  function panel() {
    const all = photos();
    if (!all.find((p) => p.file === current)) current = all[0]?.file || '';
    if (current) show(current);
    box.hidden = !current;
    fill(bar, zoomButtons(stage),
      button('', undo, { icon: 'undo', disabled: !past.length, 'aria-label': t('customer.undo'), title: t('customer.undo'), data: { key: 'undo-drag' } }));
    fill(strip, all.map((p) => {
      const own = file?.photos.find((q) => q.file === p.file), open = (own?.proposed || []).length;
      return h('button', { type: 'button', role: 'tab', 'aria-selected': String(p.file === current), onclick: () => { tool = null; picked = ''; show(p.file); panel(); }, data: { key: `photo-${p.id}` } },
        h('img', { src: `/thumb/${encodeURIComponent(p.id)}/${p.version}`, alt: '' }), h('span', {}, p.file), open ? h('b', { class: 'badge' }, open) : null);
    }));
    fill(side, h('h1', {}, t('page.customer')), busy ? h('p', { role: 'status' }, busy) : null, all.length ? body() : [h('p', {}, t('customer.how')), dropBox()]);
  }

  function body() {
    if (!file && ownWish) return [h('p', {}, t('customer.measured')), button(t('customer.look'), () => { ownWish = false; file = { photos: [], runs: [], lengths: [], pieces: [] }; look(); }, { data: { key: 'look' } })];
    if (!file) return [h('p', {}, t('customer.wait')), dropBox()];
    return [asked(), result(), !(file.runs || []).length ? shapes() : corners_(), things(), edges(), known(), more(), h('details', { data: { key: 'more-photos' } }, h('summary', {}, t('customer.more-photos')), dropBox(), button(t('customer.look'), look, { disabled: Boolean(busy), data: { key: 'look' } }))];
  }

  function result() {
    const a = answer;
    if (!a) return null;
    return h('section', { class: 'card', 'aria-live': 'polite' },
      a.trouble ? [h('p', { class: 'mark bad' }, icon('short'), h('span', {}, a.trouble)), button(t('customer.message'), message, { data: { key: 'message' } })] : null,
      a.rows ? [h('p', { class: 'big', data: { key: 'area' } }, a.rows[0][1]),
        h('table', {}, h('tbody', {}, a.rows.slice(1).map(([what, value]) => h('tr', {}, h('th', { scope: 'row' }, rowName(what)), h('td', { class: 'num' }, value))))),
        h('details', { data: { key: 'causes' } }, h('summary', {}, t('customer.causes')), h('ul', { class: 'plain-list' }, a.causes.map(([what, share]) => h('li', {}, `${what}: ${Math.round(100 * share)} %`)))),
        a.ask ? h('p', { class: 'mark note' }, icon('note'), h('span', {}, t('estimate.next'), ' ', a.ask)) : null,
        (a.assumed || []).map(([what, value]) => h('p', { class: 'mark look' }, icon('look'), h('span', {}, `${what}: ${value}`))),
        h('div', { class: 'row wrap' }, h('a', { class: 'button main', href: '#estimate', data: { key: 'to-price' } }, t('customer.price')), button(t('customer.message'), message, { data: { key: 'message' } }))] : null,
      told ? [h('h2', {}, t('customer.message')), h('textarea', { rows: 10, readonly: true, 'aria-label': t('customer.message'), data: { key: 'message-text' } }, told.text),
        h('ul', { class: 'downloads' }, told.files.map((f) => h('li', {}, h('a', { href: `/download/${encodeURIComponent(f.name)}`, download: f.file, class: 'button', data: { key: `dl-${f.name}` } }, icon('file'), f.file))))] : null);
  }

  /** @type {any} */
  let told = null;
  async function message() {
    busy = t('customer.writing');
    panel();
    try { told = await post('/api/make/message', { paper: store.paper }); } catch (error) { notice(error.sentence || String(error), 'error'); }
    busy = '';
    panel();
  }

  function shapes() {
    return h('section', { class: 'card' }, h('h2', {}, t('customer.shape')), h('p', {}, t('customer.shape.how')),
      h('div', { class: 'row wrap' }, Object.entries(SHAPES).map(([name, n]) => button(t(`plan.${name === 'straight' ? 'straight' : name}`), () => {
        const counted = {};
        file.runs = [{ id: 'top', corners: Array.from({ length: n }, (_, k) => `c${k + 1}`), edges: KINDS[name].map((kind) => { counted[kind] = (counted[kind] || 0) + 1; return { id: `${kind} ${counted[kind]}`, kind }; }) }];
        tool = { kind: 'corner', points: [] };
        stage.cross = true;
        panel();
      }, { data: { key: `shape-${name}` } }))));
  }

  function corners_() {
    const here = places(), left = missing(), proposed = clicks()?.proposed || [];
    return h('section', { class: 'card' }, h('h2', {}, t('customer.corners')),
      tool?.kind === 'corner' ? h('p', { role: 'status' }, t('customer.tap', { name: left[0] || '' })) : h('p', {}, t('customer.drag')),
      h('div', { class: 'chips' }, corners().map((n) => {
        const state = here.get(n)?.state || 'missing';
        return button(n, () => { picked = n; const q = here.get(n); if (q) stage.show(toWorld(q.p), Math.max(stage.view.k, 0.6)); stage.canvas.focus({ preventScroll: true }); panel(); stage.draw(); }, { icon: { set: 'good', proposed: 'look', expected: 'look' }[state] || 'short', class: 'small', 'aria-pressed': String(picked === n), title: t(`customer.state.${state}`), data: { key: `corner-${n}` } });
      })),
      h('div', { class: 'row wrap' },
        proposed.length ? button(t('customer.right', { n: proposed.length }), () => { clicks().proposed = []; changed(); }, { class: 'main', data: { key: 'all-right' } }) : null,
        left.length ? button(tool?.kind === 'corner' ? t('cancel') : t('customer.place'), () => { tool = tool ? null : { kind: 'corner', points: [] }; stage.cross = Boolean(tool); panel(); stage.draw(); }, { data: { key: 'place' } }) : null,
        picked && clicks()?.points?.[picked] ? button(t('customer.not-here', { name: picked }), () => { delete clicks().points[picked]; clicks().proposed = proposed.filter((n) => n !== picked); changed(); }, { data: { key: 'not-here' } }) : null,
        button(t('customer.carry'), async () => { const a = await call('carry', { file }, t('customer.looking')); if (a) { past.push(last); file = a.file; last = JSON.stringify(file); await fit(false); } }, { disabled: Boolean(busy), data: { key: 'carry' } }),
        button(t('customer.afresh'), () => { file.runs = []; file.pieces = []; for (const p of file.photos) { p.points = {}; p.proposed = []; } answer = null; changed(); }, { class: 'plain', data: { key: 'afresh' } })));
  }

  /** Somebody has said what a thing is, in all photos @param {string} was @param {string} kind */
  function itIs(was, kind) {
    for (const p of file.photos) for (const q of p.known || []) if ((q.kind || '') === was && !q.name) { q.kind = kind; delete q.maybe; }
    changed();
  }

  // What everything hangs on is asked first
  const asked = () => Object.entries(answer?.doubts || {}).map(([name, kinds]) => h('div', { class: 'card', data: { key: 'which' } }, h('p', { class: 'mark look' }, icon('look'), h('span', {}, t('customer.which'))),
    h('div', { class: 'row wrap' }, Object.keys(kinds).map((kind) => button(t(`thing.${kind}`), () => itIs(name, kind), { data: { key: `it-is-${kind}` } })))));

  function things() {
    const list = clicks()?.known || [];
    return h('section', { class: 'card' }, h('h2', {}, t('customer.things')),
      list.length ? null : h('p', {}, t('customer.no-things')),
      list.map((thing, k) => {
        return h('div', { class: 'row wrap' },
          thing.kind === 'target' ? h('p', {}, t('customer.target', { name: thing.name })) : labelled(t('customer.thing'), select(THINGS.map((n) => [n, t(`thing.${n}`)]), thing.kind || '', (v) => itIs(thing.kind, v), { data: { key: `thing-${k}` } })),
          button(t('remove'), () => { list.splice(k, 1); changed(); }, { icon: 'gone', class: 'small', data: { key: `thing-gone-${k}` } }));
      }),
      tool?.kind === 'thing' ? h('p', { role: 'status' }, t('customer.tap-thing', { n: tool.points.length })) : null,
      button(tool?.kind === 'thing' ? t('cancel') : t('customer.add-thing'), () => { tool = tool ? null : { kind: 'thing', points: [] }; stage.cross = Boolean(tool); panel(); stage.draw(); }, { data: { key: 'add-thing' } }));
  }

  function edges() {
    const runs = file.runs || [];
    if (!runs.length) return null;
    return h('section', { class: 'card' }, h('h2', {}, t('customer.edges')), h('table', {}, h('tbody', {}, runs.flatMap((run) => run.edges.map((e, k) => {
      const made = answer?.edges?.find((x) => x.id === e.id);
      return h('tr', {}, h('th', { scope: 'row' }, `${run.corners[k]}–${run.corners[(k + 1) % run.corners.length]}`),
        h('td', {}, select(EDGE_KINDS.map((v) => [v, t(`kind.${v}`)]), e.kind, (v) => { e.kind = v; changed(); }, { 'aria-label': t('customer.kind', { name: e.id }), data: { key: `kind-${e.id}` } })),
        h('td', { class: 'num' }, made ? `${short(made.length)} ${within(made.U)}` : ''));
    })))), sink(runs[0]));
  }

  function sink(run) {
    const piece = file.pieces?.[0], cut = piece?.cutouts?.[0];
    const fronts = run.edges.filter((e) => e.kind === 'front');
    const longest = [...fronts].sort((a, b) => size(b.id) - size(a.id))[0];
    if (!cut) return longest ? button(t('customer.add-sink'), () => {
      const k = run.edges.findIndex((e) => e.id === longest.id), before = run.edges[(k + run.edges.length - 1) % run.edges.length].id;
      file.pieces = [{ ...(piece || { id: 'top', loop: run.id }), cutouts: [{ id: 'sink', kind: 'sink', run: longest.id, along: { edge: before, distance: Math.round(size(longest.id) / 2) || 1000 }, ...SINK }] }];
      changed();
    }, { icon: 'plus', data: { key: 'add-sink' } }) : null;
    return h('div', { class: 'row wrap' }, labelled(t('customer.sink-at', { name: cut.along.edge }), lengthInput(cut.along.distance, (v) => { if (v) { cut.along.distance = v; changed(); } }, 'sink-at', { usual: GIVEN_MM })),
      labelled(t('customer.sink-width'), lengthInput(cut.width, (v) => { if (v) { cut.width = v; changed(); } }, 'sink-width', { usual: GIVEN_MM })),
      button(t('remove'), () => { file.pieces = []; changed(); }, { icon: 'gone', class: 'small', data: { key: 'sink-gone' } }));
  }
  const size = (id) => answer?.edges?.find((e) => e.id === id)?.length || 0;

  function known() {
    const names = corners();
    if (!names.length) return null;
    const pick = (value, onset, key) => select(names.map((n) => [n, n]), value, onset, { 'aria-label': t('customer.length-end'), data: { key } });
    return h('section', { class: 'card' }, h('h2', {}, t('customer.lengths')), h('p', {}, t('customer.lengths.how')),
      (file.lengths || []).map((one, k) => h('div', { class: 'row wrap' }, pick(one.from, (v) => { one.from = v; changed(); }, `from-${k}`), pick(one.to, (v) => { one.to = v; changed(); }, `to-${k}`),
        lengthInput(one.value ?? null, (v) => { if (v) { one.value = v; changed(); } }, `value-${k}`, { usual: GIVEN_MM, 'aria-label': t('customer.length-value') }),
        button(t('remove'), () => { file.lengths.splice(k, 1); changed(); }, { icon: 'gone', class: 'small', data: { key: `length-gone-${k}` } }))),
      button(t('customer.add-length'), () => { file.lengths = [...(file.lengths || []), { from: names[0], to: names[1], value: Math.round(size(file.runs[0].edges[0].id)) || 2000 }]; panel(); }, { icon: 'plus', data: { key: 'add-length' } }));
  }

  function more() {
    const old = file.old_top;
    return h('section', { class: 'card' }, h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: Boolean(old), data: { key: 'old-top' }, onchange: (e) => { if (e.target.checked) file.old_top = {}; else delete file.old_top; changed(); } }), t('customer.old-top')),
      old ? h('div', { class: 'row wrap' }, ['overhang', 'end_overhang'].map((key) => labelled(t(`customer.${key}`), lengthInput(old[key] ?? null, (v) => { if (v === null) delete old[key]; else old[key] = v; changed(); }, `old-${key}`, { usual: [0, 400] }), key === 'overhang' ? t('customer.overhang.hint') : null))) : null);
  }

  panel();
  begin();
  return {
    update: (what) => { if (what === 'photos') { panel(); if (!file) begin(); } },
    close: () => { closed = true; stage.close(); },
  };
}

function spot(ctx, [x, y], colour, r, full, cross = false) {
  const c = palette();
  ctx.beginPath();
  ctx.arc(x, y, r, 0, 7);
  ctx.lineWidth = 4;
  ctx.strokeStyle = c.paper;
  ctx.stroke();
  if (full) { ctx.fillStyle = colour; ctx.fill(); }
  ctx.setLineDash(cross ? [3, 3] : []);
  ctx.lineWidth = 2.5;
  ctx.strokeStyle = colour;
  ctx.stroke();
  ctx.setLineDash([]);
}
