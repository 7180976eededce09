// A page that is drawn anew when something it shows has changed, with its "how" at hand.

import { h, fill } from './dom.js';
import { drawing } from './drawings.js';
import { store, loadSchema } from './store.js';
import { t, has } from './text.js';

/** Changes that only the pages of photos and the top view show */
const ELSEWHERE = ['work', 'photos', 'top'];

/**
 * @param {HTMLElement} root @param {(draw: () => void) => any} content
 * @param {{wide?: boolean, cls?: string, schema?: boolean, deaf?: string[]}} options `schema`: the job file's rules are needed; `deaf`: changes that the page does not show
 */
export function page(root, content, { wide = false, cls = '', schema = false, deaf = ELSEWHERE } = {}) {
  const el = h('section', { class: `page ${wide ? '' : 'narrow'} ${cls}` });
  root.append(el);
  const draw = () => fill(el, schema && !store.schema ? h('p', {}, t('loading')) : content(draw));
  if (schema && !store.schema) loadSchema().then(draw);
  draw();
  return { update: (what) => { if (!deaf.includes(what)) draw(); }, draw };
}

/** The steps of a page, one sentence each. @param {string} name */
const steps = (name) => t(`how.${name}`).split(' | ');

/** How a page is used: a drawing of ours and its steps. @param {string} name */
export const howOf = (name) => h('div', { class: 'how-of' }, drawing(`how-${name}`), h('ol', {}, steps(name).map((s) => h('li', {}, s))));

/** The same to be unfolded on the page itself. @param {string} name */
export const how = (name) => (has(`how.${name}`) ? h('details', { class: 'how-fold', data: { key: `how-${name}` } }, h('summary', {}, t('how')), howOf(name)) : null);
