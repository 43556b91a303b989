// A recipe as text: checked by the daemon while it is typed, kept as a further
// version. The text is the file, with its comments.
import { h, put, text, day, table } from './dom.js';
import { words } from './words.js';
import { get, post } from './link.js';
import { field } from './forms.js';

const WAIT = 500; // ms after the last key until it is checked

// editor edits a text. name '' = a new recipe, then a name is asked for.
export function editor(ctx, { name, suggested = '', recipe, hash = '', done }) {
  const called = name ? null : field('Name', { value: suggested, maxlength: 60, hint: 'letters, digits, dashes' });
  const area = h('textarea', { class: 'code', rows: 26, spellcheck: 'false', 'aria-label': 'Recipe as text', 'aria-describedby': 'lint' });
  area.value = recipe;
  const lint = h('div', { id: 'lint', role: 'status' }), answer = h('p', { class: 'answer', role: 'status' });
  const file = () => name || called.text;
  let timer = 0, asked = 0;
  async function check() {
    const n = ++asked;
    try {
      const c = await post(`/api/v1/recipes/${encodeURIComponent(file() || 'new')}/check`, { text: area.value });
      if (n !== asked) return;
      put(lint, c.faults ? [h('h3', {}, 'To mend before it can be kept'), h('pre', { tabindex: 0 }, c.faults)] : h('p', { class: 'strong' }, 'No faults: this machine takes it.'),
        c.understood.length ? [h('h3', {}, 'As written, as understood'), h('ul', {}, c.understood.map(t => h('li', {}, t)))] : null, c.advice.length ? [h('h3', {}, 'Worth a thought'), h('ul', {}, c.advice.map(t => h('li', {}, t)))] : null);
    } catch (e) { put(lint, h('p', {}, e.message)); }
  }
  area.addEventListener('input', () => { clearTimeout(timer); timer = setTimeout(check, WAIT); });
  check();
  async function keep() {
    if (!file()) { text(answer, `${words.notKept}: give the recipe a name.`); called.input.focus(); return; }
    const who = await ctx.name('Keep recipe');
    if (!who) return;
    try {
      await post(`/api/v1/recipes/${encodeURIComponent(file())}`, { text: area.value, who, ...(hash ? { based_on: hash } : {}) });
      done(file());
    } catch (e) { text(answer, `${words.notKept}: ${e.message}`); }
  }
  return h('section', { class: 'editor' }, called?.el, area, h('div', { class: 'buttons two' }, ctx.button({ label: name ? 'Keep as a new version' : 'Keep recipe', main: true, act: keep }), h('a', { class: 'b', href: name ? `#recipes/${encodeURIComponent(name)}` : '#recipes', on: { click: () => name && done(name) } }, h('span', { class: 'label' }, words.leave))), answer, lint);
}

// versions lists the versions of a recipe; back shows one in the editor.
export function versions(r, back) {
  const el = h('details', {}, h('summary', {}, 'History'));
  el.addEventListener('toggle', async () => {
    if (!el.open || el.children.length > 1) return;
    try {
      const { versions: list } = await get(`/api/v1/recipes/${encodeURIComponent(r.name)}/versions`);
      const rows = list.length && list.at(-1).hash === r.hash ? list : [...list, { hash: r.hash, who: '', when: '' }];
      el.append(table('Versions', ['Version', 'Kept', 'By', ''], rows.toReversed().map(v => [v.hash.slice(0, 12), v.when ? day(v.when) : 'found in the folder', v.who || '–',
          v.hash === r.hash ? 'now' : back ? h('button', { type: 'button', class: 'plain', on: { click: async () => back((await get(`/api/v1/recipes/${encodeURIComponent(r.name)}/versions/${v.hash}`)).text) } }, 'Back to this') : ''])));
    } catch (e) { el.append(h('p', {}, e.message)); }
  });
  return el;
}
