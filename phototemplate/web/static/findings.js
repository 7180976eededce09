// Findings beside what they concern, each with a button that shows the place.

import { h, button, icon } from './dom.js';
import { middle } from './geometry.js';
import { store } from './store.js';
import { t } from './text.js';

const ORDER = { serious: 0, warning: 1, note: 2 };
const SIGNS = { serious: 'short', warning: 'look', note: 'note' };

// Where a finding's place is: an edge, a photo, a sheet, a cabinet, a piece
export function placeOf(where) {
  const result = store.result;
  if (!result || !where) return null;
  const [first, second] = where.split('/');
  for (const name of [second, first, where]) {
    if (!name) continue;
    const edge = result.edges.find((e) => e.id === name);
    if (edge?.found) return { page: 'edges', edge: name, xy: edge.xy[edge.xy.length >> 1] };
    if (edge?.hint) return { page: 'edges', edge: name, xy: edge.hint[0] };
    if (edge) return { page: 'edges', edge: name, xy: null };
    if (store.photos.has(name)) return { page: 'photo', photo: name };
    const sheet = result.sheets.find((s) => s.id === name);
    if (sheet) return { page: 'edges', xy: sheet.centre };
    const strip = result.strips.find((s) => s.id === name || s.id.replace(/[a-z]$/, '') === name);
    if (strip) return { page: 'edges', xy: strip.points[strip.points.length >> 1] };
    const cabinet = result.heights.find((q) => q.group === name || q.name === name);
    if (cabinet) return { page: 'edges', xy: cabinet.xy };
    const piece = result.stone?.pieces?.find((p) => p.id === name || p.source === name);
    if (piece) return { page: 'stone', piece: piece.id, xy: middle(piece.shape) };
    const cutout = result.stone?.pieces?.flatMap((p) => p.cutouts).find((q) => q.id === name);
    if (cutout) return { page: 'stone', xy: cutout.centre };
    const seam = result.stone?.seams?.find((q) => q.id === name);
    if (seam) return { page: 'stone', xy: seam.start };
  }
  const loop = result.loops.find((l) => l.id === first);
  if (loop) return { page: 'edges', xy: loop.corners[0]?.xy };
  return null;
}

export function showPlace(place, plan = null) {
  if (!place) return;
  if (place.page === 'photo') { location.hash = `photo/${encodeURIComponent(place.photo)}`; return; }
  if (place.edge) store.selected = place.edge;
  if (plan) {
    if (place.xy) plan.show(place.xy, 0.5);
    plan.redraw();
    return;
  }
  location.hash = place.page;
  setTimeout(() => place.xy && window.phototemplateStage && window.phototemplateStage.show(place.xy, 0.5), 60);
}

/** count. Places listed by name of what was found in many. Convention: one line. */
const MOST_PLACES = 4;

/** Where it was found, where the sentence itself does not say so. @param {FindingView & {places?: string[]}} f */
function placesOf(f) {
  const places = f.places || [f.where];
  if (!places[0] || places.length === 1 && f.message.includes(places[0].split('/').pop())) return '';
  return places.length > MOST_PLACES ? t('findings.many', { names: places.slice(0, MOST_PLACES - 1).join(', '), n: places.length - MOST_PLACES + 1 }) : places.join(', ');
}

/** Findings one below the other; what is said of many in the same words is said once. @param {FindingView[]} list @param {any} plan @param {string} key */
export function told(list, plan, key) {
  const alike = new Map();
  for (const f of list) {
    const words = `${f.code} ${f.message} ${f.remedy}`;
    alike.set(words, { ...f, places: [...(alike.get(words)?.places || []), f.where], where: alike.get(words)?.where ?? f.where });
  }
  return [...alike.values()].map((f) => finding(f, plan, key));
}

export function finding(f, plan = null, key = '') {
  const place = placeOf(f.where), where = placesOf(f);
  return h('div', { class: `finding ${f.severity}` }, icon(SIGNS[f.severity]),
    h('div', {}, h('p', {}, h('b', {}, `${t(`severity.${f.severity}`)} `), where ? `${where}: ` : null, f.message), f.remedy ? h('p', { class: 'hint' }, f.remedy) : null,
      place ? button(t('show-place'), () => showPlace(place, plan), { icon: 'place', class: 'small', data: { key: `show-${key}-${f.code}-${f.where}` } }) : null));
}

export function findingsOf(names, all) {
  return (all || []).filter((f) => f.where.split('/').some((n) => names.includes(n))).sort((a, b) => ORDER[a.severity] - ORDER[b.severity]);
}

export const sorted = (all) => [...(all || [])].sort((a, b) => ORDER[a.severity] - ORDER[b.severity]);
