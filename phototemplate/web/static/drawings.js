// Our own small drawings: what can be done, and how sheets are laid and photographed. Lines only, so that they follow the theme.

import { h } from './dom.js';

/** Path data on a field of 96 by 64; `bold` lines are what it is about. @type {Record<string, {thin: string, bold: string}>} */
const DRAWINGS = {
  'purpose-template': { thin: 'M8 50h80M8 14h80M20 20h14v10H20zM62 20h14v10H62z', bold: 'M12 18h72v24H12z' },
  'purpose-estimate': { thin: 'M12 10h40v44H12zM18 20h28M18 28h28M18 36h18', bold: 'M64 18v32M74 24c-4-6-18-5-18 2s18 5 18 12-14 8-19 1' },
  'purpose-wall': { thin: 'M10 46h76', bold: 'M10 40c18 5 30 6 40 4s24-8 36-3' },
  'purpose-plan': { thin: 'M10 10h76v14H24v30H10z', bold: 'M44 52l6-10M66 46l-4-10M36 40l-6 0M42 54a3 3 0 106 0 3 3 0 10-6 0M64 48a3 3 0 106 0 3 3 0 10-6 0' },
  'purpose-print': { thin: 'M18 26h60v22H18zM28 26V8h40v18', bold: 'M28 40h40v18H28zM36 46h8v8h-8zM52 46h8v8h-8z' },
  'purpose-calibrate': { thin: 'M14 8h44v44H14z', bold: 'M14 8h11v11H14zM36 8h11v11H36zM25 19h11v11H25zM47 19h11v11H47zM14 30h11v11H14zM36 30h11v11H36zM70 24h18v24H70zM75 36a4 4 0 108 0 4 4 0 10-8 0' },
  'lay-sheets': { thin: 'M6 18h84v28H6zM34 18v28M62 18v28', bold: 'M12 24h16v11H12zM40 27h16v11H40zM68 24h16v11H68z' },
  'lay-contact': { thin: 'M6 12h84M6 8l6 4M18 8l6 4M30 8l6 4M42 8l6 4M54 8l6 4M66 8l6 4M78 8l6 4M6 56h84', bold: 'M14 13h26v18H14zM52 13h26v18H52z' },
  'lay-bar': { thin: 'M6 50h84', bold: 'M14 30h68v6H14zM12 26h10v14H12zM74 26h10v14H74zM17 20v-8M79 20v-8M17 14h62' },
  'take-photos': { thin: 'M14 42h68v10H14zM22 44h10v5H22zM60 44h10v5H60z', bold: 'M14 22l10 14M48 12v20M82 22L72 36M8 14h12v8H8zM42 4h12v8H42zM76 14h12v8H76z' },
  'under-cabinet': { thin: 'M8 38h80v16H8z', bold: 'M22 37h52' },
  'under-board': { thin: 'M8 42h80v14H8zM20 34h56v7H20z', bold: 'M22 33h52' },
  turn: { thin: 'M20 20h30v20H20z', bold: 'M60 14h18v32H60zM46 10a20 16 0 0120 0M62 6l5 5-7 2' },
};

/** @param {string} name */
export function drawing(name) {
  const d = DRAWINGS[name];
  return h('svg:svg', { viewBox: '0 0 96 64', class: 'drawing', 'aria-hidden': 'true' }, h('svg:path', { d: d.thin, class: 'thin' }), h('svg:path', { d: d.bold, class: 'bold' }));
}
