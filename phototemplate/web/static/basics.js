// Basics of the job: unit, tolerance, known lengths, paper, cabinets.

import { LENGTH_OFF, USUAL_MM } from './constants.js';
import { h, fill, button, icon, select, labelled } from './dom.js';
import { store, edit, loadSchema, freeName } from './store.js';
import { adder, fields, lengthInput, merged, schemaOf } from './form.js';
import { finding } from './findings.js';
import { length, metric } from './units.js';
import { nextStep } from './nextstep.js';
import { t } from './text.js';

export function open(root) {
  const page = h('section', { class: 'page narrow' });
  root.append(page);
  const draw = () => fill(page, store.schema ? content() : h('p', {}, t('loading')));
  if (!store.schema) loadSchema().then(draw);
  draw();
  return { update: (what) => { if (what !== 'work' && what !== 'photos' && what !== 'top') draw(); } };
}

function content() {
  const job = store.job;
  const set = (key, value) => edit(`basics-${key}`, '', [{ op: 'set', at: [key], value }]);
  return [
    h('h1', {}, t('page.basics')),
    nextStep('basics'),
    h('div', { class: 'card' }, h('div', { class: 'row wrap' },
      labelled(t('basics.name'), h('input', { value: job.name || '', placeholder: store.name, maxlength: 80, data: { key: 'name' }, onchange: (e) => set('name', e.target.value.trim() || null) })),
      labelled(t('basics.units'), select([['in', t('unit.in')], ['mm', t('unit.mm')]], job.units || 'in', (v) => set('units', v), { data: { key: 'units' } })),
      labelled(t('basics.tolerance'), lengthInput(job.tolerance ?? 25.4 / 16, (v) => set('tolerance', v), 'tolerance', { usual: USUAL_MM.tolerance }), t('basics.tolerance.hint')))),
    lengths(),
    h('details', { class: 'card', data: { key: 'title' } }, h('summary', {}, t('basics.title')), ['customer', 'address', 'drawn_by'].map((k) => labelled(t(`basics.${k}`), h('input', { value: job[k] || '', maxlength: 120, autocomplete: 'off', data: { key: k }, onchange: (e) => set(k, e.target.value.trim() || null) })))),
    h('section', {}, h('h2', {}, t('basics.paper')), h('p', { class: 'hint' }, t('basics.paper.hint')),
      h('div', { class: 'card' }, fields(schemaOf('PaperSpec'), job.paper || {}, (k, v) => edit('paper', '', [{ op: 'set', at: ['paper', k], value: v }]), 'paper', ['thickness_by_sheet_mm'])),
      backing()),
    cabinets(),
    h('section', {}, h('h2', {}, t('basics.markers')), h('p', { class: 'hint' }, t('basics.markers.hint')),
      (job.markers || []).map((m, k) => h('div', { class: 'card' }, fields(schemaOf('MarkerSpec'), m, (key, v) => edit('markers', m.dictionary, [{ op: 'set', at: ['markers', k], value: merged(m, key, v) }]), `marker-${k}`),
        button(t('remove'), () => edit('markers', m.dictionary, [{ op: 'set', at: ['markers', k], value: null }]), { icon: 'gone', class: 'small', data: { key: `mg-${k}` } }))),
      adder(schemaOf('MarkerSpec'), (v) => edit('markers', v.dictionary || '', [{ op: 'add', at: ['markers'], value: v }]), 'markers', { dictionary: 'DICT_4X4_50' }, [], t('basics.add-marker'))),
  ];
}

function lengths() {
  const items = store.job.lengths || [];
  const fared = new Map((store.result?.lengths || []).map((l) => [l.name, l]));
  const findings = (store.result?.findings || []).filter((f) => ['scale-missing', 'length-contradicted', 'lengths-disagree', 'length-unused', 'length-unchecked'].includes(f.code));
  return h('section', {}, h('h2', {}, t('basics.lengths')), h('p', { class: 'hint' }, t('basics.lengths.hint')),
    findings.map((f) => finding(f, null, 'len')),
    items.map((one, k) => {
      const name = `${one.kind} ${one.from}-${one.to}`;
      const r = fared.get(name);
      return h('div', { class: 'card' }, h('div', { class: 'row spread' }, h('h3', {}, t(`choice.${one.kind}`), ` ${one.from} – ${one.to}`), button(t('remove'), () => edit('remove-length', name, [{ op: 'set', at: ['lengths', k], value: null }]), { icon: 'gone', class: 'small', data: { key: `lg-${k}` } })),
        h('div', { class: 'row wrap' }, fields(schemaOf('LengthSpec'), one, (key, v) => edit('edit-length', name, [{ op: 'set', at: ['lengths', k], value: merged(one, key, v) }]), `len-${k}`)),
        r ? h('p', { class: Math.abs(r.off) > LENGTH_OFF ? 'mark look' : 'mark good' }, icon(Math.abs(r.off) > LENGTH_OFF ? 'look' : 'good'), h('span', {}, t('basics.fared', { adjusted: length(r.adjusted), off: metric(r.adjusted - r.given, 2) }), r.detectable != null ? ` ${t('basics.detectable', { mm: metric(r.detectable) })}` : '')) : null);
    }),
    adder(schemaOf('LengthSpec'), (v) => edit('add-length', `${v.from || ''}-${v.to || ''}`, [{ op: 'add', at: ['lengths'], value: { kind: 'bar', ...v } }]), 'lengths', { kind: 'bar', from: 'B01', to: 'B02' }, [], t('basics.add-length')));
}

function backing() {
  const table = store.job.paper?.thickness_by_sheet_mm || {};
  const set = (sheet, v) => edit('paper', sheet, [{ op: 'set', at: ['paper', 'thickness_by_sheet_mm'], value: merged(table, sheet, v) }]);
  const sheets = (store.result?.sheets || []).filter((s) => s.kind === 'sheet' && !(s.id in table)).map((s) => s.id);
  return h('details', { class: 'card', data: { key: 'backing' } }, h('summary', {}, t('basics.backing')),
    Object.entries(table).map(([sheet, v]) => h('div', { class: 'row' }, labelled(sheet, lengthInput(v, (x) => set(sheet, x), `bk-${sheet}`, { usual: USUAL_MM.thickness })), button('', () => set(sheet, null), { icon: 'gone', class: 'small', 'aria-label': t('remove') }))),
    sheets.length ? labelled(t('basics.add-backing'), select([['', t('choose')], ...sheets.map((s) => [s, s])], '', (v) => v && set(v, 3))) : null);
}

function cabinets() {
  const items = store.job.cabinets || [];
  const used = new Set(items.flatMap((c) => c.sheets));
  const spare = (store.result?.sheets || []).filter((s) => s.kind === 'sheet' && !used.has(s.id)).map((s) => s.id);
  return h('section', {}, h('h2', {}, t('basics.cabinets')), h('p', { class: 'hint' }, t('basics.cabinets.hint')),
    items.map((c) => {
      const at = ['cabinets', { id: c.id }];
      const set = (sheets) => edit('cabinets', c.id, [{ op: 'set', at, value: { ...c, sheets } }]);
      return h('div', { class: 'card' }, h('div', { class: 'row spread' }, h('h3', {}, c.id), button(t('remove'), () => edit('cabinets', c.id, [{ op: 'remove', at }]), { icon: 'gone', class: 'small', data: { key: `cg-${c.id}` } })),
        h('div', { class: 'row wrap chips' }, c.sheets.map((s) => button(`${s} ×`, () => set(c.sheets.filter((x) => x !== s)), { class: 'chip', 'aria-label': t('basics.sheet-out', { name: s }), data: { key: `cs-${c.id}-${s}` } })),
          spare.length ? select([['', t('basics.sheet-in')], ...spare.map((s) => [s, s])], '', (v) => v && set([...c.sheets, v]), { 'aria-label': t('basics.sheet-in'), data: { key: `ca-${c.id}` } }) : null));
    }),
    button(t('basics.add-cabinet'), () => edit('cabinets', '', [{ op: 'add', at: ['cabinets'], value: { id: freeName('cabinet', items.map((c) => c.id)), sheets: [] } }]), { icon: 'plus', data: { key: 'add-cabinet' } }));
}
