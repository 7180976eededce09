// The words of the page in the language that was chosen. A language is one more table like text.en.js, complete.

import en from './text.en.js';

/** Languages by their ISO 639 code, as they call themselves @type {Record<string, string>} */
export const LANGUAGES = { en: 'English', de: 'Deutsch' };

const KEY = 'phototemplate-language';
const chosen = localStorage.getItem(KEY) || navigator.language.slice(0, 2);
const now = chosen in LANGUAGES ? chosen : 'en';
/** @type {Record<string, string>} */
const TEXT = now === 'en' ? en : (await import(`./text.${now}.js`)).default;

export const language = () => now;
/** @param {string} code */
export function setLanguage(code) { localStorage.setItem(KEY, code); }

/** @param {string} key */
export const has = (key) => key in TEXT;

/** @param {string} key @param {Record<string, any>} facts */
export function t(key, facts = {}) {
  const text = TEXT[key];
  if (text === undefined) { console.error(`no text for ${key}`); return key; }
  return text.replace(/\{(\w+)\}/g, (_, name) => (facts[name] ?? ''));
}
