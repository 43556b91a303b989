// Fields and small forms. Numbers are typed with comma or point. Nothing is kept
// without a name, and what became of it stands beside the button.
import { h, text } from './dom.js';
import { words } from './words.js';

// decimal reads a number as people write it; null for nothing, NaN for no number.
export const decimal = t => { t = t.trim().replace(',', '.'); return t === '' ? null : /^\d+(\.\d+)?$/.test(t) ? Number(t) : NaN; };

export function field(label, { value = '', unit = '', number = false, long = false, hint = '', ...attrs } = {}) {
  const input = long ? h('textarea', { rows: 3, maxlength: 2000, ...attrs }) : h('input', { type: 'text', autocomplete: 'off', inputmode: number ? 'decimal' : null, ...attrs });
  input.value = value;
  const el = h('label', { class: `field ${number ? 'short' : ''}` }, h('span', {}, label, unit ? h('span', { class: 'soft' }, `, ${unit}`) : null), input, hint ? h('span', { class: 'soft hintline' }, hint) : null);
  return { el, input, get text() { return input.value.trim(); }, get number() { return decimal(input.value); } };
}

// form keeps what its fields say: save(who) does it and gives the sentence to
// show, or throws the reason against it.
export function form(ctx, title, fields, label, save, { note = null, open = true } = {}) {
  const answer = h('p', { class: 'answer', role: 'status' });
  const go = h('button', { type: 'submit', class: 'b' }, h('span', { class: 'label' }, label));
  const f = h('form', { class: 'entry', novalidate: true }, h('div', { class: 'fields' }, fields), note, h('div', { class: 'line end' }, go), answer);
  f.addEventListener('submit', async ev => {
    ev.preventDefault();
    if (go.hasAttribute('aria-busy')) return;
    const who = await ctx.name(label);
    if (!who) return;
    go.setAttribute('aria-busy', 'true');
    text(answer, words.sent);
    try { text(answer, await save(who) || words.kept); } catch (e) { text(answer, `${words.notKept}: ${e.message}`); }
    go.removeAttribute('aria-busy');
  });
  return h('details', { class: 'panel', open }, h('summary', {}, title), f);
}
