// Lists of the job file as cards: one form for each thing and one for a new one, all made from the job file's own rules.

import { h, button } from './dom.js';
import { adder, fields, schemaOf, setter } from './form.js';
import { finding, findingsOf } from './findings.js';
import { edit, freeName } from './store.js';
import { t, has } from './text.js';

/**
 * What the lists hold: rules of one thing, its word in the list of changes, what a new one is called (without a name: by its number).
 * @type {Record<string, {rules: string, thing: string, stem?: string, title?: (one: any) => string}>}
 */
export const LISTS = {
  cutouts: { rules: 'CutoutSpec', thing: 'cutout', stem: 'sink' },
  seams: { rules: 'SeamSpec', thing: 'seam', stem: 'seam' },
  splashes: { rules: 'SplashSpec', thing: 'splash', stem: 'splash' },
  posts: { rules: 'PostSpec', thing: 'post', stem: 'post' },
  openings: { rules: 'OpeningSpec', thing: 'opening', stem: 'range' },
  appliances: { rules: 'ApplianceSpec', thing: 'appliance', stem: 'dishwasher' },
  centre_lines: { rules: 'CentreLineSpec', thing: 'centre-line', stem: 'centre' },
  maker_sheets: { rules: 'MakerSheetSpec', thing: 'maker-sheet', stem: 'sheet' },
  drawn: { rules: 'DrawnSpec', thing: 'drawn', stem: 'island' },
  site_photos: { rules: 'SitePhotoSpec', thing: 'site-photo', title: (one) => `${one.at}: ${one.note || one.file}` },
  markers: { rules: 'MarkerSpec', thing: 'marker', title: (one) => one.dictionary },
};

/**
 * One list, folded. `at` leads to the list in the job file, `about` gives what is known of one thing beyond its fields.
 * @param {string} list @param {any[]} at @param {any[] | undefined} value @param {string} key
 * @param {{about?: (one: any) => any, findings?: FindingView[], plan?: any, hint?: boolean}} options
 */
export function things(list, at, value, key, { about = () => null, findings = [], plan = null } = {}) {
  const { rules, thing, stem, title } = LISTS[list];
  const items = value || [];
  const one = (item, k) => {
    const name = item.id ?? String(k + 1), mine = [...at, list, item.id === undefined ? k : { id: item.id }], own = `${key}-${name}`;
    return h('details', { class: 'card', data: { key: own } },
      h('summary', {}, h('b', {}, title ? title(item) : name), item.kind && has(`choice.${item.kind}`) ? ` · ${t(`choice.${item.kind}`)}` : ''),
      findingsOf([name], findings).map((f) => finding(f, plan, own)), about(item),
      fields(schemaOf(rules), item, setter(`edit-${thing}`, name, mine), own, ['id']),
      button(t('remove'), () => edit(`remove-${thing}`, name, [{ op: 'remove', at: mine }]), { icon: 'gone', class: 'small', data: { key: `${own}-gone` } }));
  };
  return h('details', { data: { key } }, h('summary', {}, `${t(`stone.${list}`)} (${items.length})`),
    has(`stone.${list}.hint`) ? h('p', { class: 'hint' }, t(`stone.${list}.hint`)) : null,
    items.map(one),
    adder(schemaOf(rules), (v) => edit(`add-${thing}`, v.id || '', [{ op: 'add', at: [...at, list], value: v }]), key,
      stem ? { id: freeName(stem, items.map((i) => i.id)) } : {}, [], t(`stone.add.${thing}`)));
}
