// Adding an edge: what it is and where it comes from.

import { h, fill, button, select, labelled } from './dom.js';
import { store, edit, edges, freeName } from './store.js';
import { t } from './text.js';

export const KINDS = ['front', 'end', 'wall', 'panel', 'opening', 'other'];
export const SHAPES = ['line', 'arc', 'circle', 'profile'];
const tool = { kind: 'front', shape: 'line' };

export const kindOptions = () => KINDS.map((k) => [k, t(`kind.${k}`)]);
export const shapeOptions = () => SHAPES.map((k) => [k, t(`shape.${k}`)]);

// Form that starts drawing a line, and (in the top view) one for edges that targets carry.
export function newEdgeForm(begin, { trace = true, again = () => {} } = {}) {
  return h('div', { class: 'card' },
    h('h2', {}, t('edge.new')),
    h('div', { class: 'row wrap' },
      labelled(t('edge.kind'), select(kindOptions(), tool.kind, (v) => { tool.kind = v; }, { data: { key: 'new-kind' } })),
      labelled(t('edge.shape'), select(shapeOptions(), tool.shape, (v) => { tool.shape = v; }, { data: { key: 'new-shape' } }))),
    h('div', { class: 'row wrap' }, button(t('edge.draw'), () => begin({ ...tool }), { icon: 'draw', class: 'main', data: { key: 'draw' } })),
    trace ? null : again());
}

export async function addEdge(spec) {
  const id = freeName(spec.kind, edges().map((e) => e.id));
  const value = { id, ...spec };
  if (value.shape === 'line') delete value.shape;
  store.selected = id;
  await edit('add-edge', id, [{ op: 'add', at: ['edges'], value }]);
  return id;
}

// Sheets and strips that may carry an edge: those that were seen
export function carriers() {
  const result = store.result;
  const sheets = (result?.sheets || []).filter((s) => s.kind === 'sheet').map((s) => s.id);
  const strips = [...new Set((result?.strips || []).filter((s) => /^W/.test(s.id)).map((s) => s.id.replace(/[a-z]$/, '')))];
  return { sheets, strips };
}

export function carrierForm() {
  const choice = { source: 'contact', targets: new Set(), kind: 'wall', shape: 'line' };
  const box = h('div', {});
  const draw = () => {
    const { sheets, strips } = carriers();
    const names = choice.source === 'contact' ? sheets : strips;
    fill(box,
      h('div', { class: 'row wrap' },
        labelled(t('edge.carrier'), select([['contact', t('source.contact')], ['strip', t('source.strip')]], choice.source, (v) => { choice.source = v; choice.shape = v === 'strip' ? 'profile' : 'line'; choice.targets.clear(); draw(); })),
        labelled(t('edge.kind'), select(kindOptions(), choice.kind, (v) => { choice.kind = v; })),
        labelled(t('edge.shape'), select(shapeOptions(), choice.shape, (v) => { choice.shape = v; }))),
      h('fieldset', { class: 'chips' }, h('legend', {}, t(choice.source === 'contact' ? 'edge.which-sheets' : 'edge.which-strips')),
        names.length ? names.map((n) => h('label', { class: 'chip' }, h('input', { type: 'checkbox', checked: choice.targets.has(n), onchange: (e) => { if (e.target.checked) choice.targets.add(n); else choice.targets.delete(n); add.disabled = !choice.targets.size; } }), n)) : h('p', { class: 'hint' }, t('edge.no-carriers'))),
      add);
    add.disabled = !choice.targets.size;
  };
  const add = button(t('edge.add'), () => {
    addEdge({ kind: choice.kind, source: choice.source, shape: choice.shape, targets: [...choice.targets] });
    choice.targets.clear();
    draw();
  }, { icon: 'plus', class: 'main' });
  draw();
  return h('details', { class: 'card', data: { key: 'carrier' } }, h('summary', {}, t('edge.from-targets')), box);
}
