// Forms made from the job file's own rules: fields, choices and hints come from its schema, words from text.js.

import { USUAL_MM } from './constants.js';
import { upload } from './api.js';
import { h, fill, button, select, labelled, notice } from './dom.js';
import { improbable, parseLength, unitShown } from './lengths.js';
import { store, edit, edges } from './store.js';
import { reading, shown, unit } from './units.js';
import { t, has } from './text.js';

const NOT_LENGTHS = new Set(['density_kg_m3', 'temperature_c', 'wide_px']);
const EDGE_FIELDS = new Set(['run', 'edge', 'square_to', 'mark', 'AlignSpec.to']);
/** Fields that name something, with what there is to name @type {Record<string, () => string[]>} */
const NAMED = {
  loop: () => [...(store.job.loops || []), ...(store.job.drawn || [])].map((l) => l.id),
  side_of: () => (store.job.openings || []).flatMap((o) => ['left', 'right'].map((side) => `${o.id}/${side}`)),
  sheet: () => (store.job.maker_sheets || []).map((s) => s.id),
  'SitePhotoSpec.file': () => [...store.photos.values()].map((p) => `photos/${p.file}`),
  'SitePhotoSpec.at': () => [...edges().map((e) => e.id), ...(store.job.pieces || []).map((p) => p.id), ...(store.result?.stone?.pieces || []).flatMap((p) => p.corners.map((c) => c.name))],
};
/** What a length is for, by the name of its field @type {Record<string, [number, number]>} */
const USUAL = { 'LengthSpec.value': USUAL_MM.known, u: USUAL_MM.u, thickness_mm: USUAL_MM.thickness, strip_thickness_mm: USUAL_MM.thickness, thickness_u_mm: USUAL_MM.u, strip_thickness_u_mm: USUAL_MM.u };

/** Fields whose text could not be taken yet, so that it survives the page being drawn anew: key -> text. @type {Map<string, string>} */
const open = new Map();

/**
 * A field that holds what was typed until it can be taken. `read` gives the value, or {ask} with elements to show below.
 * @param {string} value @param {(text: string) => {value: any} | {ask: any[]}} read @param {(value: any) => void} onset @param {string} key @param {Record<string, any>} props
 */
function guarded(value, read, onset, key, props) {
  const says = h('div', { class: 'field-says', role: 'alert', hidden: true });
  const input = h('input', { value: open.get(key) ?? value, autocomplete: 'off', data: { key }, ...props });
  const box = h('div', { class: 'guarded' }, input, says);
  box.control = input;
  const settle = () => { open.delete(key); delete input.dataset.dirty; says.hidden = true; input.removeAttribute('aria-invalid'); };
  const look = () => {
    const text = input.value.trim();
    const answer = text ? read(text) : { value: null };
    if ('value' in answer) { settle(); return answer; }
    open.set(key, input.value);
    input.setAttribute('aria-invalid', 'true');
    says.replaceChildren(...answer.ask);
    says.hidden = false;
    return null;
  };
  box.take = (v, text) => { settle(); input.value = text; onset(v); };
  input.addEventListener('change', () => { const answer = look(); if (answer) onset(answer.value); });
  input.addEventListener('keydown', (e) => { if (e.key === 'Enter') input.blur(); if (e.key === 'Escape') { settle(); input.value = value; } });
  if (open.has(key)) look();
  return box;
}

/**
 * A length. A bare number is read in the unit that the field shows; what is improbable is asked back with both readings.
 * @param {number | null | undefined} value mm @param {(mm: number | null) => void} onset @param {string} key
 * @param {{usual?: [number, number], placeholder?: string, [attribute: string]: any}} options
 */
export function lengthInput(value, onset, key, { usual = USUAL_MM.size, placeholder = '', ...props } = {}) {
  const text = shown(value);
  const here = unitShown(text) || unitShown(placeholder) || unit();
  const box = guarded(text, (typed) => {
    const read = parseLength(typed, here);
    if (!read) return { ask: [t('length.unread', { text: typed })] };
    const odd = improbable(typed, here, usual);
    if (!odd) return { value: read.mm };
    const offer = (mm) => button(shown(mm), () => box.take(mm, shown(mm)), { class: 'small', data: { key: `${key}-${Math.round(mm)}` } });
    return { ask: [h('p', {}, t(odd.other === null ? 'length.odd' : 'length.which', { here: reading(odd.here), other: reading(odd.other) })),
      h('div', { class: 'row wrap' }, odd.other === null ? null : offer(odd.other), offer(odd.here))] };
  }, onset, key, { inputmode: 'text', class: 'length', placeholder: placeholder || t(`unit.short.${here}`), ...props });
  return box;
}

/** A number that is no length. @param {any} value @param {(v: number | null) => void} onset @param {string} key @param {Record<string, any>} props */
const numberInput = (value, onset, key, props) => guarded(value === null || value === undefined ? '' : String(value), (text) => {
  const n = Number(text);
  return Number.isFinite(n) ? { value: n } : { ask: [t('number.unread', { text })] };
}, onset, key, { inputmode: 'decimal', ...props });

export function resolve(node) {
  if (!node) return {};
  if (node.$ref) return { ...store.schema.$defs[node.$ref.split('/').pop()], ...(node.description ? { description: node.description } : {}), ...('default' in node ? { default: node.default } : {}), ref: node.$ref.split('/').pop() };
  if (node.allOf?.length === 1) return resolve({ ...node.allOf[0], ...node, allOf: undefined });
  if (node.anyOf) {
    const real = node.anyOf.filter((n) => n.type !== 'null');
    if (real.length < node.anyOf.length || real.length === 1) return { ...resolve(real[0]), optional: true, description: node.description, default: node.default };
  }
  return node;
}

export const schemaOf = (name) => ({ ...store.schema.$defs[name], ref: name });
/** The first of these phrases that there is. @param {string[]} keys @param {string | null} otherwise */
const firstOf = (keys, otherwise) => { const key = keys.find(has); return key === undefined ? otherwise : t(key); };
/** @param {string} name @param {string} of the rules that the field stands in */
export const fieldName = (name, of = '') => firstOf([`field.${of}.${name}`, `field.${name}`], name.replaceAll('_', ' '));
const choiceName = (v, name) => firstOf([`choice.${name}.${v}`, `choice.${v}`], String(v));

// One field. onset gets the new value (null: back to the default).
export function field(name, node, value, onset, key, required = false, of = '') {
  const s = resolve(node);
  const label = fieldName(name, of);
  const hint = firstOf([`hint.${of}.${name}`, `hint.${name}`], null);
  const options = s.enum || (s.const !== undefined ? [s.const] : null);
  if ((EDGE_FIELDS.has(name) || EDGE_FIELDS.has(`${of}.${name}`)) && s.type === 'string') return labelled(label, pick(edges().map((e) => e.id), value, onset, key), hint);
  const names = s.type === 'string' && (NAMED[`${of}.${name}`] || NAMED[name]);
  if (names) return labelled(label, pick(names(), value, onset, key), hint);
  if (options) {
    const fallback = s.default ?? '';
    const list = options.map((v) => [String(v), choiceName(v, name)]);
    if (s.optional || !required && fallback === '') list.unshift(['', t('form.usual')]);
    return labelled(label, select(list, String(value ?? fallback), (v) => onset(v === '' ? null : options.find((o) => String(o) === v)), { data: { key } }), hint);
  }
  if (s.type === 'boolean') return h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: value ?? s.default ?? false, data: { key }, onchange: (e) => onset(e.target.checked) }), label);
  if (s.type === 'number' && !NOT_LENGTHS.has(name)) {
    const usual = s.default !== undefined && s.default !== null ? shown(s.default) : '';
    return labelled(label, lengthInput(value, onset, key, { placeholder: usual, usual: USUAL[`${of}.${name}`] || USUAL[name] || USUAL_MM.size }), hint);
  }
  if (s.type === 'number' || s.type === 'integer') return labelled(label, numberInput(value, onset, key, { placeholder: s.default ?? '' }), hint);
  if (name === 'file' && s.type === 'string') return drawingInput(label, value, onset, key, hint);
  if (s.type === 'string') return labelled(label, h('input', { value: value ?? '', autocomplete: 'off', data: { key }, placeholder: s.default ?? '', onchange: (e) => onset(e.target.value.trim() || null) }), hint);
  if (s.type === 'array' && name === 'between') return between(label, value || [], onset, key, hint);
  if (s.type === 'array' && s.items) {
    const inner = resolve(s.items);
    if (inner.properties) return list(label, inner, value || [], onset, key);
    if (inner.enum) return rows(label, value || [], onset, key, hint, inner.enum[0], (v, set, k) => select(inner.enum.map((e) => [e, choiceName(e, name)]), v, set, { 'aria-label': `${label} ${k + 1}`, data: { key: `${key}.${k}` } }));
    if (inner.prefixItems) return rows(label, value || [], onset, key, hint, [0, 0], (v, set, k) => ['field.right-of', 'field.away'].map((word, i) => labelled(`${k + 1}: ${t(word)}`, lengthInput(v[i], (x) => set(i ? [v[0], x ?? 0] : [x ?? 0, v[1]]), `${key}.${k}.${i}`))));
    return labelled(label, h('input', { value: (value || []).join(', '), autocomplete: 'off', data: { key }, onchange: (e) => { const v = e.target.value.split(',').map((x) => x.trim()).filter(Boolean); onset(v.length ? v : null); } }), hint);
  }
  if (s.properties && name === 'along') return along(label, value || {}, onset, key);
  if (s.properties) return h('fieldset', { class: 'inner' }, h('legend', {}, label), fields(s, value || {}, (k, v, ...deeper) => onset(v, k, ...deeper), key));
  return null;
}

// A maker's drawing: chosen on this machine, kept with the job
function drawingInput(label, value, onset, key, hint) {
  const input = h('input', { type: 'file', accept: '.dxf', data: { key }, onchange: async () => {
    const [file] = input.files;
    if (!file) return;
    try { onset((await upload(file, () => {}, '/api/drawing')).file); } catch (error) { notice(error.sentence || String(error), 'error'); }
  } });
  return h('div', {}, labelled(label, input, hint), value ? h('div', { class: 'row' }, h('span', {}, value), button(t('remove'), () => onset(null), { icon: 'gone', class: 'small', data: { key: `${key}-gone` } })) : null);
}

/** A copy of a table with one value put at a place in it; null takes it away. @param {any} value @param {string} key @param {any} v @param {string[]} deeper */
export function merged(value, key, v, ...deeper) {
  const out = { ...(value || {}) };
  const now = deeper.length ? merged(out[key], deeper[0], v, ...deeper.slice(1)) : v;
  if (now === null || now === undefined) delete out[key]; else out[key] = now;
  return Object.keys(out).length ? out : null;
}

/**
 * What `fields` calls to change a table of the job file. Only the one value is sent: a table as it was when the page was drawn
 * would take back what has been changed since. @param {string} change @param {string} name @param {any[]} at
 */
export const setter = (change, name, at) => (k, v, ...deeper) => edit(change, name, [{ op: 'set', at: [...at, k, ...deeper], value: v }]);

const pick = (names, value, onset, key) => select([['', t('choose')], ...names.map((n) => [n, n]), ...(value && !names.includes(value) ? [[value, value]] : [])], value || '', (v) => onset(v || null), { data: { key } });

export function fields(schema, value, onset, key, skip = []) {
  const required = new Set(schema.required || []);
  return Object.entries(schema.properties).filter(([name]) => !skip.includes(name)).map(([name, node]) => field(name, node, value[name], (v, ...deeper) => onset(name, v, ...deeper), `${key}.${name}`, required.has(name), schema.ref));
}

function between(label, value, onset, key, hint) {
  const names = edges().map((e) => e.id);
  const set = (k, v) => { const next = [...value]; next[k] = v; if (next[0] && next[1]) onset(next); else value = next; };
  return h('fieldset', { class: 'inner' }, h('legend', {}, label), h('div', { class: 'row wrap' },
    [0, 1].map((k) => labelled(t(`field.between.${k}`), pick(names, value[k], (v) => set(k, v), `${key}.${k}`)))), hint ? h('p', { class: 'hint' }, hint) : null);
}

// A place along a run is said in one of four ways
function along(label, value, onset, key) {
  const ways = ['between', 'edge', 'centre', 'mark', 'loop'];
  let way = ways.find((w) => value[w] !== undefined) || 'between';
  const box = h('div', {});
  const names = edges().map((e) => e.id);
  const draw = () => {
    const inner = {
      between: () => between(t('field.between'), value.between || [], (v) => onset({ between: v }), `${key}.b`),
      edge: () => h('div', { class: 'row wrap' }, labelled(t('field.edge'), pick(names, value.edge, (v) => { value = { ...value, edge: v }; if (value.edge && value.distance != null) onset({ edge: value.edge, distance: value.distance }); }, `${key}.e`)),
        labelled(t('field.distance'), lengthInput(value.distance, (v) => { value = { ...value, distance: v }; if (value.edge && v != null) onset({ edge: value.edge, distance: v }); }, `${key}.d`))),
      centre: () => labelled(t('field.centre'), pick((store.job.centre_lines || []).map((l) => l.id), value.centre, (v) => v && onset({ centre: v }), `${key}.c`)),
      mark: () => labelled(t('field.mark'), pick(names, value.mark, (v) => v && onset({ mark: v }), `${key}.m`)),
      loop: () => labelled(t('field.loop'), pick((store.job.loops || []).map((l) => l.id), value.loop, (v) => v && onset({ loop: v }), `${key}.l`)),
    }[way]();
    fill(box, labelled(label, select(ways.map((w) => [w, t(`along.${w}`)]), way, (v) => { way = v; draw(); }, { data: { key: `${key}.way` } })), inner);
  };
  draw();
  return h('fieldset', { class: 'inner' }, h('legend', {}, label), box);
}

// A list of plain values, each in a row of its own
function rows(label, value, onset, key, hint, fresh, one) {
  let now = [...value];
  const box = h('div', {});
  const put = (next) => { now = next; draw(); onset(next.length ? next : null); };
  const draw = () => fill(box, ...now.map((v, k) => h('div', { class: 'row wrap' }, one(v, (x) => put(now.map((y, i) => (i === k ? x : y))), k),
    button('', () => put(now.filter((_, i) => i !== k)), { icon: 'gone', class: 'small', 'aria-label': `${t('remove')}: ${label} ${k + 1}`, title: t('remove'), data: { key: `${key}.${k}.gone` } }))),
  button(t('form.add'), () => put([...now, structuredClone(now.at(-1) ?? fresh)]), { icon: 'plus', class: 'small', 'aria-label': `${t('form.add')}: ${label}`, data: { key: `${key}.add` } }));
  draw();
  return h('fieldset', { class: 'inner' }, h('legend', {}, label), hint ? h('p', { class: 'hint' }, hint) : null, box);
}

function list(label, schema, value, onset, key) {
  return h('fieldset', { class: 'inner' }, h('legend', {}, label),
    value.map((one, k) => h('div', { class: 'card' }, fields(schema, one, (name, v, ...deeper) => { const next = value.map((x) => ({ ...x })); next[k] = merged(one, name, v, ...deeper) || {}; onset(next); }, `${key}.${k}`),
      button(t('remove'), () => { const next = value.filter((_, i) => i !== k); onset(next.length ? next : null); }, { icon: 'gone', class: 'small', data: { key: `${key}.${k}.gone` } }))),
    adder(schema, (one) => onset([...value, one]), key));
}

// A form for a new thing: nothing is sent before it is complete and confirmed.
// It is kept while the rest of the page is drawn anew, so that nothing typed is lost.
const adders = new Map();

export function adder(schema, onadd, key, start = {}, skip = [], title = null, unfolded = false) {
  const names = JSON.stringify([edges().map((e) => e.id), (store.job.loops || []).map((l) => l.id), store.job.units]);
  const old = adders.get(key);
  if (old && old.names === names) { old.onadd = onadd; return old.el; }
  const entry = { names, onadd };
  entry.el = newAdder(schema, (v) => entry.onadd(v), key, start, skip, title);
  entry.el.open = unfolded;
  adders.set(key, entry);
  return entry.el;
}

function newAdder(schema, onadd, key, start, skip, title) {
  const box = h('div', { class: 'card' });
  let value = structuredClone(start);
  const draw = () => fill(box,
    ...fields(schema, value, (name, v, ...deeper) => { value = merged(value, name, v, ...deeper) || {}; }, `${key}.new`, skip).filter(Boolean),
    h('div', { class: 'row' }, button(t('form.add'), async () => { if (await onadd(value) !== false) { value = structuredClone(start); details.open = false; draw(); } }, { icon: 'plus', class: 'main', data: { key: `${key}.add` } })));
  draw();
  const details = h('details', { class: 'adder', data: { key: `${key}.adder` } }, h('summary', {}, title || t('form.new', { what: has(`thing.${schema.ref}`) ? t(`thing.${schema.ref}`) : '' })), box);
  return details;
}
