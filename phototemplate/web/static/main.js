// The frame around the pages: which page is shown, undo and redo, what is being computed.

import { h, fill, button, notice, announce } from './dom.js';
import { post } from './api.js';
import { store, subscribe, listen, loadAll, step } from './store.js';
import { t, has } from './text.js';

/** @type {[string, () => Promise<any>][]} */
const PAGES = [
  ['photos', () => import('./photos.js')], ['basics', () => import('./basics.js')], ['edges', () => import('./topview.js')],
  ['stone', () => import('./topview.js')], ['distance', () => import('./topview.js')], ['finish', () => import('./finish.js')],
];
/** @type {[string, () => Promise<any>][]} */
const HIDDEN = [['photo', () => import('./photo.js')]];

let page = null;
let shown = '';
let turns = 0;

export function go(name, argument = '') { location.hash = argument ? `${name}/${encodeURIComponent(argument)}` : name; }

async function route() {
  const [name, rest] = location.hash.slice(1).split('/');
  const known = [...PAGES, ...HIDDEN].find(([n]) => n === name);
  if (!known) { location.replace(`#${store.photos.size ? 'edges' : 'photos'}`); return; }
  const argument = rest ? decodeURIComponent(rest) : '';
  const turn = ++turns;
  const module = await known[1]();
  if (turn !== turns) return; // another page was asked for meanwhile
  if (page && page.module === module && page.stays && page.stays(name, argument)) { /* the same page in another mode */ }
  else {
    page?.close?.();
    const main = document.getElementById('main');
    main.replaceChildren();
    page = module.open(main, name, argument);
    page.module = module;
  }
  shown = name;
  document.body.dataset.page = name;
  document.title = `${t(`page.${name}`, { name: argument })} – ${store.name || 'phototemplate'}`;
  frame();
}

function frame() {
  document.getElementById('job-name').textContent = store.name;
  document.getElementById('skip').textContent = t('skip');
  const nav = document.getElementById('nav');
  nav.setAttribute('aria-label', t('nav'));
  fill(nav, PAGES.map(([name]) => {
    const here = name === shown || (shown === 'photo' && name === 'photos');
    return h('a', { href: `#${name}`, 'aria-current': here ? 'page' : null, data: { key: `nav-${name}` } }, t(`nav.${name}`), badge(name));
  }));
  const undo = store.undo ? t('undo.of', { what: labelOf(store.undo) }) : t('undo.nothing');
  const redo = store.redo ? t('redo.of', { what: labelOf(store.redo) }) : t('redo.nothing');
  fill(document.getElementById('tools'),
    button('', () => step(true), { icon: 'undo', disabled: !store.undo, 'aria-label': undo, title: undo, class: 'plain', data: { key: 'undo' } }),
    button('', () => step(false), { icon: 'redo', disabled: !store.redo, 'aria-label': redo, title: redo, class: 'plain', data: { key: 'redo' } }));
  work();
}

function badge(name) {
  let n = 0;
  if (name === 'photos') n = [...store.photos.values()].filter((p) => p.state === 'bad' || (p.seen?.findings || []).some((f) => f.severity !== 'note')).length;
  if (name === 'edges') n = (store.result?.edges || []).filter((e) => !e.found).length;
  if (name === 'stone' && store.result?.stone) n = store.result.stone.trouble ? 1 : (store.result.stone.findings || []).filter((f) => f.severity !== 'note').length;
  return n ? h('b', { class: 'badge', title: t('badge', { n }) }, n) : null;
}

export function labelOf(label) {
  return has(`change.${label.key}`) ? t(`change.${label.key}`, { name: label.name || '' }) : t('change.change');
}

let said = '';
let late = 0;

// Work in the frame's own line, so that nothing on the page moves; what went wrong in a line of its own.
function work() {
  const bar = document.getElementById('work'), alert = document.getElementById('alert');
  const { state, stage, share } = store.work;
  let body = null, wrong = null;
  if (!store.online) wrong = [h('span', { class: 'word' }, t('work.offline'))];
  else if (state === 'failed' && store.trouble) wrong = [h('span', { class: 'word' }, store.trouble), button(t('work.again'), () => post('/api/measure'), { data: { key: 'again' } })];
  if (state === 'measuring') {
    const words = has(`stage.${stage}`) ? t(`stage.${stage}`) : t('stage.any');
    body = [h('div', { class: 'word' }, h('span', {}, words), h('progress', { max: 1, value: share || 0, 'aria-label': words })),
      button('', () => post('/api/cancel'), { icon: 'stop', class: 'plain', 'aria-label': t('work.stop'), title: t('work.stop'), data: { key: 'stop' } })];
  } else if (state === 'photos') body = [h('div', { class: 'word' }, h('span', {}, t('work.photos')))];
  else if (state === 'stopped') body = [h('div', { class: 'word' }, h('span', {}, t('work.stopped'))), button(t('work.again'), () => post('/api/measure'), { class: 'small', data: { key: 'again' } })];
  clearTimeout(late);
  // what is done in a moment is not worth a word
  if (body && bar.hidden) late = setTimeout(() => { bar.hidden = false; }, 350);
  if (!body) bar.hidden = true;
  bar.className = state;
  fill(bar, body || []);
  alert.hidden = !wrong;
  fill(alert, wrong || []);
  const now = state === 'measured' ? t('work.measured') : state === 'stopped' ? t('work.stopped') : '';
  if (now && now !== said) announce(now);
  said = now;
}

document.addEventListener('keydown', (e) => {
  const typing = /** @type {HTMLElement} */ (e.target).closest?.('input, textarea, select');
  if ((e.ctrlKey || e.metaKey) && !typing && e.key.toLowerCase() === 'z') { e.preventDefault(); step(!e.shiftKey); }
  if ((e.ctrlKey || e.metaKey) && !typing && e.key.toLowerCase() === 'y') { e.preventDefault(); step(false); }
});
// a photo dropped anywhere must not make the browser leave the page
for (const kind of ['dragover', 'drop']) window.addEventListener(kind, (e) => e.preventDefault());
window.addEventListener('hashchange', route);
document.getElementById('skip').addEventListener('click', (e) => { e.preventDefault(); document.getElementById('main').focus(); });

subscribe((what) => {
  if (what === 'work' || what === 'online') work();
  else frame();
  page?.update?.(what);
});

try {
  await loadAll();
} catch (error) {
  notice(error.sentence || String(error), 'error');
}
listen();
await route();
