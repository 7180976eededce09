// What is to be done next, said on every page until nothing is left.

import { h } from './dom.js';
import { store, edges } from './store.js';
import { t } from './text.js';

// The first thing that is still missing: [phrase, page where it is done, facts]
function step() {
  const photos = [...store.photos.values()], r = store.result;
  if (!photos.length) return ['photos', 'photos'];
  if (photos.every((p) => p.state === 'bad' || !p.used)) return ['usable', 'photos'];
  if (store.trouble) return ['trouble', 'photos', { why: store.trouble }];
  if (!r) return ['wait', 'photos'];
  if (r.unscaled) return ['length', 'basics'];
  if (!edges().length) return [store.proposals.length ? 'proposals' : 'edges', 'edges', { n: store.proposals.length }];
  const lost = store.stale ? [] : r.edges.filter((e) => !e.found).map((e) => e.id);
  if (lost.length) return ['lost', 'edges', { names: lost.join(', ') }];
  if (!r.loops.some((l) => l.closed)) return ['run', 'edges'];
  if (!(store.job.pieces || []).length) return ['piece', 'stone'];
  if (r.stone?.trouble) return ['shape', 'stone'];
  return ['finish', 'finish'];
}

export function nextStep(here) {
  const [key, page, facts] = step();
  return h('div', { class: 'next' }, h('p', {}, h('b', {}, t('next')), ' ', t(`next.${key}`, facts)),
    page === here ? null : h('a', { class: 'button small', href: `#${page}`, data: { key: 'next' } }, t('next.go', { page: t(`nav.${page}`) })));
}
