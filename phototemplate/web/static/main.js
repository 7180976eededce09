// The frame around the pages: which page is shown, undo and redo, what is being computed.

import { h, fill, button, notice, announce } from './dom.js';
import { post } from './api.js';
import { store, subscribe, listen, loadAll, step, found } from './store.js';
import { t, has, language } from './text.js';

/** The way of a job in its order, then what is at hand beside it. @type {[string, () => Promise<any>][]} */
const WAY = [
  ['prepare', () => import('./prepare.js')], ['photos', () => import('./photos.js')], ['lengths', () => import('./known.js')],
  ['sheets', () => import('./under.js')], ['check', () => import('./check.js')], ['edges', () => import('./topview.js')],
  ['runs', () => import('./topview.js')], ['stone', () => import('./topview.js')], ['finish', () => import('./finish.js')],
];
/** @type {[string, () => Promise<any>][]} */
const BESIDE = [['distance', () => import('./topview.js')], ['wall', () => import('./wall.js')], ['customer', () => import('./customer.js')], ['estimate', () => import('./estimate.js')], ['slab', () => import('./slab.js')], ['job', () => import('./jobpage.js')]];
/** Pages that need no open job. @type {[string, () => Promise<any>][]} */
const ANYWHERE = [['start', () => import('./start.js')], ['plan', () => import('./photoplan.js')], ['calibrate', () => import('./calibrate.js')], ['print', () => import('./prepare.js')], ['help', () => import('./help.js')]];
/** @type {[string, () => Promise<any>][]} */
const HIDDEN = [['photo', () => import('./photo.js')]];

let page = null;
let shown = '';
let turns = 0;

/** Pages that are not on the way of a job, in a menu of their own. It stays one element, so that it is not shut by what is computed meanwhile. */
const beside = h('details', { class: 'menu beside', data: { key: 'nav-more' } });

/** Where one begins. */
const usual = () => (store.home ? 'start' : store.photos.size ? 'edges' : store.job.drawn?.length ? 'stone' : 'photos');

async function route() {
  const [name, rest] = location.hash.slice(1).split('/');
  const known = [...(store.home ? [] : [...WAY, ...BESIDE, ...HIDDEN]), ...ANYWHERE].find(([n]) => n === name);
  if (!known) { location.replace(`#${usual()}`); return; }
  const argument = rest ? decodeURIComponent(rest) : '';
  const turn = ++turns;
  beside.open = false; // before anything is waited for: the next press may open it again
  const module = await known[1]();
  if (turn !== turns) return; // another page was asked for meanwhile
  if (page && page.module === module && page.stays && page.stays(name, argument)) { /* the same page in another mode */ }
  else {
    page?.close?.();
    const main = document.getElementById('main');
    main.replaceChildren();
    main.scrollTop = 0;
    page = module.open(main, name, argument);
    page.module = module;
  }
  shown = name;
  document.body.dataset.page = name;
  document.title = `${t(`page.${name}`, { name: argument })} – ${store.name || 'phototemplate'}`;
  frame();
  document.querySelector('#nav [aria-current]')?.scrollIntoView({ block: 'nearest', inline: 'center' });
}

function frame() {
  document.documentElement.lang = language();
  document.getElementById('job-name').textContent = store.home ? t('start.title') : store.name;
  document.getElementById('home').setAttribute('aria-label', t('nav.start'));
  document.getElementById('home').title = t('nav.start');
  document.getElementById('skip').textContent = t('skip');
  const nav = document.getElementById('nav');
  nav.setAttribute('aria-label', t('nav'));
  /** @param {[string, any]} entry @param {number | null} k */
  const link = ([name], k) => {
    const here = name === shown || (shown === 'photo' && name === 'photos');
    return h('a', { href: `#${name}`, 'aria-current': here ? 'page' : null, data: { key: `nav-${name}` } }, k === null ? null : h('i', { 'aria-hidden': 'true' }, k + 1), t(`nav.${name}`), badge(name));
  };
  // an element that is being pressed must not be put anew for nothing
  const drawn = JSON.stringify([store.home, shown, language(), [...WAY, ...BESIDE].map(([name]) => count(name))]);
  if (nav.dataset.drawn !== drawn) {
    nav.dataset.drawn = drawn;
    fill(nav, store.home ? null : WAY.map((p, k) => link(p, k)));
    menu(link);
  }
  tools();
  work();
}

function menu(link) {
  const inside = BESIDE.some(([name]) => name === shown);
  fill(beside, h('summary', { class: inside ? 'here' : '', data: { key: 'nav-beside' } }, inside ? t(`nav.${shown}`) : t('nav.beside')), h('nav', { class: 'menu-box', 'aria-label': t('nav.beside') }, BESIDE.map((p) => link(p, null))));
}

let drawnTools = '';

function tools() {
  const undo = store.undo ? t('undo.of', { what: labelOf(store.undo) }) : t('undo.nothing');
  const redo = store.redo ? t('redo.of', { what: labelOf(store.redo) }) : t('redo.nothing');
  const drawn = JSON.stringify([store.home, language(), undo, redo]);
  if (drawn === drawnTools) return;
  drawnTools = drawn;
  fill(document.getElementById('tools'), store.home ? null : [beside,
    button('', () => step(true), { icon: 'undo', disabled: !store.undo, 'aria-label': undo, title: undo, class: 'plain', data: { key: 'undo' } }),
    button('', () => step(false), { icon: 'redo', disabled: !store.redo, 'aria-label': redo, title: redo, class: 'plain', data: { key: 'redo' } })],
  h('a', { class: 'button plain', href: '#help', 'aria-label': t('nav.help'), title: t('nav.help'), data: { key: 'help' } }, '?'));
}

/** What is to be looked at on a page. @param {string} name */
function count(name) {
  let n = 0;
  if (name === 'photos') n = [...store.photos.values()].filter((p) => p.state === 'bad' || (p.seen?.findings || []).some((f) => f.severity !== 'note')).length;
  if (name === 'edges') n = (store.job.edges || []).filter((e) => store.result && !store.stale && !found(e.id)).length;
  if (name === 'stone' && store.result?.stone) n = store.result.stone.trouble ? 1 : (store.result.stone.findings || []).filter((f) => f.severity !== 'note').length;
  return n;
}

function badge(name) {
  const n = count(name);
  return n ? h('b', { class: 'badge', title: t('badge', { n }) }, n) : null;
}

/** @param {Label} label */
export function labelOf(label) {
  return has(`change.${label.key}`) ? t(`change.${label.key}`, { name: label.name || '' }) : t('change.change');
}

let said = '';
let late = 0;

// Work in the frame's own line, so that nothing on the page moves; what went wrong in a line of its own.
function work() {
  const bar = document.getElementById('work'), alert = document.getElementById('alert');
  const { state, stage, share } = store.work;
  const again = (props) => button(t('work.again'), () => post('/api/measure'), { ...props, data: { key: 'again' } });
  let body = null, wrong = null;
  if (!store.online) wrong = [h('span', { class: 'word' }, t('work.offline'))];
  else if (state === 'failed' && store.trouble && shown !== 'customer' && shown !== 'estimate') wrong = [h('span', { class: 'word' }, store.trouble), again({})];
  if (state === 'measuring') {
    const words = has(`stage.${stage}`) ? t(`stage.${stage}`) : t('stage.any');
    body = [h('div', { class: 'word' }, h('span', {}, words), h('progress', { max: 1, value: share || 0, 'aria-label': words })),
      button('', () => post('/api/cancel'), { icon: 'stop', class: 'plain', 'aria-label': t('work.stop'), title: t('work.stop'), data: { key: 'stop' } })];
  } else if (state === 'photos') body = [h('div', { class: 'word' }, h('span', {}, t('work.photos')))];
  else if (state === 'stopped') body = [h('div', { class: 'word' }, h('span', {}, t('work.stopped'))), again({ class: 'small' })];
  clearTimeout(late);
  // what is done in a moment is not worth a word
  if (body && bar.hidden) late = window.setTimeout(() => { bar.hidden = false; }, 350);
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
  if (e.key === 'Escape' && beside.open) { beside.open = false; /** @type {HTMLElement} */ (beside.firstElementChild).focus(); }
  const typing = /** @type {HTMLElement} */ (e.target).closest?.('input, textarea, select');
  if ((e.ctrlKey || e.metaKey) && !typing && e.key.toLowerCase() === 'z') { e.preventDefault(); step(!e.shiftKey); }
  if ((e.ctrlKey || e.metaKey) && !typing && e.key.toLowerCase() === 'y') { e.preventDefault(); step(false); }
});
document.addEventListener('pointerdown', (e) => { if (!beside.contains(/** @type {Node} */ (e.target))) beside.open = false; });
// a photo dropped anywhere must not make the browser leave the page
for (const kind of ['dragover', 'drop']) window.addEventListener(kind, (e) => e.preventDefault());
window.addEventListener('hashchange', route);
document.getElementById('skip').addEventListener('click', (e) => { e.preventDefault(); document.getElementById('main').focus(); });

subscribe((what) => {
  if (what === 'moved') { page?.close?.(); page = null; if (store.home || !store.photos.size) location.hash = usual(); route(); return; }
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
