// The whole job as one guide, with our own drawings; it prints. And the words of the trade that the pages use.

import { h, button } from './dom.js';
import { howOf } from './page.js';
import { howTo } from './prepare.js';
import { store } from './store.js';
import { t } from './text.js';

const STEPS = ['prepare', 'photos', 'lengths', 'sheets', 'check', 'edges', 'runs', 'stone', 'finish'];
const BESIDE = ['distance', 'wall', 'estimate', 'slab', 'job', 'plan', 'calibrate'];
const WORDS = ['sheet', 'strip', 'contact', 'edge', 'run', 'front', 'wall-edge', 'end', 'panel', 'overhang', 'clearance', 'scribe', 'splash', 'seam', 'plane', 'target', 'U', 'known'];

/** @param {HTMLElement} root */
export function open(root) {
  root.append(h('section', { class: 'page narrow guide' },
    h('div', { class: 'row spread wrap' }, h('h1', {}, t('page.help')), button(t('help.print'), () => window.print(), { data: { key: 'print' } })),
    h('h2', {}, t('help.way')),
    STEPS.map((s, k) => [h('h3', {}, `${k + 1}. `, store.home ? t(`nav.${s}`) : h('a', { href: `#${s}` }, t(`nav.${s}`))), h('p', {}, t(`help.${s}`)), s === 'prepare' ? howTo() : howOf(s)]),
    h('h2', {}, t('help.beside')),
    BESIDE.map((s) => [h('h3', {}, t(`page.${s}`)), howOf(s)]),
    h('h2', {}, t('help.words')),
    h('dl', { class: 'figures glossary' }, WORDS.map((w) => [h('dt', {}, t(`word.${w}`)), h('dd', {}, t(`word.${w}.is`))])),
    h('h2', {}, t('help.keys')), h('p', {}, t('help.keys.how')),
    h('h2', {}, t('cautions')), h('p', {}, t('help.safety'))));
  return { update: () => {} };
}
