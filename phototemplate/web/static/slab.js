// A photographed slab: its outline and its faults pressed in a photo, the pieces of another job laid on it.

import { post } from './api.js';
import { h, fill, button, icon, labelled, notice, select } from './dom.js';
import { Stage } from './canvas.js';
import { label, line, palette, projector } from './drawing.js';
import { fileList } from './files.js';
import { lengthInput } from './form.js';
import { distanceOf, middle } from './geometry.js';
import { how } from './page.js';
import { framesOf, putPhoto, zoomButtons } from './photostage.js';
import { store } from './store.js';
import { length, short, within } from './units.js';
import { t } from './text.js';

/** mm. Lost at every side, and the saw's cut. Convention: what slab.toml has where nothing is said. */
const USUAL = { margin: 25, kerf: 4 };
/** mm. Least and most that a margin or a cut may be without being asked back. Convention: saws and slabs. */
const SMALL_MM = /** @type {[number, number]} */ ([0, 200]);

/** @type {any} what slab.toml says, and what came of the last layout */
let file = null, answer = null;
/** @type {string[]} */
let jobs = [];
let of = '', whose = '', busy = false;
/** @type {null | {kind: 'outline' | 'fault', points: Point[]}} what is being pressed */
let tool = null;

/** @param {HTMLElement} root */
export function open(root) {
  if (of !== store.folder) { file = answer = tool = null; whose = ''; of = store.folder; }
  const canvas = h('canvas', { class: 'stage' }), side = h('aside', { class: 'side', 'aria-label': t('slab.side') }), bar = h('div', { class: 'stage-bar' });
  const hint = h('p', { class: 'stage-hint', role: 'status' });
  root.append(h('section', { class: 'split' }, h('div', { class: 'stage-box' }, canvas, bar, hint), side));
  const stage = new Stage(canvas, { name: t('slab.canvas') });
  stage.background = '#6f6d68';
  stage.pad = [8, 8, 8, 8];
  /** @type {Matrix} */
  let matrix = [1, 0, 0, 1, 0, 0];
  let shown = '', closed = false;
  const photos = () => [...store.photos.values()].filter((p) => p.seen && p.used);
  const photo = () => photos().find((p) => p.id === file?.photo) || photos()[0];
  const toWorld = (p) => framesOf(matrix).toWorld(p);

  async function call(body) {
    try { const a = await post('/api/clicks/slab', body); ({ jobs } = a); file = a.file; } catch (error) { notice(error.sentence || String(error), 'error'); }
    if (!closed) draw();
  }
  const keep = () => call({ file });
  const set = (key, v) => { if (v === null) delete file[key]; else file[key] = v; keep(); };

  async function lay() {
    busy = true;
    draw();
    try { answer = await post('/api/make/slab', { of: whose }); } catch (error) { answer = null; notice(error.sentence || String(error), 'error'); }
    busy = false;
    if (!closed) draw();
  }

  // ------------------------------------------------------------------------------------------- the picture

  function paint(ctx) {
    const at = projector(stage), c = palette(), screen = (p) => at(toWorld(p));
    const points = (list, colour) => list.forEach((p) => { ctx.beginPath(); ctx.arc(...screen(p), 6, 0, 7); ctx.fillStyle = colour; ctx.fill(); });
    if (file) {
      line(ctx, file.outline.map(screen), { colour: c['class-b'], width: 3, closed: true });
      points(file.outline, c['class-b']);
      for (const f of file.faults || []) {
        line(ctx, f.outline.map(screen), { colour: c['class-e'], width: 3, closed: f.outline.length > 2 });
        points(f.outline, c['class-e']);
        label(ctx, stage, f.name, middle(f.outline.map(screen)), {});
      }
    }
    if (tool) { line(ctx, tool.points.map(screen), { colour: c.pick, width: 3, dash: [8, 5] }); points(tool.points, c.pick); }
  }

  stage.ontap = (world) => { if (tool) { tool.points.push(framesOf(matrix).fromWorld(world)); draw(); } };
  stage.onkey = (e) => {
    if (!tool) return false;
    if (e.key === 'Escape') { begin(null); return true; }
    if (e.key === 'Backspace') { tool.points.pop(); draw(); return true; }
    if (e.key === 'Enter' && e.shiftKey) { done(); return true; }
    return false;
  };
  stage.grab = (world, p, reach) => {
    if (tool || !file) return null;
    const all = [file.outline, ...(file.faults || []).map((f) => f.outline)].flatMap((list) => list.map((q, k) => ({ list, k, d: distanceOf(stage.toScreen(toWorld(q)), p) })));
    const near = all.filter((q) => q.d < reach).sort((a, b) => a.d - b.d)[0];
    if (!near) return null;
    const before = near.list[near.k], put = (w) => { near.list[near.k] = framesOf(matrix).fromWorld(w); stage.draw(); };
    return { move: put, drop: (w) => { put(w); keep(); }, cancel: () => { near.list[near.k] = before; stage.draw(); } };
  };

  /** @param {'outline' | 'fault' | null} kind */
  function begin(kind) {
    tool = kind && { kind, points: [] };
    stage.cross = Boolean(tool);
    draw();
    if (kind) canvas.focus({ preventScroll: true });
  }

  function done() {
    const { kind, points } = tool;
    if (kind === 'outline') file = { ...USUAL, ...(file || {}), photo: photo().id, outline: points };
    else file.faults = [...(file.faults || []), { name: t('slab.fault-name', { n: (file.faults || []).length + 1 }), outline: points }];
    begin(null);
    keep();
  }

  // ---------------------------------------------------------------------------------------------- the panel

  const enough = () => tool.points.length >= (tool.kind === 'outline' ? 3 : 1);

  function draw() {
    const now = photo();
    if (now && shown !== `${now.id}-${now.version}`) { shown = `${now.id}-${now.version}`; ({ matrix } = putPhoto(stage, now, [{ paint }])); }
    fill(bar, zoomButtons(stage));
    hint.hidden = !tool;
    hint.textContent = tool ? t(`slab.press-${tool.kind}`, { n: tool.points.length }) : '';
    fill(side, h('h1', {}, t('page.slab')), h('p', {}, t('slab.how')), how('slab'), now ? [where(now), file ? [wishes(), faults(), laying()] : null] : h('p', {}, t('slab.no-photos'), ' ', h('a', { href: '#photos' }, t('nav.photos'))));
    stage.draw();
  }

  const pressing = () => h('div', { class: 'row wrap' }, button(t('draw.done'), done, { class: 'main', disabled: !enough(), data: { key: 'slab-done' } }), button(t('cancel'), () => begin(null), { data: { key: 'slab-cancel' } }));

  const where = (now) => h('section', { class: 'card' }, h('h2', {}, t('slab.outline')),
    labelled(t('slab.photo'), select(photos().map((p) => [p.id, p.file]), now.id, (v) => { file = { ...USUAL, ...(file || {}), photo: v, outline: [] }; begin('outline'); }, { data: { key: 'slab-photo' } })),
    tool?.kind === 'outline' ? pressing() : button(t(file ? 'slab.outline-again' : 'slab.outline-press'), () => begin('outline'), { class: file ? '' : 'main', icon: 'draw', data: { key: 'slab-outline' } }));

  const check = (key) => h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: file[key] ?? true, data: { key: `slab-${key}` }, onchange: (e) => set(key, e.target.checked) }), t(`slab.${key}`));

  const wishes = () => h('section', { class: 'card' }, h('div', { class: 'row wrap' }, Object.keys(USUAL).map((key) => labelled(t(`slab.${key}`), lengthInput(file[key] ?? USUAL[key], (v) => set(key, v), `slab-${key}`, { usual: SMALL_MM })))), check('grain'), check('match_seams'));

  const faults = () => h('section', { class: 'card' }, h('h2', {}, t('slab.faults')),
    (file.faults || []).map((f, k) => h('div', { class: 'row wrap' }, labelled(t('slab.fault'), h('input', { value: f.name, maxlength: 40, autocomplete: 'off', data: { key: `fault-${k}` }, onchange: (e) => { f.name = e.target.value.trim() || f.name; keep(); } })),
      labelled(t('field.clearance'), lengthInput(f.clearance ?? 10, (v) => { if (v === null) delete f.clearance; else f.clearance = v; keep(); }, `fault-clear-${k}`, { usual: SMALL_MM })),
      button('', () => { file.faults.splice(k, 1); keep(); }, { icon: 'gone', class: 'small', 'aria-label': `${t('remove')}: ${f.name}`, title: t('remove'), data: { key: `fault-gone-${k}` } }))),
    tool?.kind === 'fault' ? pressing() : button(t('slab.add-fault'), () => begin('fault'), { icon: 'plus', data: { key: 'add-fault' } }));

  const laying = () => h('section', { class: 'card' }, h('h2', {}, t('slab.lay')),
    jobs.length ? labelled(t('slab.whose'), select([['', t('choose')], ...jobs.map((j) => [j, j])], whose, (v) => { whose = v; answer = null; draw(); }, { data: { key: 'slab-of' } })) : h('p', {}, t('slab.no-jobs')),
    button(busy ? t('slab.busy') : t('slab.do'), lay, { class: 'main', disabled: busy || !whose, data: { key: 'slab-lay' } }),
    answer ? [
      h('p', { class: 'big', role: 'status' }, t('slab.size', { w: length(answer.size[0]), h: length(answer.size[1]), U: within(Math.max(...answer.size_U)) })),
      answer.left_over.length ? h('p', { class: 'mark bad' }, icon('short'), h('span', {}, t('slab.left-over', { names: answer.left_over.join(', ') }))) : h('p', { class: 'mark good' }, icon('good'), h('span', {}, t('slab.all-laid', { n: answer.laid.length }))),
      answer.parted.map((names) => h('p', { class: 'mark look' }, icon('look'), h('span', {}, t('slab.parted', { names: names.join(', ') })))),
      h('img', { class: 'slab-picture', src: `/download/${encodeURIComponent('slab picture')}?${Date.now()}`, alt: t('slab.picture') }),
      h('ul', { class: 'plain-list' }, answer.laid.map((p) => h('li', {}, h('b', {}, p.id), ` ${t('slab.at', { x: short(p.at[0]), y: short(p.at[1]) })}${p.with.length ? ` · ${t('slab.with', { names: p.with.join(', ') })}` : ''}`))),
      fileList(answer.files), h('p', { class: 'hint' }, t('slab.safety'))] : null);

  draw();
  call({});
  return { update: (what) => { if (['photos', 'job', 'moved'].includes(what)) draw(); }, close: () => { closed = true; stage.close(); } };
}
