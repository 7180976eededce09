// The first page: what somebody wants to do, and the jobs of the folder.

import { get, post } from './api.js';
import { h, fill, button, icon, labelled, notice, select } from './dom.js';
import { store, loadAll } from './store.js';
import { drawing } from './drawings.js';
import { LANGUAGES, language, setLanguage, t } from './text.js';

/** What can be done, with the page where it begins; `job` says that a job is made or opened first. */
const PURPOSES = [
  { key: 'template', job: true, page: 'prepare' }, { key: 'estimate', job: true, page: 'customer' }, { key: 'wall', job: true, page: 'prepare' }, { key: 'slab', job: true, page: 'photos' },
  { key: 'plan', page: 'plan' }, { key: 'print', page: 'print' }, { key: 'calibrate', page: 'calibrate' },
];

/** Where one goes on with a job. @param {any} job */
const pageOf = (job) => (job.photos ? 'edges' : job.state === 'drawn' ? 'stone' : 'photos');

/** @param {HTMLElement} root */
export function open(root) {
  const page = h('section', { class: 'page start' });
  root.append(page);
  /** @type {{jobs: any[], wanted: string, folder: string} | null} */
  let list = null;
  let purpose = '', busy = false;
  const draw = () => fill(page, content());
  const load = async () => { list = await get('/api/jobs').catch((e) => { notice(e.sentence, 'error'); return null; }); draw(); };

  async function act(what, name, next = '') {
    busy = true;
    draw();
    try {
      await post(`/api/jobs/${what}`, { name });
      if (next) {
        await loadAll(); // the pages of a job are there only once it is known
        location.hash = next;
      }
    } catch (error) { notice(error.sentence || String(error), 'error'); }
    busy = false;
    await load();
  }

  function content() {
    return [
      h('div', { class: 'row spread wrap' }, h('h1', {}, t('start.what')),
        labelled(t('start.language'), select(Object.entries(LANGUAGES), language(), (v) => { setLanguage(v); location.reload(); }, { data: { key: 'language' } }))),
      h('ul', { class: 'purposes' }, PURPOSES.map((p) => h('li', {}, p.job
        ? h('button', { type: 'button', class: 'purpose', 'aria-expanded': String(purpose === p.key), onclick: () => { purpose = purpose === p.key ? '' : p.key; draw(); page.querySelector('#new-name')?.select(); }, data: { key: `purpose-${p.key}` } }, card(p.key))
        : h('a', { class: 'purpose', href: `#${p.page}`, data: { key: `purpose-${p.key}` } }, card(p.key))))),
      purpose ? maker(PURPOSES.find((p) => p.key === purpose)) : list?.wanted ? maker(PURPOSES[0], list.wanted) : null,
      h('h2', {}, t('start.jobs', { folder: list?.folder || '' })),
      !list ? h('p', {}, t('loading')) : list.jobs.length ? h('ul', { class: 'jobs' }, list.jobs.map(row)) : h('p', { class: 'hint' }, t('start.none')),
    ];
  }

  const card = (key) => [drawing(`purpose-${key}`), h('span', {}, h('b', {}, t(`start.${key}`)), h('small', {}, t(`start.${key}.hint`)))];

  // A job is made only here, by its name and a press
  function maker(what, name = t('start.default-name', { date: new Date().toLocaleDateString(language()) })) {
    const input = h('input', { value: name, maxlength: 60, autocomplete: 'off', id: 'new-name', data: { key: 'new-name' }, onkeydown: (e) => { if (e.key === 'Enter') go(); } });
    const go = () => act('make', input.value.trim(), what.page);
    return h('div', { class: 'card new-job' }, list?.wanted === name ? h('p', {}, t('start.wanted', { name })) : null,
      h('div', { class: 'row wrap' }, labelled(t('start.new-name'), input), button(t('start.make'), go, { class: 'main', icon: 'plus', disabled: busy, data: { key: 'make-job' } })));
  }

  function row(job) {
    const here = job.folder === store.folder;
    return h('li', { class: `job ${here ? 'here' : ''}` },
      job.picture ? h('img', { src: `/picture/${encodeURIComponent(job.folder)}`, alt: '', loading: 'lazy' }) : h('div', { class: 'no-picture' }, icon('file')),
      h('div', { class: 'facts' }, h('h3', {}, job.name), job.name === job.folder ? null : h('p', { class: 'hint' }, job.folder),
        h('p', {}, job.state === 'unreadable' ? job.detail : t(`start.state.${job.state.replace(' ', '-')}`, { photos: job.photos, edges: job.edges })),
        h('p', { class: 'hint' }, new Date(job.changed * 1000).toLocaleString(language(), { dateStyle: 'medium', timeStyle: 'short' }))),
      h('div', { class: 'row wrap' },
        here ? h('a', { class: 'button main', href: `#${pageOf(job)}`, data: { key: `go-${job.folder}` } }, t('start.go-on'))
          : button(t('start.open'), () => act('open', job.folder, pageOf(job)), { class: 'main', disabled: busy || job.state === 'unreadable', data: { key: `open-${job.folder}` } }),
        button(t('start.copy'), () => act('copy', job.folder), { class: 'small', disabled: busy, 'aria-label': t('start.copy.of', { name: job.name }), data: { key: `copy-${job.folder}` } }),
        button(t('start.archive'), () => act('archive', job.folder), { class: 'small', disabled: busy, 'aria-label': t('start.archive.of', { name: job.name }), title: t('start.archive.hint'), data: { key: `archive-${job.folder}` } })));
  }

  draw();
  load();
  return { update: (what) => { if (what === 'job' || what === 'moved' || what === 'result') load(); } };
}
