// What this page knows of the job, kept in step with the server by one stream of events.

import { get, post, read, sentenceOf, Trouble } from './api.js';
import { notice } from './dom.js';
import { t } from './text.js';

/** @type {{revision: string, name: string, job: Job, undo: Label | null, redo: Label | null, photos: Map<string, PhotoView>, result: Result | null, top: TopView | null, trouble: string, work: Work, written: Written | null, accepted: Record<string, string>, home: boolean, folder: string, wanted: string, schema: any, online: boolean, selected: string, resultNumber: number, proposals: Proposal[], version: string, paper: string, readonly stale: boolean}} */
export const store = {
  revision: '', name: '', job: {}, undo: null, redo: null, photos: new Map(), result: null, top: null, trouble: '',
  work: { state: 'idle', stage: '', share: 0 }, written: null, accepted: {}, home: false, folder: '', wanted: '', schema: null, online: true, selected: '', resultNumber: 0, proposals: [], version: '', paper: 'Letter',
  // is the result shown that of an earlier state of the job file?
  get stale() { return Boolean(this.result) && this.result.revision !== this.revision; },
};

const listeners = new Set();
export function subscribe(f) { listeners.add(f); return () => listeners.delete(f); }
export function changed(what) { for (const f of [...listeners]) f(what); }

function takeJob(facts) {
  for (const key of ['revision', 'name', 'job', 'undo', 'redo']) if (key in facts) store[key] = facts[key];
  for (const photo of store.photos.values()) photo.used = !(store.job.leave_out || []).includes(photo.file);
  changed('job');
}

export async function loadAll() {
  const facts = await get('/api/state');
  store.version = facts.version;
  store.paper = facts.paper;
  store.wanted = facts.wanted || '';
  if (store.folder !== (facts.folder || '')) forget();
  store.home = Boolean(facts.home);
  store.folder = facts.folder || '';
  if (store.home) { changed('job'); return; }
  store.photos = new Map(facts.photos.map((p) => [p.id, p]));
  store.top = facts.top;
  store.trouble = sentenceOf(facts.trouble);
  store.work = facts.work;
  store.written = facts.written;
  store.proposals = facts.proposals;
  store.accepted = facts.accepted;
  if (facts.result !== store.resultNumber || !store.result) await loadResult(facts.result);
  takeJob(facts);
  changed('photos');
  changed('work');
}

// Another job is open, or none
function forget() {
  Object.assign(store, { revision: '', name: '', job: {}, undo: null, redo: null, photos: new Map(), result: null, top: null, trouble: '',
    written: null, accepted: {}, proposals: [], selected: '', resultNumber: 0, work: { state: 'idle', stage: '', share: 0 } });
}

let loading = null;
async function loadResult(number) {
  store.resultNumber = number;
  const result = number ? await get('/api/result') : null;
  if (store.resultNumber === number) {
    // the pieces of the state before stay on the screen until those of this one are there
    if (result?.shaping && store.result) Object.assign(result, { stone: store.result.stone, distances: store.result.distances });
    store.result = result;
    changed('result');
  }
}

export async function loadSchema() {
  store.schema = store.schema || await get('/api/schema');
  return store.schema;
}

const RETRY_MS = 1500;
export function listen() {
  const stream = new EventSource('/api/events');
  stream.addEventListener('hello', () => { store.online = true; loadAll().catch(() => {}); changed('online'); });
  // an app that was started anew refuses the stream until the page is loaded again; a browser does not try again by itself
  stream.onerror = () => {
    if (store.online) { store.online = false; changed('online'); }
    if (stream.readyState === EventSource.CLOSED) { stream.close(); setTimeout(listen, RETRY_MS); }
  };
  stream.addEventListener('moved', (e) => { if (read(e.data).folder !== store.folder) loadAll().then(() => changed('moved'), () => {}); });
  stream.addEventListener('written', (e) => { store.written = read(e.data).written; changed('written'); });
  stream.addEventListener('job', async (e) => {
    if (read(e.data).revision === store.revision) return;
    clearTimeout(loading);
    loading = setTimeout(async () => { if (read(e.data).revision !== store.revision) takeJob(await get('/api/state')); }, 60);
  });
  stream.addEventListener('photos', () => loadAll().catch(() => {}));
  stream.addEventListener('photo', (e) => {
    const { photo } = read(e.data);
    store.photos.set(photo.id, photo);
    store.photos = new Map([...store.photos.entries()].sort((a, b) => (a[1].file < b[1].file ? -1 : 1)));
    changed('photos');
  });
  stream.addEventListener('work', async (e) => {
    const facts = read(e.data);
    store.work = facts;
    if (facts.state === 'failed') { store.trouble = sentenceOf(facts.trouble); changed('result'); }
    if (facts.state === 'measured') { store.trouble = ''; await loadResult(facts.result); }
    changed('work');
  });
  stream.addEventListener('judged', (e) => {
    const { result, ...judged } = read(e.data);
    if (result === store.resultNumber && store.result) { Object.assign(store.result, judged); changed('judged'); }
  });
  stream.addEventListener('proposals', (e) => { Object.assign(store, read(e.data)); changed('proposals'); });
  stream.addEventListener('top', (e) => { store.top = read(e.data).top; changed('top'); });
  window.addEventListener('pagehide', () => stream.close());
}

// ------------------------------------------------------------------------------------------------ changes

/** @type {Promise<any>} */
let line = Promise.resolve();

// One change after the other: the next is based on the revision that the last one made.
export function edit(key, name, operations) {
  const job = line.then(async () => {
    try {
      takeJob(await post('/api/edit', { revision: store.revision, label: { key, name }, operations }));
      return true;
    } catch (error) {
      await failed(error);
      return false;
    }
  });
  line = job;
  return job;
}

export function step(back) {
  const job = line.then(async () => {
    try {
      takeJob(await post(back ? '/api/undo' : '/api/redo', { revision: store.revision }));
    } catch (error) {
      await failed(error);
    }
  });
  line = job;
  return job;
}

async function failed(error) {
  if (error instanceof Trouble && error.code === 'conflict') {
    notice(t('error.conflict'), 'error', [[t('reload'), () => loadAll()]]);
    takeJob(await get('/api/state'));
    return;
  }
  notice(error instanceof Trouble ? error.sentence : String(error), 'error');
  changed('job');
}

// What the job file says of something, with the defaults filled in where the page needs them.
export const edges = () => (store.job.edges || []).map((e) => ({ source: 'trace', shape: 'line', targets: [], search: 12, ...e }));
export const edgeOf = (id) => edges().find((e) => e.id === id);
export const found = (id) => (store.result?.edges || []).find((e) => e.id === id && e.found);
/** Ends of what was seen of edges, whatever runs they belong to. @param {string[]} ids @returns {Map<string, [Point, Point] | null>} */
export const endsOf = (ids) => new Map(ids.map((id) => [id, found(id)?.seen || null]));
/** Proposed edges of which none was made yet. @returns {Proposal[]} */
export const openProposals = () => store.proposals.filter((p) => !edgeOf(store.accepted[p.key]));
/** Is it said what lies under the sheets? A thickness says so too. */
export const paperSaid = () => Boolean(store.job.paper?.lies_on || store.job.paper?.thickness_mm);
export const tolerance = () => store.job.tolerance || 25.4 / 16;
export function freeName(stem, taken) {
  const names = new Set(taken);
  if (!names.has(stem)) return stem;
  let k = 2;
  while (names.has(`${stem}-${k}`)) k += 1;
  return `${stem}-${k}`;
}
