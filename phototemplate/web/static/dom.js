// Elements without markup in strings: h('button', {class: 'x', onclick: f}, 'text', child ...)

import { t } from './text.js';

const PROPERTIES = new Set(['value', 'checked', 'disabled', 'hidden', 'selected', 'open', 'indeterminate', 'multiple', 'tabIndex']);

/** @returns {any} */
export function h(tag, props = {}, ...children) {
  const svg = tag.startsWith('svg:');
  const el = svg ? document.createElementNS('http://www.w3.org/2000/svg', tag.slice(4)) : document.createElement(tag);
  for (const [name, value] of Object.entries(props || {})) {
    if (value === undefined || value === null || value === false && !PROPERTIES.has(name)) continue;
    if (name.startsWith('on')) el.addEventListener(name.slice(2), value);
    else if (PROPERTIES.has(name)) el[name] = value;
    else if (name === 'data') for (const [k, v] of Object.entries(value)) el.dataset[k] = v;
    else el.setAttribute(name, value === true ? '' : value);
  }
  put(el, children);
  return el;
}

export function put(el, children) {
  for (const child of [children].flat(Infinity)) {
    if (child === undefined || child === null || child === false) continue;
    el.append(child instanceof Node ? child : String(child));
  }
  return el;
}

// What is being typed is marked, so that it outlives the page being drawn anew; what could not be taken stays marked.
document.addEventListener('input', (e) => { /** @type {HTMLElement} */ (e.target).dataset.dirty = '1'; });
document.addEventListener('change', (e) => { const el = /** @type {HTMLElement} */ (e.target); if (el.getAttribute('aria-invalid') !== 'true') delete el.dataset.dirty; });

// Replace the children, but keep the focus and the scroll place where an element with the same data-key is still there.
export function fill(el, ...children) {
  const active = /** @type {HTMLInputElement | null} */ (document.activeElement);
  const key = active && el.contains(active) ? active.dataset.key : null;
  const range = key && 'selectionStart' in active ? safeRange(active) : null;
  const typed = key && active.matches('input[type=text], input:not([type]), textarea') ? active.value : null;
  const top = el.scrollTop;
  const open = new Map([...el.querySelectorAll('details[data-key]')].map((d) => [d.dataset.key, d.open]));
  el.replaceChildren();
  put(el, children);
  for (const d of el.querySelectorAll('details[data-key]')) if (open.has(d.dataset.key)) d.open = open.get(d.dataset.key);
  el.scrollTop = top;
  if (key) {
    const again = /** @type {HTMLInputElement | null} */ (el.querySelector(`[data-key="${CSS.escape(key)}"]`));
    if (again) {
      if (typed !== null && 'value' in again && active.dataset.dirty) {
        again.value = typed;
        again.dataset.dirty = '1';
        // a browser tells no change of a text that a program has put there
        again.addEventListener('blur', () => { if (again.dataset.dirty) again.dispatchEvent(new Event('change', { bubbles: true })); }, { once: true });
      }
      again.focus({ preventScroll: true });
      if (range) try { again.setSelectionRange(range[0], range[1]); } catch { /* not a text field */ }
    }
  }
}

function safeRange(el) {
  try { return el.selectionStart === null ? null : [el.selectionStart, el.selectionEnd]; } catch { return null; }
}

export function icon(name) {
  const paths = {
    good: 'M4 12l5 5L20 6', look: 'M12 3l10 18H2zM12 10v5M12 18v.5', short: 'M5 5l14 14M19 5L5 19', note: 'M12 3a9 9 0 100 18 9 9 0 000-18zM12 11v6M12 7v.5',
    undo: 'M9 5L4 10l5 5M4 10h10a6 6 0 010 12h-3', redo: 'M15 5l5 5-5 5M20 10H10a6 6 0 000 12h3', plus: 'M12 4v16M4 12h16', minus: 'M4 12h16',
    fit: 'M4 9V4h5M20 9V4h-5M4 15v5h5M20 15v5h-5', place: 'M12 21s7-7 7-12a7 7 0 10-14 0c0 5 7 12 7 12zM12 7a2.5 2.5 0 100 5 2.5 2.5 0 000-5z',
    layers: 'M12 3l9 5-9 5-9-5zM3 13l9 5 9-5', draw: 'M4 20l4-1L20 7l-3-3L5 16z', back: 'M15 5l-7 7 7 7', next: 'M9 5l7 7-7 7', up: 'M5 15l7-7 7 7', down: 'M5 9l7 7 7-7',
    gone: 'M5 7h14M10 7V4h4v3M7 7l1 13h8l1-13', file: 'M6 3h8l4 4v14H6zM14 3v4h4', stop: 'M6 6h12v12H6z',
  };
  return h('svg:svg', { viewBox: '0 0 24 24', class: 'icon', 'aria-hidden': 'true' }, h('svg:path', { d: paths[name] || paths.note }));
}

export function button(text, onclick, props = {}) {
  const { icon: name, ...rest } = props;
  return h('button', { type: 'button', onclick, ...rest }, name ? icon(name) : null, text ? h('span', {}, text) : null);
}

let fieldNumber = 0;
export function labelled(text, control, hint = null) {
  const field = control.control || control; // a field may stand in a box of its own
  const id = field.id || (field.id = `f${++fieldNumber}`);
  const parts = [h('label', { for: id }, text), control];
  if (hint) {
    parts.push(h('p', { class: 'hint', id: `${id}-hint` }, hint));
    field.setAttribute('aria-describedby', `${id}-hint`);
  }
  return h('div', { class: 'field' }, parts);
}

export function select(options, value, onchange, props = {}) {
  return h('select', { onchange: (e) => onchange(e.target.value), ...props },
    options.map(([v, text]) => h('option', { value: v, selected: v === value }, text)));
}

export function announce(text) {
  document.getElementById('said').textContent = text;
}

export function notice(text, kind = 'note', actions = []) {
  const box = document.getElementById('notices');
  const close = () => el.remove();
  const el = h('div', { class: `notice ${kind}` }, icon(kind === 'error' ? 'short' : kind === 'good' ? 'good' : 'note'), h('p', {}, text),
    actions.map(([label, act]) => button(label, () => { close(); act(); })), button('×', close, { class: 'plain', 'aria-label': t('close') }));
  for (const old of [...box.children]) if (old.querySelector('p').textContent === text) old.remove();
  box.append(el);
  while (box.children.length > 3) box.firstChild.remove();
  if (kind !== 'error') setTimeout(close, 7000);
  return close;
}
