// What lies under the sheets: asked before any edge is proposed, for a board of 5 mm moves an edge seen at 45 degrees by 5 mm.

import { USUAL_MM } from './constants.js';
import { h, button, labelled, select } from './dom.js';
import { drawing } from './drawings.js';
import { lengthInput } from './form.js';
import { nextStep } from './nextstep.js';
import { how, page } from './page.js';
import { store, edit, freeName, paperSaid } from './store.js';
import { short } from './units.js';
import { t } from './text.js';

/** mm. Paper that lies on the cabinet itself. Convention: the job file's own default. */
const PAPER_MM = 0.1;
/** mm. Boards that are usual under sheets. Convention: foam board, hardboard and card as they are sold. */
const BOARDS_MM = [3, 5, 6.35, 10];

/** @param {HTMLElement} root */
export function open(root) {
  let asking = false;

  function say(lies, mm) {
    asking = false;
    edit('paper-under', '', [{ op: 'set', at: ['paper', 'lies_on'], value: lies }, { op: 'set', at: ['paper', 'thickness_mm'], value: mm }]);
  }

  function content(draw) {
    const paper = store.job.paper || {}, lies = paper.lies_on;
    const said = paperSaid();
    const board = asking || lies === 'board' || !lies && said; // a thickness says so too
    const choice = (key, on, act) => h('button', { type: 'button', class: 'purpose', 'aria-pressed': String(on), onclick: act, data: { key: `under-${key}` } },
      drawing(`under-${key}`), h('span', {}, h('b', {}, t(`under.${key}`)), h('small', {}, t(`under.${key}.hint`))));
    return [
      h('h1', {}, t('page.sheets')), nextStep('sheets'), h('p', {}, t('under.why')), how('sheets'),
      h('div', { class: 'purposes', role: 'group', 'aria-label': t('page.sheets') },
        choice('cabinet', lies === 'cabinet' && !asking, () => say('cabinet', null)),
        choice('board', board, () => { asking = true; draw(); })),
      board ? h('div', { class: 'card' }, h('h2', {}, t('under.how-thick')),
        h('div', { class: 'row wrap' }, BOARDS_MM.map((mm) => button(short(mm), () => say('board', mm + PAPER_MM), { 'aria-pressed': String(Math.abs((paper.thickness_mm ?? 0) - mm - PAPER_MM) < 1e-6), data: { key: `board-${mm}` } })),
          labelled(t('under.other'), lengthInput(board ? paper.thickness_mm : null, (v) => v !== null && say('board', v), 'thickness', { usual: USUAL_MM.thickness }), t('under.measure')))) : null,
      said ? [several(), cabinets()] : null,
    ];
  }

  return page(root, content);
}

const sheetsSeen = () => (store.result?.sheets || []).filter((s) => s.kind === 'sheet').map((s) => s.id);

// Some sheets on something else
function several() {
  const table = store.job.paper?.thickness_by_sheet_mm || {};
  const set = (sheet, v) => edit('paper', sheet, [{ op: 'set', at: ['paper', 'thickness_by_sheet_mm', sheet], value: v }]);
  const sheets = sheetsSeen().filter((s) => !(s in table));
  return h('details', { class: 'card', data: { key: 'backing' } }, h('summary', {}, t('under.several')),
    Object.entries(table).map(([sheet, v]) => h('div', { class: 'row' }, labelled(sheet, lengthInput(v, (x) => set(sheet, x), `bk-${sheet}`, { usual: USUAL_MM.thickness })), button('', () => set(sheet, null), { icon: 'gone', class: 'small', 'aria-label': t('remove') }))),
    sheets.length ? labelled(t('under.add-sheet'), select([['', t('choose')], ...sheets.map((s) => [s, s])], '', (v) => v && set(v, BOARDS_MM[0] + PAPER_MM), { data: { key: 'backing-add' } })) : h('p', { class: 'hint' }, t('under.no-sheets')));
}

// Which sheets lie on which cabinet, for the level map
function cabinets() {
  const items = store.job.cabinets || [];
  const used = new Set(items.flatMap((c) => c.sheets));
  const spare = sheetsSeen().filter((s) => !used.has(s));
  return h('details', { class: 'card', data: { key: 'cabinets' } }, h('summary', {}, t('under.cabinets')), h('p', { class: 'hint' }, t('under.cabinets.hint')),
    items.map((c) => {
      const at = ['cabinets', { id: c.id }];
      const set = (sheets) => edit('cabinets', c.id, [{ op: 'set', at, value: { ...c, sheets } }]);
      return h('div', { class: 'card' }, h('div', { class: 'row spread' }, h('h3', {}, c.id), button(t('remove'), () => edit('cabinets', c.id, [{ op: 'remove', at }]), { icon: 'gone', class: 'small', data: { key: `cg-${c.id}` } })),
        h('div', { class: 'row wrap chips' }, c.sheets.map((s) => button(`${s} ×`, () => set(c.sheets.filter((x) => x !== s)), { class: 'chip', 'aria-label': t('under.sheet-out', { name: s }), data: { key: `cs-${c.id}-${s}` } })),
          spare.length ? select([['', t('under.sheet-in')], ...spare.map((s) => [s, s])], '', (v) => v && set([...c.sheets, v]), { 'aria-label': t('under.sheet-in'), data: { key: `ca-${c.id}` } }) : null));
    }),
    button(t('under.add-cabinet'), () => edit('cabinets', '', [{ op: 'add', at: ['cabinets'], value: { id: freeName('cabinet', items.map((c) => c.id)), sheets: [] } }]), { icon: 'plus', data: { key: 'add-cabinet' } }));
}
