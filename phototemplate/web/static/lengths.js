// Lengths as people write and read them, without state. Inside everything is mm; `unit` is 'in' or 'mm'.

export const IN = 25.4;

const GLYPHS = { '½': ' 1/2', '¼': ' 1/4', '¾': ' 3/4', '⅛': ' 1/8', '⅜': ' 3/8', '⅝': ' 5/8', '⅞': ' 7/8', '″': '"', '”': '"', '“': '"', '′': "'", '’': "'", '‘': "'", '–': '-', '−': '-', '⁄': '/', ' ': ' ' };
const NUMBER = '\\d+(?:\\.\\d*)?|\\.\\d+';
const METRIC = new RegExp(`^(-)?\\s*(${NUMBER})\\s*(mm|cm|m)$`, 'i');
const IMPERIAL = new RegExp(`^(-)?\\s*(?:(${NUMBER})\\s*(?:'|ft\\.?|feet|foot)\\s*-?\\s*)?(?:(?:(?:(\\d+)(?:-|\\s+)(?=\\d+/))?(\\d+)/(\\d+)|(${NUMBER}))\\s*("|''|in\\.?|inch|inches)?)?$`, 'i');
const DENOMINATORS = new Set([2, 4, 8, 16, 32, 64]);

/**
 * What somebody wrote, in mm: the rules of the job file (phototemplate/units.py), with `unit` for a bare number.
 * `bare` says that the unit was not written. null where it is no length, or could be read in two ways.
 * @param {string} text @param {'in' | 'mm'} unit @returns {{mm: number, bare: boolean} | null}
 */
export function parseLength(text, unit) {
  let clean = text;
  for (const [glyph, plain] of Object.entries(GLYPHS)) clean = clean.replaceAll(glyph, plain);
  clean = clean.trim();
  if (!clean || clean.includes(',') || /\d\s+-\s*\d+\/|\d-\s+\d+\//.test(clean)) return null;
  const metric = METRIC.exec(clean);
  if (metric) return { mm: (metric[1] ? -1 : 1) * Number(metric[2]) * { mm: 1, cm: 10, m: 1000 }[metric[3].toLowerCase()], bare: false };
  const m = IMPERIAL.exec(clean);
  if (!m || (m[2] === undefined && m[4] === undefined && m[6] === undefined)) return null;
  const [, sign, feet, whole, top, bottom, decimal, mark] = m;
  if (top !== undefined && (!DENOMINATORS.has(Number(bottom)) || Number(top) >= Number(bottom) || Number(top) === 0)) return null;
  const inches = decimal !== undefined ? Number(decimal) : Number(whole || 0) + (top === undefined ? 0 : Number(top) / Number(bottom));
  const bare = feet === undefined && decimal !== undefined && !mark;
  if (feet !== undefined && ((feet.includes('.') && inches) || inches >= 12)) return null;
  const mm = bare && unit === 'mm' ? inches : (12 * Number(feet || 0) + inches) * IN;
  return { mm: sign ? -mm : mm, bare };
}

/** @param {number} mm @param {number} denominator */
export function fraction(mm, denominator = 16) {
  const steps = Math.round(Math.abs(mm) / IN * denominator);
  const sign = mm < 0 && steps ? '−' : '';
  const whole = Math.floor(steps / denominator);
  let top = steps % denominator;
  let bottom = denominator;
  while (top && top % 2 === 0) { top /= 2; bottom /= 2; }
  const part = top ? `${top}/${bottom}` : '';
  return `${sign}${whole || !part ? whole : ''}${whole && part ? ' ' : ''}${part} in`;
}

/** @param {number} mm */
export const metric = (mm, digits = 1) => `${mm.toFixed(digits).replace('-', '−')} mm`;

/** U with two significant digits in mm, thousandths in inches. @param {number} mm @param {'in' | 'mm'} unit */
export function plusMinus(mm, unit) {
  if (unit === 'in') return `± ${(mm / IN).toFixed(3)} in`;
  return `± ${mm.toFixed(mm < 0.995 ? 2 : mm < 9.95 ? 1 : 0)} mm`;
}

/**
 * U as a fabricator says it: the next 1/64 in upwards (1/32 from 1/8 on), or tenths of a mm upwards. Never less than it is.
 * @param {number} mm @param {'in' | 'mm'} unit
 */
export function within(mm, unit) {
  if (unit === 'mm') return `± ${(Math.ceil(mm * 10 - 1e-6) / 10).toFixed(1)} mm`;
  const steps = mm > IN / 8 ? 32 : 64;
  return `± ${fraction(Math.max(1, Math.ceil(mm / IN * steps - 1e-6)) * IN / steps, steps)}`;
}

/**
 * What a text field of a length shows; it can be read again by parseLength. What lies on no 64th of an inch is shown in mm.
 * @param {number | null | undefined} mm @param {'in' | 'mm'} unit
 */
export function fieldText(mm, unit) {
  if (mm === null || mm === undefined) return '';
  const steps = mm / (IN / 64);
  return unit === 'in' && Math.abs(steps - Math.round(steps)) < 1e-4 ? fraction(mm, 64).replace('−', '-') : `${Number(mm.toFixed(3))} mm`;
}

/** The unit that a text shows, or null. @param {string} text @returns {'in' | 'mm' | null} */
export const unitShown = (text) => (/\dm?m$|\d (mm|cm|m)$|^mm$/.test(text.trim()) ? 'mm' : /in$|"$|'$/.test(text.trim()) ? 'in' : null);

/**
 * Is a length improbable for what it is for, and would the other unit make sense of it?
 * @param {string} text @param {'in' | 'mm'} unit @param {[number, number]} usual mm, from and to
 * @returns {{here: number, other: number | null} | null} both readings in mm, or null where there is nothing to ask
 */
export function improbable(text, unit, usual) {
  const read = parseLength(text, unit);
  if (!read || (read.mm >= usual[0] && read.mm <= usual[1])) return null;
  const other = read.bare ? parseLength(text, unit === 'in' ? 'mm' : 'in').mm : null;
  return { here: read.mm, other: other !== null && other >= usual[0] && other <= usual[1] ? other : null };
}
