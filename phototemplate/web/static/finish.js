// The last page: can this be cut? What is in doubt, and the files.

import { h, button, icon, labelled, notice } from './dom.js';
import { post } from './api.js';
import { store } from './store.js';
import { sorted, told } from './findings.js';
import { fileList } from './files.js';
import { short, within, length, largest } from './units.js';
import { nextStep } from './nextstep.js';
import { how, page } from './page.js';
import { t } from './text.js';

/** @param {Verdict | undefined} v */
const verdictWord = (v) => (v ? t(`verdict.${v.words === 'fails' ? 'fails' : v.state}`) : '');

/** What is computed when every number is there already */
const AFTERWARDS = ['picture', 'propose'];

let packed = '';
let busy = '';
/** What somebody has in hand already @type {{revision: string, date: string, to: string}[]} */
let revisions = [];
let receiver = '';

/** @param {HTMLElement} root */
export function open(root) {
  const here = page(root, content, { wide: true, cls: 'finish', deaf: ['photos', 'top'] });
  post('/api/ask/revisions').then((list) => { revisions = list; here.draw(); }, () => {});
  return here;
}


function content(draw) {
  const r = store.result;
  if (!r) return [h('h1', {}, t('page.finish')), nextStep('finish')];
  const all = sorted([...r.findings, ...(r.stone?.findings || [])]);
  const verdicts = Object.entries(r.verdicts);
  const lost = r.edges.filter((e) => !e.found).map((e) => e.id);
  const poor = verdicts.filter(([, v]) => v.state === 'short').map(([id]) => id);
  const look = verdicts.filter(([, v]) => v.state === 'look').map(([id]) => id);
  const serious = all.filter((f) => f.severity === 'serious');
  const open = r.loops.some((l) => !l.closed);
  const mood = r.withheld || r.unscaled || poor.length || lost.length || serious.length || open || r.stone?.trouble || !verdicts.length && !r.drawn ? 'short' : look.length || all.some((f) => f.severity === 'warning') ? 'look' : 'good';
  const sign = { good: 'good', look: 'look', short: 'short' }[mood];
  const shown = all.filter((f) => f.severity !== 'note');
  const notes = all.filter((f) => f.severity === 'note');
  return [
    h('h1', {}, t('page.finish')), nextStep('finish'), how('finish'),
    store.stale || store.work.state === 'measuring' && !AFTERWARDS.includes(store.work.stage) ? h('p', { class: 'mark look' }, icon('look'), t('finish.stale')) : null,
    h('div', { class: `big-verdict ${mood}` }, icon(sign), h('div', {}, h('p', { class: 'big' }, t(`finish.${mood}`)),
      h('p', {}, r.withheld ? t('finish.withheld') : r.unscaled ? t('finish.unscaled') : poor.length || lost.length ? t('finish.poor', { names: [...poor, ...lost].join(', ') }) : verdicts.length ? t('finish.all', { n: verdicts.length }) : t(r.drawn ? 'finish.drawn' : 'finish.no-edges')))),
    h('div', { class: 'columns' },
      h('div', {},
        r.drawn ? null : h('h2', {}, t('finish.edges')),
        r.drawn ? null : h('div', { class: 'scroll' }, h('table', {}, h('thead', {}, h('tr', {}, ['finish.edge', 'finish.length', 'finish.place', 'finish.verdict'].map((k) => h('th', { scope: 'col' }, t(k))))),
          h('tbody', {}, r.edges.filter((e) => e.found).map((e) => h('tr', {}, h('th', { scope: 'row' }, h('a', { href: '#edges', onclick: () => { store.selected = e.id; } }, e.id)), h('td', { class: 'num' }, short(e.length), h('small', {}, e.length_U !== null ? ` ${within(e.length_U)}` : '')),
            h('td', { class: 'num' }, e.offset_U ? within(largest(e.offset_U)) : '–'), h('td', {}, h('span', { class: `mark ${r.verdicts[e.id]?.state}` }, icon(r.verdicts[e.id]?.state), ` ${verdictWord(r.verdicts[e.id])}`))))))),
        r.stone?.pieces && !r.stone.trouble ? [h('h2', {}, t('finish.pieces')), h('ul', { class: 'plain-list' }, r.stone.pieces.map((p) => h('li', {}, h('b', {}, p.id), ` ${p.sizes.filter((s) => s.group === 'overall').map((s) => length(s.value)).join(' × ')} · ${p.weight.toFixed(0)} kg`)))] : null,
        r.stone?.trouble ? h('p', { class: 'mark bad' }, icon('short'), r.stone.trouble) : null),
      h('div', {},
        h('h2', {}, t('finish.findings')),
        shown.length ? told(shown, null, 'fin') : h('p', {}, t('finish.no-findings')),
        notes.length ? h('details', { data: { key: 'notes' } }, h('summary', {}, t('finish.notes', { n: notes.length })), told(notes, null, 'note')) : null)),
    h('h2', {}, t('finish.files')),
    h('div', { class: 'card files' },
      h('p', { class: 'hint' }, t('finish.files.hint')),
      h('div', { class: 'row wrap' },
        button(busy === 'finish' ? t('finish.writing') : t('finish.write'), () => run('finish', draw), { class: 'main', icon: 'file', disabled: Boolean(busy), data: { key: 'write' } }),
        button(busy === 'archive' ? t('finish.packing') : t('finish.pack'), () => run('archive', draw), { icon: 'file', disabled: Boolean(busy), data: { key: 'pack' } })),
      r.unscaled ? h('p', { class: 'mark look' }, icon('look'), t('finish.no-dxf')) : null,
      files()),
    handOut(draw),
    h('details', { class: 'card', data: { key: 'safety' } }, h('summary', {}, t('cautions')), h('ul', {}, (r.stone?.cautions || r.cautions || []).map((c) => h('li', {}, c.text)))),
  ];
}

// The pieces as they were written are kept; drawings after that say what changed since
function handOut(draw) {
  const ready = store.written && store.written.revision === store.revision && store.result?.stone?.pieces?.length;
  return h('section', { class: 'card' }, h('h2', {}, t('finish.revisions')), h('p', { class: 'hint' }, t('finish.revisions.hint')),
    revisions.length ? h('ul', { class: 'plain-list' }, revisions.map((r) => h('li', {}, h('b', {}, t('finish.revision', { letter: r.revision })), ` ${r.date}${r.to ? ` · ${r.to}` : ''}`))) : null,
    h('div', { class: 'row wrap' }, labelled(t('finish.to'), h('input', { value: receiver, maxlength: 120, autocomplete: 'off', data: { key: 'hand-to' }, onchange: (e) => { receiver = e.target.value.trim(); } })),
      button(t('finish.hand-out'), async () => {
        try { ({ revisions } = await post('/api/make/revision', { to: receiver })); notice(t('finish.handed', { letter: revisions.at(-1).revision }), 'good'); } catch (error) { notice(error.sentence || String(error), 'error'); }
        draw();
      }, { disabled: !ready || Boolean(busy), data: { key: 'hand-out' } })),
    ready ? null : h('p', { class: 'hint' }, t('finish.write-first')));
}

const FIRST = ['pieces dxf', 'dxf', 'report', 'pieces pdf', 'pdf'];

// What was written for this state of the job; what belongs to an earlier one is marked and not offered
function files() {
  const written = store.written;
  const old = written && written.revision !== store.revision;
  const list = written && !old ? written.files : [];
  const first = FIRST.map((n) => list.find((f) => f.name === n)).filter(Boolean);
  const rest = list.filter((f) => !FIRST.includes(f.name));
  return [
    old ? h('p', { class: 'mark look' }, icon('look'), t('finish.old-files')) : null,
    first.length ? fileList(first) : null,
    packed === store.revision ? fileList([{ name: 'archive', file: `${store.name}.zip`, bytes: packedBytes }]) : packed ? h('p', { class: 'mark look' }, icon('look'), t('finish.old-archive')) : null,
    rest.length ? h('details', { data: { key: 'more-files' } }, h('summary', {}, `${t('finish.more')} (${rest.length})`), fileList(rest)) : null];
}

let packedBytes = 0;

async function run(what, draw) {
  busy = what;
  draw();
  const revision = store.revision;
  try {
    const answer = await post(`/api/${what}`);
    if (what === 'finish') { store.written = answer; if (answer.trouble) notice(answer.trouble, 'error'); } else { packed = revision; packedBytes = answer.bytes; }
  } catch (error) { notice(error.sentence || String(error), 'error'); }
  busy = '';
  draw();
}
