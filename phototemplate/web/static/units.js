// Lengths in the unit of the open job: the user's unit first, the other behind it.

import { store } from './store.js';
import { t } from './text.js';
import { IN, fieldText, fraction as fractionOf, metric, plusMinus, within as withinOf } from './lengths.js';

export { metric } from './lengths.js';

/** @returns {'in' | 'mm'} */
export const unit = () => store.job.units || 'in';
export const inInch = () => unit() === 'in';
/** @param {number} mm */
export const fraction = (mm, denominator = store.job.shop?.denominator || 16) => fractionOf(mm, denominator);

/** @param {number | null | undefined} mm */
export function length(mm) {
  if (mm === null || mm === undefined) return '–';
  return inInch() ? `${fraction(mm)} · ${metric(mm)}` : `${metric(mm)} · ${fraction(mm)}`;
}

/** @param {number | null | undefined} mm */
export function short(mm) {
  if (mm === null || mm === undefined) return '–';
  return inInch() ? fraction(mm) : metric(mm);
}

/** @param {number | null | undefined} mm */
export function uncertainty(mm) {
  if (mm === null || mm === undefined) return unstated();
  const [first, other] = inInch() ? ['in', 'mm'] : ['mm', 'in'];
  return `${plusMinus(mm, /** @type {any} */ (first))} (${plusMinus(mm, /** @type {any} */ (other)).slice(2)})`;
}

/** In place of an uncertainty: where the photos contradict each other none can be stated of anything. */
const unstated = () => (store.result?.withheld ? t('U.withheld') : '–');
/** How well something is known, in the words of the tape. @param {number | null | undefined} mm */
export const within = (mm) => (mm === null || mm === undefined ? unstated() : withinOf(mm, unit()));
/** The same as a phrase. @param {number | null | undefined} mm */
export const known = (mm) => (mm === null || mm === undefined ? unstated() : t('edge.known', { U: within(mm) }));
/** The largest of several uncertainties, none where one of them cannot be stated. @param {(number | null)[]} all @returns {number | null} */
export const largest = (all) => (all.some((u) => u === null) ? null : Math.max(.../** @type {number[]} */ (all)));
/** @param {number | null | undefined} mm */
export const shortU = (mm) => (mm === null || mm === undefined ? '–' : inInch() ? `± ${(mm / IN).toFixed(3)}` : `± ${mm.toFixed(mm < 9.95 ? 2 : 1)}`);
/** The same in the unit that is not the user's. @param {number} mm */
export const otherU = (mm) => plusMinus(mm, inInch() ? 'mm' : 'in');
/** @param {number} rad */
export const degrees = (rad, digits = 2) => `${(rad * 180 / Math.PI).toFixed(digits)}°`;
/** What a text field of a length shows. @param {number | null | undefined} mm */
export const shown = (mm) => fieldText(mm, unit());
/** @param {number} n */
export const bytes = (n) => (n > 1e6 ? `${(n / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(n / 1e3))} kB`);
/** A length with what makes its size plain: feet from 10 ft on. @param {number | null} mm */
export const reading = (mm) => (mm === null ? '' : Math.abs(mm) > 3048 ? `${length(mm)} (${Math.round(mm / IN / 12)} ft)` : length(mm));
