// Lengths as people read them. Inside everything is mm.

import { store } from './store.js';

const IN = 25.4;

export function fraction(mm, denominator = store.job.shop?.denominator || 16) {
  const steps = Math.round(Math.abs(mm) / IN * denominator);
  const sign = mm < 0 && steps ? '−' : '';
  let whole = Math.floor(steps / denominator);
  let top = steps % denominator;
  let bottom = denominator;
  while (top && top % 2 === 0) { top /= 2; bottom /= 2; }
  const part = top ? `${top}/${bottom}` : '';
  return `${sign}${whole || !part ? whole : ''}${whole && part ? ' ' : ''}${part} in`;
}

export const inch = (mm, digits = 3) => `${(mm / IN).toFixed(digits)} in`;
export const metric = (mm, digits = 1) => `${mm.toFixed(digits).replace('-', '−')} mm`;
export const inInch = () => (store.job.units || 'in') === 'in';

// The user's unit first, the other behind it.
export function length(mm) {
  if (mm === null || mm === undefined) return '–';
  return inInch() ? `${fraction(mm)} · ${metric(mm)}` : `${metric(mm)} · ${fraction(mm)}`;
}

export function short(mm) {
  if (mm === null || mm === undefined) return '–';
  return inInch() ? fraction(mm) : metric(mm);
}

// U with two significant digits, not finer than the hundredth of a mm
export function uncertainty(mm) {
  if (mm === null || mm === undefined) return '–';
  const digits = mm < 0.995 ? 2 : mm < 9.95 ? 1 : 0;
  return inInch() ? `± ${(mm / IN).toFixed(3)} in (${mm.toFixed(digits)} mm)` : `± ${mm.toFixed(digits)} mm (${(mm / IN).toFixed(3)} in)`;
}

export const shortU = (mm) => (mm === null || mm === undefined ? '–' : inInch() ? `± ${(mm / IN).toFixed(3)}` : `± ${mm.toFixed(mm < 9.95 ? 2 : 1)}`);
// The same in the unit that is not the user's
export const otherU = (mm) => (inInch() ? `± ${mm.toFixed(mm < 9.95 ? 2 : 1)} mm` : `± ${(mm / IN).toFixed(3)} in`);
export const degrees = (rad, digits = 2) => `${(rad * 180 / Math.PI).toFixed(digits)}°`;

// What a text field of a length shows, and what is sent: a bare number gets the job's unit.
export const shown = (mm) => (mm === null || mm === undefined ? '' : inInch() && Math.abs(mm / (IN / 64) - Math.round(mm / (IN / 64))) < 1e-4
  ? fraction64(mm) : `${Number(mm.toFixed(3))} mm`);
function fraction64(mm) { return fraction(mm, 64).replace('−', '-'); }
export function typed(text) {
  const clean = text.trim();
  if (!clean) return null;
  return /^-?[\d.]+$/.test(clean) ? `${clean} ${inInch() ? 'in' : 'mm'}` : clean;
}
export const bytes = (n) => (n > 1e6 ? `${(n / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(n / 1e3))} kB`);
