// What is to be done next, said on every page until nothing is left. Nothing leads past a serious finding.

import { h } from './dom.js';
import { offers } from './offers.js';
import { store, edges, openProposals, paperSaid } from './store.js';
import { t } from './text.js';

/** The first thing that is still missing: [phrase, page where it is done, facts]. @returns {[string, string, Record<string, any>?]} */
export function step() {
  const photos = [...store.photos.values()], r = store.result;
  const shapes = (store.job.drawn || []).filter((d) => !(store.job.pieces || []).some((p) => p.loop === d.id));
  if (!photos.length && (store.job.drawn || []).length) return shapes.length ? ['piece', 'stone'] : r?.stone?.trouble ? ['shape', 'stone'] : ['finish', 'finish'];
  if (!photos.length) return ['photos', 'photos'];
  if (photos.every((p) => p.state === 'bad' || !p.used)) return ['usable', 'photos'];
  if (store.trouble) return ['trouble', 'photos', { why: store.trouble }];
  if (!(store.job.lengths || []).length) return ['length', 'lengths'];
  if (!paperSaid()) return ['under', 'sheets'];
  if (!r) return ['wait', 'photos'];
  const grave = r.findings.filter((f) => f.severity === 'serious' && /^(photo|target|sheet|scale|length)/.test(f.code));
  if (grave.length) return ['serious', grave[0].code.startsWith('length') || grave[0].code.startsWith('scale') ? 'lengths' : 'check', { why: grave[0].message }];
  const lost = store.stale ? [] : edges().filter((e) => r.edges.some((x) => x.id === e.id && !x.found)).map((e) => e.id);
  if (lost.length) return ['lost', 'edges', { names: lost.join(', ') }];
  const open = openProposals().length;
  if (open) return ['proposals', 'edges', { n: open }];
  if (!edges().length) return ['edges', 'edges'];
  const more = offers(), closed = r.loops.filter((l) => l.closed);
  if (more.some((run) => !run.open)) return ['run', 'runs'];
  if (!closed.length) return more.length ? ['gap', 'runs', more[0].open] : ['run', 'runs'];
  if (closed.some((l) => !(store.job.pieces || []).some((p) => p.loop === l.id))) return ['piece', 'stone'];
  if (r.stone?.trouble) return ['shape', 'stone'];
  return ['finish', 'finish'];
}

/** @param {string} here */
export function nextStep(here) {
  const [key, page, facts] = step();
  return h('div', { class: `next ${key === 'serious' || key === 'trouble' || key === 'lost' ? 'grave' : ''}`, data: { next: page } }, h('p', {}, h('b', {}, t('next')), ' ', t(`next.${key}`, facts)),
    page === here ? null : h('a', { class: 'button small main', href: `#${page}`, data: { key: 'next' } }, t('next.go', { page: t(`nav.${page}`) })));
}
