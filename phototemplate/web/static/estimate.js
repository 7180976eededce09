// Price a job: area, edges, slabs, weight and price, each with its range.

import { post } from './api.js';
import { h, fill, button, icon, labelled, notice, select } from './dom.js';
import { fileList } from './files.js';
import { nextStep } from './nextstep.js';
import { store } from './store.js';
import { t } from './text.js';

const wish = { prices: '', finish: '', turn: false };
/** @type {any} */
let answer = null;
/** @type {{name: string, finishes: string[]}[]} */
let lists = [];
let asked = '', busy = false;

/** @param {HTMLElement} root */
export function open(root) {
  const page = h('section', { class: 'page narrow' });
  root.append(page);
  const draw = () => fill(page, content(draw));
  post('/api/ask/estimate-choices').then((a) => { lists = a.lists; draw(); }, () => {});
  draw();
  return { update: (what) => { if (what === 'result' || what === 'job' || what === 'moved') draw(); } };
}

async function ask(draw) {
  busy = true;
  draw();
  const revision = store.revision;
  try {
    answer = await post('/api/make/estimate', { turn: wish.turn, ...(wish.prices ? { prices: wish.prices, finish: wish.finish } : {}) });
    asked = revision;
  } catch (error) { answer = null; notice(error.sentence || String(error), 'error'); }
  busy = false;
  draw();
}

function content(draw) {
  const finishes = lists.find((l) => l.name === wish.prices)?.finishes || [];
  const ready = store.result?.loops.some((l) => l.closed);
  return [
    h('h1', {}, t('page.estimate')), h('p', {}, t('estimate.how')),
    ready ? null : nextStep('estimate'),
    h('div', { class: 'card' }, h('div', { class: 'row wrap' },
      labelled(t('estimate.prices'), select([['', t('estimate.no-prices')], ...lists.map((l) => [l.name, l.name])], wish.prices, (v) => { wish.prices = v; draw(); }, { data: { key: 'prices' } }), t('estimate.prices.hint')),
      finishes.length ? labelled(t('estimate.finish'), select([['', t('form.usual')], ...finishes.map((f) => [f, f])], wish.finish, (v) => { wish.finish = v; }, { data: { key: 'finish' } })) : null),
    h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: wish.turn, data: { key: 'turn' }, onchange: (e) => { wish.turn = e.target.checked; } }), t('estimate.turn')),
    button(busy ? t('estimate.busy') : t('estimate.ask'), () => ask(draw), { class: 'main', disabled: busy || !ready, data: { key: 'estimate-ask' } })),
    answer ? [
      asked !== store.revision ? h('p', { class: 'mark look' }, icon('look'), t('wall.old')) : null,
      answer.price ? h('p', { class: 'big', role: 'status' }, answer.price) : null,
      h('div', { class: 'scroll' }, h('table', {}, h('tbody', {}, answer.rows.map(([what, value]) => h('tr', {}, h('th', { scope: 'row' }, what), h('td', { class: 'num' }, value)))))),
      answer.drivers ? h('p', {}, answer.drivers) : null,
      answer.ask ? h('p', { class: 'mark note' }, icon('note'), h('span', {}, t('estimate.next'), ' ', answer.ask)) : null,
      fileList(answer.files)] : null,
  ];
}
