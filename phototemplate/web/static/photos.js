// Photos: drop them, see what was found in each, leave out the useless ones.

import { UPLOADS_AT_ONCE, UPLOAD_LIMIT } from './constants.js';
import { h, fill, button, icon, announce, notice } from './dom.js';
import { uprightMatrix, uprightSize } from './geometry.js';
import { post, sentenceOf, upload } from './api.js';
import { store, edit } from './store.js';
import { t } from './text.js';
import { bytes } from './units.js';
import { nextStep } from './nextstep.js';
import { how } from './page.js';

const arriving = new Map();
const queue = [];
let busy = 0;
let number = 0;

export function open(root) {
  const page = h('section', { class: 'page' });
  page.addEventListener('drop', (e) => { e.preventDefault(); take(e.dataTransfer.files); });
  const sums = h('p', { class: 'sums', role: 'status' });
  const list = h('ul', { class: 'photos' });
  const next = h('div', {}), phone = h('div', {});
  phoneCard(phone);
  page.append(h('h1', {}, t('page.photos')), how('photos'), dropBox(), phone, sums, next, list);
  root.append(page);
  // a card is made once per photo and changed in place, so that nothing jumps while forty arrive
  const cards = new Map();
  let asked = 0;

  const draw = () => {
    asked = 0;
    /** @type {[string, string, () => HTMLElement][]} */
    const wanted = [];
    for (const [key, one] of arriving) wanted.push([`up-${key}`, JSON.stringify([Math.round(one.share * 50), one.state, one.words]), () => coming(key, one)]);
    for (const photo of store.photos.values()) {
      const placed = store.result?.photos?.[photo.id];
      wanted.push([`p-${photo.id}`, JSON.stringify([photo.state, photo.used, photo.version, photo.trouble, placed]), () => card(photo, placed)]);
    }
    const keys = new Set(wanted.map(([k]) => k));
    for (const [key, c] of cards) if (!keys.has(key)) { c.el.remove(); cards.delete(key); }
    let before = null;
    for (const [key, mark, make] of wanted) {
      let c = cards.get(key);
      if (!c || c.mark !== mark) {
        const el = make();
        if (c) c.el.replaceWith(el);
        c = { el, mark };
        cards.set(key, c);
      }
      const next = before ? before.nextSibling : list.firstChild;
      if (next !== c.el) list.insertBefore(c.el, next);
      before = c.el;
    }
    const seen = [...store.photos.values()].filter((p) => p.state === 'seen');
    const targets = new Set(seen.flatMap((p) => p.seen.targets.map((x) => x.id)));
    fill(next, store.photos.size && !arriving.size ? nextStep('photos') : null);
    sums.textContent = store.photos.size ? t('photos.sums', { n: store.photos.size, seen: seen.length, targets: targets.size }) : t('photos.none');
  };
  redraw = () => { asked ||= requestAnimationFrame(draw); };
  draw();
  return { update: () => redraw(), close: () => { redraw = () => {}; } };
}

/** Where photos are dropped or chosen; what arrives is in the store. */
export function dropBox() {
  const input = h('input', { type: 'file', multiple: true, accept: 'image/jpeg,image/png,image/tiff,image/heic,image/heif,.heic,.heif,.hif,.tif,.tiff', id: 'photo-files', class: 'unseen', data: { key: 'photo-files' }, onchange: () => { take(input.files); input.value = ''; } });
  const drop = h('label', { class: 'drop', for: 'photo-files' }, h('b', {}, t('photos.drop')), h('span', {}, t('photos.drop.hint')));
  for (const kind of ['dragenter', 'dragover']) drop.addEventListener(kind, () => drop.classList.add('over'));
  for (const kind of ['dragleave', 'drop']) drop.addEventListener(kind, () => drop.classList.remove('over'));
  return h('div', { class: 'dropbox' }, input, drop);
}

// Photos straight from a phone on site: off unless asked for
async function phoneCard(box) {
  const link = /** @type {{url: string, code: number[][]} | null} */ (phoneLink);
  const turn = async (on) => {
    try { phoneLink = on ? await post('/api/phone', { on }) : (await post('/api/phone', { on }), null); } catch (error) { notice(error.sentence || String(error), 'error'); }
    phoneCard(box);
  };
  if (!link) { box.replaceChildren(button(t('phone.use'), (e) => { e.currentTarget.disabled = true; e.currentTarget.textContent = t('loading'); turn(true); }, { data: { key: 'phone-on' } })); return; }
  const n = link.code.length;
  box.replaceChildren(h('div', { class: 'card phone-link' },
    h('svg:svg', { viewBox: `0 0 ${n} ${n}`, class: 'square-code', role: 'img', 'aria-label': t('phone.code') }, h('svg:rect', { width: n, height: n, class: 'light' }),
      h('svg:path', { class: 'dark', d: link.code.flatMap((row, y) => row.map((dark, x) => (dark ? `M${x} ${y}h1v1h-1z` : ''))).join('') })),
    h('div', {}, h('h2', {}, t('phone.how')), h('p', { class: 'address' }, link.url), h('p', { class: 'hint' }, t('phone.same')), h('p', { class: 'mark look' }, icon('look'), t('phone.open')),
      button(t('phone.off'), () => turn(false), { data: { key: 'phone-off' } }))));
}
let phoneLink = null;

let redraw = () => {};

export function take(files) {
  for (const file of files) {
    const key = ++number;
    const one = { file, share: 0, state: 'waiting', words: '' };
    arriving.set(key, one);
    if (file.size > UPLOAD_LIMIT) { one.state = 'refused'; one.words = t('error.photo-too-large'); } else queue.push([key, one]);
  }
  redraw();
  pump();
}

function pump() {
  while (busy < UPLOADS_AT_ONCE && queue.length) {
    const [key, one] = queue.shift();
    busy += 1;
    one.state = 'sending';
    upload(one.file, (share) => { one.share = share; redraw(); }).then(
      (facts) => { if (!store.photos.has(facts.id)) store.photos.set(facts.id, facts); arriving.delete(key); },
      (error) => { one.state = 'refused'; one.words = error.sentence; announce(`${one.file.name}: ${one.words}`); },
    ).finally(() => { busy -= 1; redraw(); pump(); });
  }
}

function coming(key, one) {
  const bad = one.state === 'refused';
  return h('li', { class: `photo ${bad ? 'bad' : 'coming'}` },
    h('div', { class: 'thumb none' }, icon(bad ? 'short' : 'file')),
    h('div', { class: 'facts' }, h('h2', {}, one.file.name), h('p', {}, bytes(one.file.size)),
      bad ? [h('p', { class: 'mark bad' }, icon('short'), one.words),
        button(t('photos.forget'), () => { arriving.delete(key); redraw(); }, { class: 'plain' })]
        : [h('progress', { max: 1, value: one.share, 'aria-label': t('photos.sending', { name: one.file.name }) }), h('p', { class: 'hint' }, one.state === 'waiting' ? t('photos.queued') : t('photos.sending', { name: '' }))]));
}

const MARKS = { 'photo-smeared': 'blurred', 'photo-out-of-focus': 'blurred', 'photo-no-targets': 'none', 'photo-few-points': 'few', 'photo-duplicate': 'twice', 'photo-duplicate-kept': 'twice', 'photo-resaved': 'edited', 'photo-resized': 'edited', 'photo-screenshot': 'edited', 'photo-from-messenger': 'edited', 'photo-cropped': 'edited', 'photo-no-exif': 'silent' };

function card(photo, placed) {
  const url = `#photo/${encodeURIComponent(photo.id)}`;
  const ready = photo.state === 'seen';
  const marks = [];
  for (const f of photo.seen?.findings || []) {
    const serious = f.severity !== 'note';
    marks.push(h('li', { class: `mark ${serious ? 'look' : 'note'}`, title: `${f.message} ${f.remedy}` }, icon(serious ? 'look' : 'note'),
      h('span', {}, MARKS[f.code] ? t(`photo.mark.${MARKS[f.code]}`) : f.message)));
  }
  if (placed && !placed.placed) marks.push(h('li', { class: 'mark look' }, icon('look'), h('span', {}, t('photo.mark.unplaced'))));
  const targets = ready ? photo.seen.targets : [];
  const thumb = ready
    ? h('a', { href: url, class: 'thumb', 'aria-label': t('photo.open', { name: photo.id }) },
      h('img', { src: `/thumb/${encodeURIComponent(photo.id)}/${photo.version}`, alt: '', loading: 'lazy' }), outlines(photo))
    : h('div', { class: 'thumb none' }, photo.state === 'bad' ? icon('short') : h('span', { class: 'spin', 'aria-hidden': 'true' }));
  return h('li', { class: `photo ${photo.state} ${photo.used ? '' : 'out'}` }, thumb,
    h('div', { class: 'facts' }, h('h2', {}, ready ? h('a', { href: url }, photo.file) : photo.file),
      photo.state === 'bad' ? h('p', { class: 'mark bad' }, icon('short'), sentenceOf(photo.trouble))
        : !ready ? h('p', {}, t('photo.looking'))
          : h('p', {}, targets.length ? t('photo.found', { n: targets.length, points: photo.seen.points }) : t('photo.nothing'),
            placed?.rms ? ` · ${t('photo.rms', { rms: placed.rms.toFixed(2) })}` : ''),
      targets.length ? h('p', { class: 'hint targets' }, targets.map((x) => x.id).join(' ')) : null,
      h('ul', { class: 'marks' }, marks),
      h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: photo.used, onchange: (e) => use(photo, e.target.checked) }), t('photo.use'))));
}

// Found targets drawn over the thumbnail
function outlines(photo) {
  const size = uprightSize(photo.seen.size, photo.seen.orientation), turn = uprightMatrix(photo.seen.size, photo.seen.orientation);
  return h('svg:svg', { viewBox: `0 0 ${size[0]} ${size[1]}`, preserveAspectRatio: 'none', 'aria-hidden': 'true' },
    h('svg:g', { transform: `matrix(${turn.join(' ')})` }, photo.seen.targets.map((x) => h('svg:polygon', { points: x.hull.map((p) => p.join(',')).join(' ') }))));
}

async function use(photo, wanted) {
  const out = new Set(store.job.leave_out || []);
  if (wanted) out.delete(photo.file); else out.add(photo.file);
  await edit(wanted ? 'use-photo' : 'leave-photo', photo.id, [{ op: 'set', at: ['leave_out'], value: out.size ? [...out].sort() : null }]);
  redraw();
}

