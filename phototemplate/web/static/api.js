// Talking to the server of this page and to nobody else.

import { UPLOAD_LIMIT } from './constants.js';
import { language, t, has } from './text.js';

/** What the server sends; what it says in several languages is taken in the chosen one. @param {string} text @returns {any} */
export const read = (text) => JSON.parse(text, (_, value) => (value?.said?.[language()] ? Object.assign(value, value.said[language()]) : value));

export class Trouble extends Error {
  constructor(code, detail, status, facts = {}) {
    super(detail || code);
    this.code = code;
    this.detail = detail;
    this.facts = facts;
    this.status = status;
  }

  get sentence() {
    if (has(`error.${this.code}`)) return t(`error.${this.code}`, { detail: this.detail, ...this.facts });
    return this.detail || t('error.unknown');
  }
}

async function request(method, url, body) {
  let answer;
  try {
    answer = await fetch(url, {
      method, credentials: 'same-origin',
      ...(body === undefined ? {} : { body: JSON.stringify(body), headers: { 'content-type': 'application/json' } }),
    });
  } catch {
    throw new Trouble('no-server', '', 0);
  }
  if (!answer.ok) throw await troubleOf(answer);
  return read(await answer.text());
}

export async function troubleOf(answer) {
  let facts = {};
  try { facts = await answer.json(); } catch { /* not ours */ }
  return new Trouble(facts.error || 'unknown', facts.detail || '', answer.status, facts.facts);
}

// What the server says of work that failed, in words
export const sentenceOf = (said) => (said ? new Trouble(said.error, said.detail, 0, said.facts).sentence : '');

export const get = (url) => request('GET', url);
export const post = (url, body = {}) => request('POST', url, body);

// fetch has no progress of uploads; the older interface has
/** @param {File} file @param {(share: number) => void} onshare */
export function upload(file, onshare, to = '/api/photos') {
  return new Promise((done, fail) => {
    const call = new XMLHttpRequest();
    call.open('PUT', `${to}?name=${encodeURIComponent(file.name)}`);
    call.responseType = 'json';
    call.upload.onprogress = (e) => e.lengthComputable && onshare(e.loaded / e.total);
    call.onload = () => {
      if (call.status < 300) done(call.response);
      else fail(new Trouble(call.response?.error || 'unknown', call.response?.detail || '', call.status, call.response?.facts));
    };
    call.onerror = () => fail(new Trouble(file.size > UPLOAD_LIMIT ? 'photo-too-large' : 'no-server', '', 0));
    call.send(file);
  });
}
