// What the lines of the top view mean.

import { h, fill } from './dom.js';
import { CLASS_LETTERS, CLASS_LIMITS, dashes, widths, ELLIPSE_SCALE } from './overlay.js';
import { store, tolerance } from './store.js';
import { fraction } from './units.js';
import { t } from './text.js';

let open = window.matchMedia('(min-width: 900px)').matches;

/** @param {HTMLElement} box @param {import('./canvas.js').Stage} stage @param {boolean} wanted @param {boolean} levels are levels drawn? */
export function legend(box, stage, wanted, levels) {
  const lift = () => {
    const now = wanted && open && stage.width > 600 ? box.offsetHeight + 26 : 20;
    if (now !== stage.lift) { stage.lift = now; stage.draw(); }
  };
  box.hidden = !wanted || !store.result;
  if (wanted) {
    fill(box, h('details', { open, ontoggle: (e) => { open = e.target.open; lift(); }, data: { key: 'legend' } },
      h('summary', {}, t('legend.title')),
      h('ul', {}, CLASS_LETTERS.map((letter, i) => {
        const mm = CLASS_LIMITS[Math.min(i, CLASS_LIMITS.length - 1)] * tolerance();
        return h('li', { class: `u-${letter}` }, h('b', {}, letter.toUpperCase()),
          h('svg:svg', { viewBox: '0 0 44 10', class: 'sample', 'aria-hidden': 'true' }, h('svg:path', { d: 'M0 5H44', 'stroke-width': widths[letter], 'stroke-dasharray': dashes[letter].join(' ') || 'none' })),
          h('span', {}, t(i < CLASS_LIMITS.length ? 'legend.upto' : 'legend.over', { mm: mm.toFixed(1) }), h('small', {}, fraction(mm, 64))));
      })),
      h('p', { class: 'hint' }, t('legend.note', { n: ELLIPSE_SCALE }), levels ? ` ${t('legend.levels')}` : '')));
  }
  lift();
}
