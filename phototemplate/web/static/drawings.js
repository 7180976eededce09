// Our own small drawings: what can be done, and how sheets are laid and photographed. Lines only, so that they follow the theme.

import { h } from './dom.js';

/** Path data on a field of 96 by 64; `bold` lines are what it is about. @type {Record<string, {thin: string, bold: string}>} */
const DRAWINGS = {
  'purpose-template': { thin: 'M8 50h80M8 14h80M20 20h14v10H20zM62 20h14v10H62z', bold: 'M12 18h72v24H12z' },
  'purpose-estimate': { thin: 'M12 10h40v44H12zM18 20h28M18 28h28M18 36h18', bold: 'M64 18v32M74 24c-4-6-18-5-18 2s18 5 18 12-14 8-19 1' },
  'purpose-wall': { thin: 'M10 46h76', bold: 'M10 40c18 5 30 6 40 4s24-8 36-3' },
  'purpose-slab': { thin: 'M8 10l78-3 2 46-82 3z', bold: 'M16 16h30v30H16zM54 16h26v12H54zM54 36h20v10H54z' },
  'purpose-plan': { thin: 'M10 10h76v14H24v30H10z', bold: 'M44 52l6-10M66 46l-4-10M36 40l-6 0M42 54a3 3 0 106 0 3 3 0 10-6 0M64 48a3 3 0 106 0 3 3 0 10-6 0' },
  'purpose-print': { thin: 'M18 26h60v22H18zM28 26V8h40v18', bold: 'M28 40h40v18H28zM36 46h8v8h-8zM52 46h8v8h-8z' },
  'purpose-calibrate': { thin: 'M14 8h44v44H14z', bold: 'M14 8h11v11H14zM36 8h11v11H36zM25 19h11v11H25zM47 19h11v11H47zM14 30h11v11H14zM36 30h11v11H36zM70 24h18v24H70zM75 36a4 4 0 108 0 4 4 0 10-8 0' },
  'lay-sheets': { thin: 'M6 18h84v28H6zM34 18v28M62 18v28', bold: 'M12 24h16v11H12zM40 27h16v11H40zM68 24h16v11H68z' },
  'lay-contact': { thin: 'M6 12h84M6 8l6 4M18 8l6 4M30 8l6 4M42 8l6 4M54 8l6 4M66 8l6 4M78 8l6 4M6 56h84', bold: 'M14 13h26v18H14zM52 13h26v18H52z' },
  'lay-bar': { thin: 'M6 50h84', bold: 'M14 30h68v6H14zM12 26h10v14H12zM74 26h10v14H74zM17 20v-8M79 20v-8M17 14h62' },
  'take-photos': { thin: 'M14 42h68v10H14zM22 44h10v5H22zM60 44h10v5H60z', bold: 'M14 22l10 14M48 12v20M82 22L72 36M8 14h12v8H8zM42 4h12v8H42zM76 14h12v8H76z' },
  'under-cabinet': { thin: 'M8 38h80v16H8z', bold: 'M22 37h52' },
  'under-board': { thin: 'M8 42h80v14H8zM20 34h56v7H20z', bold: 'M22 33h52' },
  'how-photos': { thin: 'M14 20h36v28H14zM26 20l4-6h8l4 6', bold: 'M32 34m-8 0a8 8 0 1016 0a8 8 0 10-16 0M58 34h24M74 26l8 8-8 8' },
  'how-lengths': { thin: 'M8 44h80M14 44v-6M26 44v-4M38 44v-6M50 44v-4M62 44v-6M74 44v-4M86 44v-6', bold: 'M14 16h10v10H14zM72 16h10v10H72zM24 21h48M30 17l-6 4 6 4M66 17l6 4-6 4' },
  'how-sheets': { thin: 'M8 42h80v14H8z', bold: 'M20 34h56v7H20zM22 33h52M82 33v-12M82 41v12M78 25l4 8 4-8M78 49l4-8 4 8' },
  'how-check': { thin: 'M14 10h30v20H14zM52 10h30v20H52zM14 38h30v18H14z', bold: 'M54 48l8 8 18-20' },
  'how-edges': { thin: 'M10 14h56v36H10z', bold: 'M10 50h56M66 50V14M76 30l6 6 10-14' },
  'how-runs': { thin: 'M12 12h72', bold: 'M12 12v40h24V34h48V12M12 12h72M12 52l-4-4M12 52l4-4' },
  'how-stone': { thin: 'M10 10h76v32H10z', bold: 'M6 8h84v38H6zM30 18h30v16H30zM68 8v38' },
  'how-finish': { thin: 'M22 6h36l12 12v40H22zM58 6v12h12', bold: 'M34 34l8 8 16-18' },
  'how-distance': { thin: 'M10 50h30V20h46', bold: 'M12 12h72M18 7l-6 5 6 5M78 7l6 5-6 5M12 12v34M84 12v6' },
  'how-wall': { thin: 'M10 46h76M20 46v4M40 46v4M60 46v4M80 46v4', bold: 'M10 40c18 5 30 6 40 4s24-8 36-3M58 45v-2M58 26v12M54 34l4 6 4-6' },
  'how-slab': { thin: 'M8 10l78-3 2 46-82 3z', bold: 'M8 10m-4 0a4 4 0 108 0 4 4 0 10-8 0M86 7m-4 0a4 4 0 108 0 4 4 0 10-8 0M20 18h34v24H20zM64 36l8 8M72 36l-8 8' },
  'how-estimate': { thin: 'M12 10h40v44H12zM18 20h28M18 28h28M18 36h18', bold: 'M62 22h26M62 32h18M62 42h22' },
  'how-job': { thin: 'M16 8h64v48H16z', bold: 'M24 20h34M24 30h48M24 40h22M66 16l8 4-8 4' },
  'how-plan': { thin: 'M10 10h76v14H34v30H10z', bold: 'M48 52l4-12M70 46l-8-10M44 56a4 4 0 108 0 4 4 0 10-8 0M68 50a4 4 0 108 0 4 4 0 10-8 0' },
  'how-calibrate': { thin: 'M14 8h44v44H14z', bold: 'M14 8h11v11H14zM36 8h11v11H36zM25 19h11v11H25zM47 19h11v11H47zM66 20l22 8-8 22-22-8z' },
  turn: { thin: 'M20 20h30v20H20z', bold: 'M60 14h18v32H60zM46 10a20 16 0 0120 0M62 6l5 5-7 2' },
};

/** @param {string} name */
export function drawing(name) {
  const d = DRAWINGS[name];
  return h('svg:svg', { viewBox: '0 0 96 64', class: 'drawing', 'aria-hidden': 'true' }, h('svg:path', { d: d.thin, class: 'thin' }), h('svg:path', { d: d.bold, class: 'bold' }));
}
