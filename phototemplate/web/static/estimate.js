// The price and the quote: what is offered to whom, the files to send, and the job for the templater once it is accepted.

import { post } from './api.js';
import { h, fill, button, icon, labelled, notice, select } from './dom.js';
import { fileList } from './files.js';
import { nextStep } from './nextstep.js';
import { store } from './store.js';
import { has, language, t } from './text.js';

/** count. Options side by side on a quote. Convention: what a page holds. */
const MOST_OPTIONS = 4;
/** @type {any} what quote.toml says */
let quote = {};
/** @type {any} */
let answer = null;
/** @type {any[]} */
let lists = [];
let of = '', asked = '', busy = false, clicked = false, turn = false;

/** @param {HTMLElement} root */
export function open(root) {
  const page = h('section', { class: 'page narrow' });
  root.append(page);
  const draw = () => fill(page, content(draw));
  if (of !== store.folder) { of = store.folder; quote = {}; answer = null; }
  post('/api/ask/estimate-choices').then((a) => { ({ lists, clicked } = a); quote = a.quote; if (!quote.prices && lists.length === 1) quote.prices = lists[0].name; draw(); }, () => {});
  draw();
  return { update: (what) => { if (what === 'result' || what === 'job' || what === 'moved') draw(); } };
}

const whole = (n) => Math.round(n).toLocaleString(language());
/** What a line of an estimate is called. @param {string} what */
export const rowName = (what) => (has(`row.${what}`) ? t(`row.${what}`) : what);
const priceWords = (p) => t(p.minimum ? 'estimate.price-minimum' : 'estimate.price', { currency: p.currency, likely: whole(p.likely), low: whole(p.low), high: whole(p.high) });

const list = () => lists.find((l) => l.name === quote.prices);
/** @returns {any[]} */
const options = () => (quote.options?.length ? quote.options : (quote.options = [{}]));

async function work(draw, act) {
  busy = true;
  draw();
  try { await act(); } catch (error) { notice(error.sentence || String(error), 'error'); }
  busy = false;
  draw();
}

const keep = async () => { quote = (await post('/api/clicks/quote', { quote })).quote; };

const ask = (draw) => work(draw, async () => {
  const revision = store.revision;
  answer = null;
  await keep();
  answer = await post('/api/make/estimate', { turn, paper: store.paper, ...(quote.prices ? { prices: quote.prices } : {}) });
  asked = revision;
});

function content(draw) {
  const ready = clicked || store.result?.loops.some((l) => l.closed), l = list();
  const open = l && (options().some((o) => (l.stones.length > 1 && !o.stone) || (l.finishes.length > 1 && !o.finish)) || (l.distance && quote.site?.distance === undefined));
  return [
    h('h1', {}, t('page.estimate')), h('p', {}, t('estimate.how')),
    ready ? null : nextStep('estimate'),
    h('section', { class: 'card' }, h('h2', {}, t('estimate.offered')), offered(draw)),
    h('section', { class: 'card' }, h('h2', {}, t('estimate.customer')), forWhom()),
    h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: turn, data: { key: 'turn' }, onchange: (e) => { turn = e.target.checked; } }), t('estimate.turn')),
    button(busy ? t('estimate.busy') : t('estimate.ask'), () => ask(draw), { class: 'main', disabled: busy || !ready || open, data: { key: 'estimate-ask' } }),
    open ? h('p', { class: 'hint' }, t('estimate.choose-first')) : null,
    answer ? [
      asked !== store.revision ? h('p', { class: 'mark look' }, icon('look'), t('wall.old')) : null,
      answer.price ? h('p', { class: 'big', role: 'status' }, priceWords(answer.price)) : null,
      h('div', { class: 'scroll' }, h('table', {}, h('tbody', {}, answer.rows.map(([what, value]) => h('tr', {}, h('th', { scope: 'row' }, rowName(what)), h('td', { class: 'num' }, value)))))),
      answer.price?.drivers.length ? h('p', {}, t('estimate.drivers', { drivers: answer.price.drivers.map(([what, half]) => `${rowName(what)} (±${whole(half)})`).join(', ') })) : null,
      answer.ask ? h('p', { class: 'mark note' }, icon('note'), h('span', {}, t('estimate.next'), ' ', answer.ask)) : null,
      fileList(answer.files), after(draw)] : null,
  ];
}

function offered(draw) {
  const l = list();
  const names = (key, all, one, k) => labelled(t(`estimate.${key}`), select([['', t('choose')], ...all.map((n) => [n, n])], one[key] || '', (v) => { one[key] = v; draw(); }, { data: { key: `${key}-${k}` } }));
  return [
    h('div', { class: 'row wrap' }, labelled(t('estimate.prices'), select([['', t('estimate.no-prices')], ...lists.map((x) => [x.name, x.name])], quote.prices || '', (v) => { quote.prices = v; draw(); }, { data: { key: 'prices' } }), t('estimate.prices.hint')),
      lists.length ? null : button(t('estimate.new-prices'), () => work(draw, async () => { await post('/api/make/prices'); lists = (await post('/api/ask/estimate-choices')).lists; quote.prices = lists[0]?.name; notice(t('estimate.prices-made', { name: quote.prices }), 'good'); }), { data: { key: 'new-prices' } })),
    l ? [options().map((one, k) => h('div', { class: 'row wrap' }, names('stone', l.stones, one, k), names('finish', l.finishes, one, k),
      k ? button(t('remove'), () => { quote.options.splice(k, 1); draw(); }, { icon: 'gone', class: 'small', data: { key: `option-gone-${k}` } }) : null)),
    options().length < MOST_OPTIONS ? button(t('estimate.add-option'), () => { quote.options.push({ finish: options()[0].finish }); draw(); }, { icon: 'plus', data: { key: 'add-option' } }) : null,
    h('div', { class: 'row wrap' },
      l.distance ? labelled(t('estimate.distance', { unit: l.distance }), h('input', { type: 'number', min: 0, value: quote.site?.distance ?? '', data: { key: 'distance' }, onchange: (e) => { site('distance', e.target.value === '' ? undefined : Number(e.target.value)); draw(); } })) : null,
      labelled(t('estimate.floors'), h('input', { type: 'number', min: 0, value: quote.site?.floors ?? 0, data: { key: 'floors' }, onchange: (e) => { site('floors', Number(e.target.value) || 0); } })),
      l.removal ? h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: Boolean(quote.site?.removal), data: { key: 'removal' }, onchange: (e) => { site('removal', e.target.checked); } }), t('estimate.removal')) : null)] : null,
  ];
}

const site = (key, value) => { quote.site = { ...(quote.site || {}), [key]: value }; if (value === undefined) delete quote.site[key]; };

function forWhom() {
  const who = quote.customer || {};
  const set = (key, value) => { quote.customer = { ...(quote.customer || {}), [key]: value }; };
  return [h('div', { class: 'row wrap' },
    labelled(t('estimate.name'), h('input', { value: who.name || '', maxlength: 120, autocomplete: 'off', data: { key: 'customer-name' }, onchange: (e) => set('name', e.target.value.trim()) })),
    labelled(t('estimate.address'), h('input', { value: (who.address || []).join(', '), maxlength: 240, autocomplete: 'off', data: { key: 'customer-address' }, onchange: (e) => set('address', e.target.value.split(',').map((s) => s.trim()).filter(Boolean)) }))),
  labelled(t('estimate.note'), h('input', { value: quote.note || '', maxlength: 400, autocomplete: 'off', data: { key: 'note' }, onchange: (e) => { quote.note = e.target.value.trim(); } }))];
}

// Sent, accepted, handed on
function after(draw) {
  if (!answer.price) return null;
  const today = new Date().toISOString().slice(0, 10);
  return h('section', { class: 'card' }, h('h2', {}, t('estimate.after')),
    quote.sent ? h('p', { class: 'mark good', data: { key: 'sent-on' } }, icon('good'), t('estimate.sent-on', { date: quote.sent }))
      : button(t('estimate.sent'), () => work(draw, async () => { quote.sent = today; await keep(); }), { disabled: busy, data: { key: 'sent' } }),
    quote.accepted ? h('p', { class: 'mark good' }, icon('good'), t('estimate.accepted-is', { n: quote.accepted }))
      : h('div', { class: 'row wrap' }, options().map((one, k) => button(t('estimate.accepted', { what: one.title || [one.stone, one.finish].filter(Boolean).join(', ') || String(k + 1) }), () => work(draw, async () => {
        const made = await post('/api/make/order', { option: k + 1 });
        quote.accepted = k + 1;
        notice(t('estimate.order', { folder: made.folder }), 'good');
      }), { disabled: busy, data: { key: `accepted-${k + 1}` } }))));
}
