// Print and lay out: the sheets, where they lie, how the photos are taken. The same page without a job only prints.

import { post } from './api.js';
import { h, button, icon, labelled, notice, select } from './dom.js';
import { drawing } from './drawings.js';
import { nextStep } from './nextstep.js';
import { page } from './page.js';
import { store } from './store.js';
import { fileList } from './files.js';
import { t } from './text.js';

const PAPERS = ['Letter', 'A4'];
const KINDS = ['set', 'sheets', 'strips', 'bars', 'board'];
let paper = '', kind = 'set', answer = null, busy = false;

/** What is laid where, in the order in which it is done. */
const STEPS = [['lay-sheets', 'prepare.sheets'], ['lay-contact', 'prepare.contact'], ['lay-bar', 'prepare.bar'], ['take-photos', 'prepare.photos'], ['turn', 'prepare.turn']];

export const howTo = () => h('ol', { class: 'how' }, STEPS.map(([name, key]) => h('li', {}, drawing(name), h('div', {}, h('b', {}, t(key)), h('p', {}, t(`${key}.how`))))));

/** @param {HTMLElement} root @param {string} name */
export function open(root, name) {
  paper ||= store.paper;
  return page(root, (draw) => content(name, draw));
}

async function make(draw) {
  busy = true;
  draw();
  try {
    answer = await post('/api/make/sheets', { paper, what: [kind] });
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  busy = false;
  draw();
}

function content(name, draw) {
  return [
    h('h1', {}, t(`page.${name}`)),
    name === 'prepare' ? nextStep('prepare') : null,
    h('section', { class: 'card' }, h('h2', {}, t('prepare.print')), h('p', {}, t('prepare.print.how')),
      h('div', { class: 'row wrap' },
        labelled(t('prepare.paper'), select(PAPERS.map((p) => [p, p]), paper, (v) => { paper = v; answer = null; draw(); }, { data: { key: 'paper' } })),
        labelled(t('prepare.what'), select(KINDS.map((k) => [k, t(`prepare.kind.${k}`)]), kind, (v) => { kind = v; answer = null; draw(); }, { data: { key: 'kind' } }))),
      button(busy ? t('finish.writing') : t('prepare.make'), () => make(draw), { class: 'main', icon: 'file', disabled: busy, data: { key: 'make-sheets' } }),
      answer ? [fileList(answer.files), h('p', { class: 'mark good' }, icon('good'), t('prepare.made', { pages: answer.pages, targets: answer.targets }))] : null),
    h('h2', {}, t('prepare.how')), howTo(),
    h('p', { class: 'hint' }, t('prepare.safety')),
  ];
}
