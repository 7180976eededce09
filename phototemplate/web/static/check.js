// Before edges: are all photos placed, and do the lengths agree?

import { LENGTH_OFF } from './constants.js';
import { h, icon } from './dom.js';
import { sorted, told } from './findings.js';
import { OF_LENGTHS } from './known.js';
import { nextStep } from './nextstep.js';
import { how, page } from './page.js';
import { store } from './store.js';
import { length, within } from './units.js';
import { t } from './text.js';

/** Findings of photos and sheets, which everything else rests on. @param {FindingView[]} findings */
export const ofPhotos = (findings) => findings.filter((f) => OF_LENGTHS.includes(f.code) || /^(photo|target|single|weak|lens|profile|sheet|scale|length|sighting|cabinet|plane)-/.test(f.code));

/** @param {HTMLElement} root */
export const open = (root) => page(root, () => [h('h1', {}, t('page.check')), nextStep('check'), how('check'), store.result ? content(store.result) : h('p', {}, store.trouble || t('check.wait'))], { deaf: ['top'] });

const row = (state, words, more = null) => h('li', { class: state }, icon(state), h('div', {}, words, more));

/** @param {Result} r */
function content(r) {
  const photos = Object.entries(r.photos);
  const lost = photos.filter(([, p]) => !p.placed).map(([id]) => id);
  const off = r.lengths.filter((l) => l.used && Math.abs(l.off) > LENGTH_OFF);
  const findings = sorted(ofPhotos(r.findings));
  const moved = r.findings.filter((f) => f.code === 'sheet-moved' || f.code === 'target-id-twice');
  return [
    h('ul', { class: 'checks plain-list big-checks' },
      row(lost.length ? 'look' : 'good', t(lost.length ? 'check.photos-lost' : 'check.photos', { n: photos.length, lost: lost.join(', ') }), lost.length ? h('p', {}, lost.map((id) => [h('a', { href: `#photo/${encodeURIComponent(id)}` }, id), ' '])) : null),
      row(r.unscaled || off.length ? 'short' : r.lengths.length > 1 ? 'good' : 'look', t(r.unscaled ? 'check.no-length' : off.length ? 'check.lengths-off' : r.lengths.length > 1 ? 'check.lengths' : 'check.one-length', { n: r.lengths.length }),
        r.lengths.length ? h('ul', { class: 'plain-list' }, r.lengths.map((l) => h('li', {}, `${l.name}: `, t('check.length', { given: length(l.given), adjusted: length(l.adjusted) })))) : null),
      row(moved.length ? 'short' : 'good', t(moved.length ? 'check.moved' : 'check.still')),
      row(r.heights.length > 2 ? 'good' : 'look', t('check.level', { n: r.heights.length, most: r.heights.length ? within(Math.max(...r.heights.map((q) => Math.abs(q.height)))).slice(2) : '–' }))),
    findings.length ? [h('h2', {}, t('finish.findings')), told(findings, null, 'check')] : null,
  ];
}
