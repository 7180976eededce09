// Known lengths: one gives the scale, a second guards the first.

import { LENGTH_OFF } from './constants.js';
import { h, button, icon } from './dom.js';
import { told } from './findings.js';
import { adder, fields, schemaOf, setter } from './form.js';
import { nextStep } from './nextstep.js';
import { how, page } from './page.js';
import { store, edit } from './store.js';
import { length, metric, within } from './units.js';
import { t } from './text.js';

/** Findings that a wrong length causes: they are said where the length was given. */
export const OF_LENGTHS = ['scale-missing', 'length-contradicted', 'lengths-disagree', 'length-unused', 'length-unchecked', 'sheet-print-scale'];

/** @param {HTMLElement} root */
export const open = (root) => page(root, content, { schema: true });

function content() {
  const items = store.job.lengths || [];
  const findings = (store.result?.findings || []).filter((f) => OF_LENGTHS.includes(f.code));
  return [
    h('h1', {}, t('page.lengths')), nextStep('lengths'), h('p', {}, t('lengths.hint')), how('lengths'),
    told(findings, null, 'len'),
    items.map(one),
    adder(schemaOf('LengthSpec'), (v) => edit('add-length', `${v.from || ''}-${v.to || ''}`, [{ op: 'add', at: ['lengths'], value: { kind: 'bar', ...v } }]), 'lengths', { kind: 'bar', from: 'B01', to: 'B02' }, ['temperature_c', 'material', 'u'], t('lengths.add'), !items.length),
  ];
}

// One length: what was given, and what the photos make of it
function one(spec, k) {
  const name = `${spec.kind} ${spec.from}-${spec.to}`;
  const r = (store.result?.lengths || []).find((l) => l.name === name);
  const set = setter('edit-length', name, ['lengths', k]);
  const off = r && Math.abs(r.off) > LENGTH_OFF;
  const schema = schemaOf('LengthSpec');
  return h('div', { class: 'card' },
    h('div', { class: 'row spread' }, h('h2', {}, t(`choice.${spec.kind}`), ` ${spec.from} – ${spec.to}`),
      button(t('remove'), () => edit('remove-length', name, [{ op: 'set', at: ['lengths', k], value: null }]), { icon: 'gone', class: 'small', data: { key: `lg-${k}` } })),
    h('div', { class: 'row wrap' }, fields(schema, spec, set, `len-${k}`, ['temperature_c', 'material', 'u'])),
    h('details', { data: { key: `more-${k}` } }, h('summary', {}, t('lengths.more')), h('div', { class: 'row wrap' }, fields(schema, spec, set, `len-${k}`, ['kind', 'from', 'to', 'value']))),
    r ? h('p', { class: off ? 'mark look' : 'mark good' }, icon(off ? 'look' : 'good'), h('span', {}, t('lengths.fared', { adjusted: length(r.adjusted), off: metric(r.adjusted - r.given, 2) }), r.detectable != null ? ` ${t('lengths.noticed', { mm: within(r.detectable).slice(2) })}` : '')) : null);
}
