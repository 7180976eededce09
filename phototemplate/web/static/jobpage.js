// The job itself: name, unit, tolerance, title block, markers of one's own.

import { USUAL_MM } from './constants.js';
import { h, select, labelled } from './dom.js';
import { fields, lengthInput, schemaOf, setter } from './form.js';
import { things } from './things.js';
import { how, page } from './page.js';
import { store, edit } from './store.js';
import { t } from './text.js';

/** mm. What an edge has to hold unless the job says otherwise. Convention: the job file's own default, 1/16 in. */
const TOLERANCE_MM = 25.4 / 16;

/** @param {HTMLElement} root */
export const open = (root) => page(root, content, { schema: true });

function content() {
  const job = store.job;
  const set = (key, value) => edit(`basics-${key}`, '', [{ op: 'set', at: [key], value }]);
  const line = (key, most) => labelled(t(`job.${key}`), h('input', { value: job[key] || '', maxlength: most, autocomplete: 'off', data: { key }, onchange: (e) => set(key, e.target.value.trim() || null) }));
  return [
    h('h1', {}, t('page.job')), how('job'),
    h('div', { class: 'card' }, h('div', { class: 'row wrap' },
      labelled(t('job.name'), h('input', { value: job.name || '', placeholder: store.name, maxlength: 80, data: { key: 'name' }, onchange: (e) => set('name', e.target.value.trim() || null) })),
      labelled(t('job.units'), select([['in', t('unit.in')], ['mm', t('unit.mm')]], job.units || 'in', (v) => set('units', v), { data: { key: 'units' } })),
      labelled(t('job.line'), select([['box', t('job.line.box')], ['door', t('job.line.door')]], job.line || 'box', (v) => set('line', v), { data: { key: 'line' } }), t('job.line.hint')),
      labelled(t('job.tolerance'), lengthInput(job.tolerance ?? TOLERANCE_MM, (v) => set('tolerance', v), 'tolerance', { usual: USUAL_MM.tolerance }), t('job.tolerance.hint')))),
    h('section', { class: 'card' }, h('h2', {}, t('job.title')), line('customer', 120), line('address', 120), line('drawn_by', 120)),
    h('details', { class: 'card', data: { key: 'paper' } }, h('summary', {}, t('job.paper')), fields(schemaOf('PaperSpec'), job.paper || {}, setter('paper', '', ['paper']), 'paper', ['thickness_by_sheet_mm', 'lies_on', 'thickness_mm'])),
    h('div', { class: 'card' }, things('markers', [], job.markers, 'markers')),
  ];
}
