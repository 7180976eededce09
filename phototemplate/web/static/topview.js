// The top view with one of three panels beside it: edges, stone, distance.

import { h, fill, notice } from './dom.js';
import { post } from './api.js';
import { Stage } from './canvas.js';
import { TileLayer } from './tiles.js';
import { Sheets, Levels, Edges, Chosen, Proposals, Stone, Draft, RunDraft, Ruler, nearest } from './overlay.js';
import { zoomButtons } from './photostage.js';
import { Loupe } from './loupe.js';
import { Handles, movedTo } from './handles.js';
import { legend } from './legend.js';
import { store, edit } from './store.js';
import { addEdge } from './draw.js';
import * as edgesPanel from './edges.js';
import * as runsPanel from './runs.js';
import * as stonePanel from './stone.js';
import { Hand, grab as grabStone } from './stonehand.js';
import * as distancePanel from './distance.js';
import { t } from './text.js';

const PANELS = { edges: edgesPanel, runs: runsPanel, stone: stonePanel, distance: distancePanel };
const layers = { picture: true, sheets: true, levels: false, names: true };
let kept = null; // where the view was when the page was left

export function open(root, name) {
  const canvas = h('canvas', { class: 'stage' });
  const side = h('aside', { class: 'side', 'aria-label': t('plan.side') });
  const bar = h('div', { class: 'stage-bar' });
  const legendBox = h('div', { class: 'legend' });
  const hint = h('p', { class: 'stage-hint', role: 'status' });
  const empty = h('div', { class: 'stage-empty' });
  const loupe = new Loupe();
  root.append(h('section', { class: 'split' }, h('div', { class: 'stage-box' }, canvas, bar, hint, legendBox, loupe.box, empty), side));
  const stage = new Stage(canvas, { yUp: true, name: t('plan.canvas') });
  stage.background = '#b0aea8';
  stage.limits = [0.02, 80];
  stage.pad = window.matchMedia('(min-width: 821px)').matches ? [84, 44, 36, 88] : [34, 96, 34, 64];
  const parts = { sheets: new Sheets(), levels: new Levels(), edges: new Edges(), proposals: new Proposals(), chosen: new Chosen(), stone: new Stone(), run: new RunDraft(), hand: new Hand(), draft: new Draft(), ruler: new Ruler() };
  const plan = { stage, parts, tool: null, mode: name, loupe, show, begin, stop, redraw, moveEnd: (id, k) => handles.nudge(id, k) };
  const handles = new Handles({ stage, chosen: parts.chosen, loupe, hint: () => hintText() });
  /** @type {TileLayer | null} */
  let picture = null, pictureKey = '';

  function arrange() {
    parts.levels.hidden = !layers.levels;
    parts.sheets.hidden = !layers.sheets;
    parts.edges.names = layers.names;
    parts.edges.quiet = plan.mode === 'stone';
    parts.stone.hidden = plan.mode === 'edges' || plan.mode === 'runs';
    parts.run.hidden = plan.mode !== 'runs';
    parts.hand.hidden = plan.mode !== 'stone';
    parts.stone.sizes = plan.mode === 'stone';
    parts.chosen.hidden = parts.proposals.hidden = plan.mode !== 'edges';
    stage.layers = [picture && layers.picture ? picture : null, parts.sheets, parts.stone, parts.edges, parts.proposals, parts.levels, parts.chosen, parts.run, parts.hand, parts.draft, parts.ruler].filter(Boolean);
    stage.cross = Boolean(plan.tool);
    stage.draw();
  }

  function takePicture() {
    const top = store.top;
    if (!top || pictureKey === top.key) return;
    picture = new TileLayer({ url: (l, c, r) => `/tiles/top/${top.key}/${l}/${c}/${r}`, size: top.size, levels: top.levels, matrix: top.matrix });
    pictureKey = top.key;
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
    parts.draft.guide = [];
    arrange();
    panel();
    canvas.focus({ preventScroll: true });
  }

  function stop() {
    plan.tool = null;
    parts.draft.points = [];
    parts.draft.live = null;
    parts.draft.words = '';
    parts.draft.guide = [];
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
      if (tool.again) await edit('move-edge', tool.again, movedTo(tool.again, anchored));
      else {
        const id = await addEdge({ kind: tool.kind, shape: tool.shape, ...anchored });
        if (tool.instead) edgesPanel.drawnInstead(tool.instead, id);
      }
    } catch (error) { notice(error.sentence || String(error), 'error'); }
  }
  plan.finish = finish;

  stage.grab = (world, p, reach) => {
    if (plan.tool) return null;
    return plan.mode === 'edges' ? handles.grab(world, p, reach) : plan.mode === 'stone' ? grabStone(plan, world, p, reach) : null;
  };

  stage.onkey = (e) => {
    if (handles.nudged) return handles.key(e);
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
    hint.textContent = handles.nudged ? t('plan.nudge') : plan.tool?.draw ? t('draw.hint', { n: parts.draft.points.length }) : plan.tool?.hint || '';
    hint.hidden = !hint.textContent;
  }

  function panel() {
    fill(bar,
      zoomButtons(stage),
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

  const drawLegend = () => legend(legendBox, stage, plan.mode !== 'stone', layers.levels);

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
      PANELS[plan.mode].update?.(plan, what);
      if (what === 'result') { parts.chosen.draft = handles.nudged ? handles.nudged.path : null; takeResult(); PANELS[plan.mode].changed?.(plan); }
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
    ...result.strips.flatMap((s) => s.points), ...(result.drawn ? (result.stone?.pieces || []).flatMap((p) => p.shape) : [])];
}

function layersIcon() {
  return h('svg:svg', { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': 'true' }, h('svg:path', { d: 'M12 3l9 5-9 5-9-5zM3 13l9 5 9-5' }));
}

