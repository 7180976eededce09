// Calibrate a camera: photos of the board in, and in words what is still missing, until it is enough.

import { post, upload } from './api.js';
import { h, fill, button, icon, labelled, notice } from './dom.js';
import { drawing } from './drawings.js';
import { finding } from './findings.js';
import { fileList } from './files.js';
import { t } from './text.js';

let count = 0, sending = 0, busy = false, again = false, name = '', words = '';
/** @type {any} */
let answer = null;
let draw = () => {};

/** @param {HTMLElement} root */
export function open(root) {
  const page = h('section', { class: 'page narrow' });
  root.append(page);
  draw = () => fill(page, content());
  page.addEventListener('drop', (e) => { e.preventDefault(); take(e.dataTransfer.files); });
  draw();
  return { update: () => {}, close: () => { draw = () => {}; } };
}

async function take(files) {
  sending += files.length;
  draw();
  for (const file of files) {
    try {
      count = (await upload(file, () => {}, '/api/calibration')).n;
    } catch (error) { notice(`${file.name}: ${error.sentence || error}`, 'error'); }
    sending -= 1;
    draw();
  }
  look(false);
}

// Everything so far, looked at again after every batch
async function look(keep) {
  if (busy) { again = true; return; }
  busy = true;
  draw();
  try {
    answer = await post('/api/make/calibrate', { keep, name });
    words = '';
  } catch (error) { words = error.sentence || String(error); }
  busy = false;
  draw();
  if (again) { again = false; look(false); }
}

function content() {
  const input = h('input', { type: 'file', multiple: true, accept: 'image/*', id: 'board-files', class: 'unseen', onchange: () => { take([...input.files]); input.value = ''; } });
  return [
    h('h1', {}, t('page.calibrate')),
    h('div', { class: 'row wrap' }, drawing('purpose-calibrate'), h('p', { class: 'grow' }, t('calibrate.how'))),
    h('div', { class: 'dropbox' }, input, h('label', { class: 'drop', for: 'board-files' }, h('b', {}, t('photos.drop')), h('span', {}, t('calibrate.drop')))),
    h('p', { role: 'status' }, sending ? t('calibrate.sending', { n: sending }) : busy ? t('calibrate.busy') : t('calibrate.count', { n: count })),
    words ? h('p', { class: 'mark look' }, icon('look'), words) : null,
    (answer?.cameras || []).map((c) => h('div', { class: 'card' }, h('h2', {}, c.name),
      h('p', { class: `mark ${c.good ? 'good' : 'look'}` }, icon(c.good ? 'good' : 'look'), h('span', {}, c.verdict.message, ' ', c.verdict.remedy)),
      h('h3', {}, t('calibrate.seen')), coverage(c.seen),
      c.advice.length ? [h('h3', {}, t('calibrate.missing')), h('ul', {}, c.advice.map((a) => h('li', {}, a.message)))] : null,
      c.left_out.length ? h('p', { class: 'hint' }, t('calibrate.left-out', { names: c.left_out.join(', ') })) : null,
      c.findings.filter((f) => f.severity !== 'note').map((f) => finding(f, null, 'cal')))),
    answer ? h('div', { class: 'card' }, labelled(t('calibrate.name'), h('input', { value: name, maxlength: 60, data: { key: 'camera-name' }, onchange: (e) => { name = e.target.value.trim(); } })),
      button(t('calibrate.keep'), () => look(true), { class: 'main', disabled: busy, data: { key: 'keep-camera' } }),
      answer.kept ? h('p', { class: 'mark good' }, icon('good'), t('calibrate.kept')) : null, fileList(answer.files)) : null,
  ];
}

// Where in the picture the board was seen: more points, darker
function coverage(counts) {
  const rows = counts.length, columns = counts[0].length, most = Math.max(1, ...counts.flat());
  return h('svg:svg', { viewBox: `0 0 ${columns * 10} ${rows * 10}`, class: 'chart coverage', role: 'img', 'aria-label': t('calibrate.seen') },
    counts.flatMap((row, r) => row.map((n, c) => h('svg:rect', { x: c * 10 + 0.5, y: r * 10 + 0.5, width: 9, height: 9, class: n ? 'seen' : 'unseen-cell', 'fill-opacity': n ? 0.25 + 0.75 * n / most : 1 }))));
}
