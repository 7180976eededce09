// A list of files that can be taken.

import { h, icon } from './dom.js';
import { bytes } from './units.js';
import { t, has } from './text.js';

/** @param {{name: string, file: string, bytes: number}[]} files */
export const fileList = (files) => h('ul', { class: 'downloads' }, files.map((f) => h('li', {},
  h('a', { href: `/download/${encodeURIComponent(f.name)}`, download: f.file, class: 'button', data: { key: `dl-${f.name}` } }, icon('file'), f.file),
  h('span', {}, has(`format.${f.name}`) ? t(`format.${f.name}`) : f.name, h('small', {}, ` ${bytes(f.bytes)}`)),
  f.name === 'report' ? h('a', { href: '/report', target: '_blank', rel: 'noopener', data: { key: 'see-report' } }, t('finish.see')) : null)));
