// The top view with one of three panels beside it: edges, stone, distance.

import { h, fill, button, notice } from './dom.js';
import { post } from './api.js';
import { Stage } from './canvas.js';
import { TileLayer } from './tiles.js';
import { Sheets, Levels, Edges, Chosen, Proposals, Stone, Draft, Ruler, nearest, dashes, widths, ELLIPSE_SCALE } from './overlay.js';
import { Loupe } from './loupe.js';
import { store, edit, edgeOf, tolerance } from './store.js';
import { addEdge } from './draw.js';
import * as edgesPanel from './edges.js';
import * as stonePanel from './stone.js';
import * as distancePanel from './distance.js';
import { fraction } from './units.js';
import { t } from './text.js';

const PANELS = { edges: edgesPanel, stone: stonePanel, distance: distancePanel };
const layers = { picture: true, sheets: true, levels: false, names: true };
let kept = null; // where the view was when the page was left
let legendOpen = window.matchMedia('(min-width: 900px)').matches;

export function open(root, name) {
  const canvas = h('canvas', { class: 'stage' });
  const side = h('aside', { class: 'side', 'aria-label': t('plan.side') });
  const bar = h('div', { class: 'stage-bar' });
  const legend = h('div', { class: 'legend' });
  const hint = h('p', { class: 'stage-hint', role: 'status' });
  const empty = h('div', { class: 'stage-empty' });
  const loupe = new Loupe();
  root.append(h('section', { class: 'split' }, h('div', { class: 'stage-box' }, canvas, bar, hint, legend, loupe.box, empty), side));
  const stage = new Stage(canvas, { yUp: true, name: t('plan.canvas') });
  stage.background = '#b0aea8';
  stage.limits = [0.02, 80];
  stage.pad = window.matchMedia('(min-width: 821px)').matches ? [84, 44, 36, 88] : [34, 96, 34, 64];
  const parts = { sheets: new Sheets(), levels: new Levels(), edges: new Edges(), proposals: new Proposals(), chosen: new Chosen(), stone: new Stone(), draft: new Draft(), ruler: new Ruler() };
  const plan = { stage, parts, tool: null, mode: name, loupe, show, begin, stop, redraw, moveEnd, nudge: null };
  let picture = null;

  function arrange() {
    parts.levels.hidden = !layers.levels;
    parts.sheets.hidden = !layers.sheets;
    parts.edges.names = layers.names;
    parts.edges.quiet = plan.mode === 'stone';
    parts.stone.hidden = plan.mode === 'edges';
    parts.stone.sizes = plan.mode === 'stone';
    parts.chosen.hidden = parts.proposals.hidden = plan.mode !== 'edges';
    stage.layers = [picture && layers.picture ? picture : null, parts.sheets, parts.stone, parts.edges, parts.proposals, parts.levels, parts.chosen, parts.draft, parts.ruler].filter(Boolean);
    stage.cross = Boolean(plan.tool);
    stage.draw();
  }

  function takePicture() {
    const top = store.top;
    if (!top || picture?.key === top.key) return;
    picture = new TileLayer({ url: (l, c, r) => `/tiles/top/${top.key}/${l}/${c}/${r}`, size: top.size, levels: top.levels, matrix: top.matrix });
    picture.key = top.key;
  }

  function takeResult() {
    const result = store.result;
    const first = result && !stage.extent;
    stage.extent = extentOf(result);
    if (first) {
      if (kept) Object.assign(stage.view, kept);
      else {
        // the drawing's own x axis lies across the screen
        stage.view.turn = Math.atan2(result.plan[1][0], result.plan[0][0]);
        stage.fit();
      }
    }
  }

  function show(xy, k) { stage.show(xy, k ? Math.max(stage.view.k, k) : null); }
  function redraw() { arrange(); panel(); }

  function begin(tool) {
    plan.tool = tool;
    parts.draft.points = [];
    parts.draft.words = '';
    arrange();
    panel();
    canvas.focus({ preventScroll: true });
  }

  function stop() {
    plan.tool = null;
    parts.draft.points = [];
    parts.draft.live = null;
    parts.draft.words = '';
    loupe.hide();
    arrange();
    panel();
  }

  stage.onhover = (world) => {
    if (plan.tool && parts.draft.points.length && !parts.draft.words) { parts.draft.live = world; stage.draw(); }
  };

  stage.ontap = (world, p) => {
    if (plan.tool?.draw) { place(world); return; }
    if (PANELS[plan.mode].tap?.(plan, world, p)) return;
    const thing = nearest(stage, p);
    store.selected = thing?.kind === 'edge' ? thing.edge : '';
    arrange();
    panel();
  };

  function place(world) {
    parts.draft.points.push(world);
    const enough = { line: 2, arc: 3 }[plan.tool.shape];
    if (parts.draft.points.length === enough) finish();
    else { stage.draw(); panel(); }
  }

  async function finish() {
    const tool = plan.tool, path = parts.draft.points;
    if (path.length < 2) return;
    stop();
    try {
      const anchored = await post('/api/ask/anchor', { path });
      if (tool.again) await edit('move-edge', tool.again, place3(tool.again, anchored));
      else await addEdge({ kind: tool.kind, shape: tool.shape, ...anchored });
    } catch (error) { notice(error.sentence || String(error), 'error'); }
  }
  plan.finish = finish;

  const place3 = (id, anchored) => [
    { op: 'set', at: ['edges', { id }, 'sheet'], value: anchored.sheet }, { op: 'set', at: ['edges', { id }, 'path'], value: anchored.path },
    { op: 'set', at: ['edges', { id }, 'photo'], value: null }, { op: 'set', at: ['edges', { id }, 'choose'], value: null },
  ];

  // ---------------------------------------------------------------------------- ends of the chosen edge

  function pathOf(id) {
    const spec = edgeOf(id);
    const e = (store.result?.edges || []).find((x) => x.id === id);
    return spec?.source === 'trace' && e?.hint ? e.hint : null;
  }

  async function commit(id, path) {
    try {
      const anchored = await post('/api/ask/anchor', { path });
      parts.chosen.draft = path;
      await edit('move-edge', id, place3(id, anchored));
    } catch (error) { notice(error.sentence || String(error), 'error'); }
    // the draft stays until the new result is here
    setTimeout(() => { parts.chosen.draft = null; stage.draw(); }, 1500);
  }

  stage.grab = (world, p, reach) => {
    if (plan.tool || plan.mode !== 'edges') return null;
    const path = pathOf(store.selected);
    if (!path) return null;
    const k = path.findIndex((q) => { const s = stage.toScreen(q); return Math.hypot(s[0] - p[0], s[1] - p[1]) < reach; });
    if (k < 0) return null;
    const id = store.selected;
    const start = path[k];
    const shift = [start[0] - world[0], start[1] - world[1]];
    const next = path.map((q) => [...q]);
    const low = p[1] < stage.height * 0.45;
    loupe.show(start, low);
    return {
      move: (w) => { next[k] = [w[0] + shift[0], w[1] + shift[1]]; parts.chosen.draft = next; loupe.show(next[k], low); stage.draw(); },
      drop: () => { loupe.hide(); commit(id, next); },
      cancel: () => { loupe.hide(); parts.chosen.draft = null; stage.draw(); },
    };
  };

  // The same by keyboard: arrows move by 1 mm (10 with shift), Enter keeps, Escape gives up
  function moveEnd(id, k) {
    const path = pathOf(id);
    if (!path) return;
    plan.nudge = { id, k, path: path.map((q) => [...q]) };
    parts.chosen.draft = plan.nudge.path;
    stage.show(path[k], Math.max(stage.view.k, 0.6));
    loupe.show(path[k]);
    hintText();
    canvas.focus({ preventScroll: true });
  }

  stage.onkey = (e) => {
    if (plan.nudge) {
      const step = e.shiftKey ? 10 : 1;
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[e.key];
      if (by) {
        const c = Math.cos(stage.view.turn), s = Math.sin(stage.view.turn);
        const q = plan.nudge.path[plan.nudge.k];
        q[0] += by[0] * c + by[1] * s;
        q[1] += -by[0] * s + by[1] * c;
        loupe.show(q);
        stage.draw();
        return true;
      }
      if (e.key === 'Enter' || e.key === 'Escape') {
        const { id, path } = plan.nudge;
        plan.nudge = null;
        loupe.hide();
        if (e.key === 'Enter') commit(id, path); else parts.chosen.draft = null;
        hintText();
        stage.draw();
        return true;
      }
      return false;
    }
    if (e.key === 'Escape' && (plan.tool || parts.draft.points.length)) { stop(); return true; }
    if (plan.tool?.draw) {
      if (e.key === 'Enter' && e.shiftKey) { finish(); return true; }
      if (e.key === 'Backspace') { parts.draft.points.pop(); stage.draw(); panel(); return true; }
    }
    if (e.key === '[' || e.key === ']') { turn(e.key === '[' ? -1 : 1); return true; }
    return false;
  };

  function turn(quarters) {
    stage.view.turn += quarters * Math.PI / 2;
    stage.draw();
  }

  // -------------------------------------------------------------------------------------------- around

  function hintText() {
    hint.textContent = plan.nudge ? t('plan.nudge') : plan.tool?.draw ? t('draw.hint', { n: parts.draft.points.length }) : plan.tool?.hint || '';
    hint.hidden = !hint.textContent;
  }

  function panel() {
    fill(bar,
      tool('plus', 'zoom.in', () => stage.zoom(1.4)), tool('minus', 'zoom.out', () => stage.zoom(1 / 1.4)), tool('fit', 'zoom.fit', () => stage.fit()),
      h('details', { class: 'menu', data: { key: 'layers' } }, h('summary', { 'aria-label': t('layers'), title: t('layers') }, layersIcon()),
        h('div', { class: 'menu-box' }, Object.keys(layers).map((key) => h('label', { class: 'check' },
          h('input', { type: 'checkbox', checked: layers[key], data: { key: `layer-${key}` }, onchange: (e) => { layers[key] = e.target.checked; arrange(); drawLegend(); } }), t(`layer.${key}`))))));
    hintText();
    drawLegend();
    const nothing = !store.result;
    empty.hidden = !nothing;
    if (nothing) fill(empty, h('p', {}, store.trouble || (store.photos.size ? t('plan.waiting') : t('plan.no-photos'))), store.photos.size ? null : h('a', { class: 'button main', href: '#photos' }, t('plan.to-photos')));
    PANELS[plan.mode].panel(side, plan);
  }

  const tool = (icon, key, act) => button('', act, { icon, 'aria-label': t(key), title: t(key), data: { key } });

  function drawLegend() {
    if (plan.mode === 'stone') { legend.hidden = true; stage.lift = 20; return; }
    legend.hidden = !store.result;
    const limits = [0.25, 0.5, 1, 2];
    const mm = (share) => (share * tolerance()).toFixed(1);
    fill(legend, h('details', { open: legendOpen, ontoggle: (e) => { legendOpen = e.target.open; stage.lift = legendOpen && stage.width > 600 ? legend.offsetHeight + 26 : 20; stage.draw(); }, data: { key: 'legend' } },
      h('summary', {}, t('legend.title')),
      h('ul', {}, ['a', 'b', 'c', 'd', 'e'].map((letter, i) => h('li', { class: `u-${letter}` },
        h('b', {}, letter.toUpperCase()),
        h('svg:svg', { viewBox: '0 0 44 10', class: 'sample', 'aria-hidden': 'true' }, h('svg:path', { d: 'M0 5H44', 'stroke-width': widths[letter], 'stroke-dasharray': dashes[letter].join(' ') || 'none' })),
        h('span', {}, i < 4 ? t('legend.upto', { mm: mm(limits[i]) }) : t('legend.over', { mm: mm(2) }), h('small', {}, i < 4 ? fraction(limits[i] * tolerance(), 64) : fraction(2 * tolerance(), 64)))))),
      h('p', { class: 'hint' }, t('legend.note', { n: ELLIPSE_SCALE }), layers.levels ? ` ${t('legend.levels')}` : '')));
    const lift = legendOpen && stage.width > 600 ? legend.offsetHeight + 26 : 20;
    if (lift !== stage.lift) { stage.lift = lift; stage.draw(); }
  }

  takePicture();
  takeResult();
  arrange();
  panel();
  PANELS[plan.mode].enter?.(plan);
  window.phototemplateStage = stage;

  return {
    update(what) {
      if (what === 'work' || what === 'online') return;
      if (what === 'top') takePicture();
      if (what === 'result') { parts.chosen.draft = plan.nudge ? plan.nudge.path : null; takeResult(); PANELS[plan.mode].changed?.(plan); }
      arrange();
      panel();
    },
    stays(page) {
      if (!(page in PANELS)) return false;
      if (page !== plan.mode) {
        PANELS[plan.mode].leave?.(plan);
        plan.mode = page;
        stop();
        PANELS[page].enter?.(plan);
        arrange();
        panel();
        side.scrollTop = 0;
      }
      return true;
    },
    close() { kept = stage.extent ? { ...stage.view } : kept; stage.close(); loupe.close(); },
  };
}

function extentOf(result) {
  if (!result) return null;
  return [...result.edges.filter((e) => e.found).flatMap((e) => [e, ...e.more].flatMap((part) => part.xy)), ...result.sheets.flatMap((s) => s.corners),
    ...result.strips.flatMap((s) => s.points)];
}

function layersIcon() {
  return h('svg:svg', { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': 'true' }, h('svg:path', { d: 'M12 3l9 5-9 5-9-5zM3 13l9 5 9-5' }));
}

