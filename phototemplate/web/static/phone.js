// On site with the phone: take a photo, hear what was found in it and what is still missing. One hand, one large button.

import { h, fill, icon } from './dom.js';
import { t, has, language } from './text.js';

const ASK_MS = 700;
const main = document.getElementById('main');
/** @type {{photos: any[], missing: any[], count: number, worst_U: number | null, tolerance: number, units: string} | null} */
let state = null;
/** Photos on their way or refused: name -> {share, words} @type {Map<number, {name: string, share: number, words: string}>} */
const coming = new Map();
let number = 0, lost = false;

function send(file) {
  const key = ++number, one = { name: file.name, share: 0, words: '' };
  coming.set(key, one);
  const call = new XMLHttpRequest();
  call.open('PUT', `photo?name=${encodeURIComponent(file.name)}`);
  call.responseType = 'json';
  call.upload.onprogress = (e) => { one.share = e.loaded / Math.max(e.total, 1); draw(); };
  call.onload = () => {
    if (call.status < 300) coming.delete(key);
    else one.words = has(`error.${call.response?.error}`) ? t(`error.${call.response.error}`, { detail: call.response.detail, ...call.response.facts }) : t('error.unknown');
    ask();
  };
  call.onerror = () => { one.words = t('phone.lost'); draw(); };
  call.send(file);
  draw();
}

async function ask() {
  try {
    const answer = await fetch('state');
    if (!answer.ok) throw new Error(String(answer.status));
    state = await answer.json();
    lost = false;
  } catch { lost = true; }
  draw();
}

const picker = (id, key, capture, main_) => {
  const input = h('input', { type: 'file', accept: 'image/*', id, class: 'unseen', multiple: !capture, capture, onchange: () => { for (const f of input.files) send(f); input.value = ''; } });
  return h('div', { class: 'picker' }, input, h('label', { class: main_ ? 'button main huge' : 'button', for: id }, t(key)));
};
const take = picker('take', 'phone.take', 'environment', true), choose = picker('choose', 'phone.choose', null, false);

function draw() {
  document.documentElement.lang = language();
  const last = state?.photos[state.photos.length - 1];
  fill(main, h('h1', {}, t('phone.title')),
    lost ? h('p', { class: 'mark bad', role: 'alert' }, icon('short'), t('phone.lost')) : null,
    take,
    [...coming.values()].map((one) => h('div', { class: 'card' }, h('p', {}, one.name), one.words ? h('p', { class: 'mark bad', role: 'alert' }, icon('short'), one.words) : h('progress', { max: 1, value: one.share, 'aria-label': t('photos.sending', { name: one.name }) }))),
    last ? h('p', { class: 'big phone-last', role: 'status' }, found(last)) : h('p', {}, t('phone.first')),
    state ? h('div', { class: 'card', role: 'status' }, h('h2', {}, t(state.missing.length ? 'phone.missing' : 'phone.enough')),
      state.missing.length ? h('ul', { class: 'plain-list big-checks checks' }, state.missing.map((m) => h('li', { class: 'look' }, icon('look'), h('div', {}, t(`phone.${m.code}`, m))))) : h('p', { class: 'mark good' }, icon('good'), t('phone.enough.how')),
      h('p', { class: 'hint' }, t('phone.count', { n: state.count }))) : null,
    choose, h('p', { class: 'hint' }, t('phone.plain')));
}

const found = (p) => (p.state === 'bad' ? t('phone.bad') : p.targets === undefined ? t('photo.looking') : !p.targets ? t('phone.nothing') : t(p.sharp ? 'phone.found' : 'phone.blurred', { n: p.targets }));

draw();
ask();
setInterval(ask, ASK_MS);
