// Who did what: each command and change that was asked for, and what became of it.
// The daemon decides who may read it.
import { h, put, text, day } from './dom.js';
import { words } from './words.js';
import { get } from './link.js';
import { field } from './forms.js';

const PAGE = 100; // rows at a time

const moment = iso => `${day(iso)}:${String(new Date(iso).getSeconds()).padStart(2, '0')}`;
const who = a => a.account ? `${a.account}, ${a.role}` : a.who ? `${a.who}, ${words.notSignedIn}` : '–';
const place = a => a.local ? words.here : a.source;

function row(a) {
  return h('tr', {}, h('td', {}, moment(a.when)), h('td', {}, who(a)), h('td', {}, place(a)), h('td', {}, a.action, a.detail ? h('div', { class: 'soft' }, a.detail) : null),
    h('td', {}, a.accepted ? words.wasDone : h('strong', {}, words.wasRefused), a.reason ? h('div', {}, a.reason) : null));
}

export function auditPage(ctx) {
  const from = field('From', { type: 'date' }), to = field('To', { type: 'date' }), only = h('input', { type: 'checkbox' });
  const body = h('tbody'), table = h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': words.whoDidWhat, hidden: true }, h('table', {}, h('thead', {}, h('tr', {}, ['When', 'Who', 'From where', 'Asked', 'Became of it'].map(t => h('th', { scope: 'col' }, t)))), body));
  const answer = h('p', { class: 'answer', role: 'status' }), older = h('div', { class: 'buttons two' });
  let asked = 0;
  // show reads the newest rows, or those before a number.
  async function show(before = 0) {
    const n = ++asked, q = new URLSearchParams({ limit: PAGE });
    if (from.text) q.set('from', from.text);
    if (to.text) { const d = new Date(`${to.text}T00:00:00Z`); d.setUTCDate(d.getUTCDate() + 1); q.set('to', d.toISOString().slice(0, 10)); } // the whole of that day
    if (only.checked) q.set('refused', 'true');
    if (before) q.set('before', before);
    try {
      const { audit } = await get(`/api/v1/audit?${q}`);
      if (n !== asked) return;
      if (!before) body.replaceChildren();
      body.append(...audit.map(row));
      table.hidden = !body.children.length;
      text(answer, table.hidden ? words.nothingAsked : '');
      put(older, audit.length === PAGE ? ctx.button({ label: 'Older', act: () => show(audit.at(-1).n) }) : null);
    } catch (e) {
      if (n !== asked) return;
      if (!before) { body.replaceChildren(); table.hidden = true; put(older); }
      text(answer, e.message);
    }
  }
  const filter = h('form', { class: 'filter' }, h('div', { class: 'fields' }, from.el, to.el, h('label', { class: 'field' }, h('span', {}, words.onlyRefused), only)), h('div', { class: 'line end' }, h('button', { type: 'submit', class: 'b' }, h('span', { class: 'label' }, 'Show'))));
  filter.addEventListener('submit', ev => { ev.preventDefault(); show(); });
  show();
  return { el: h('div', { class: 'page' }, h('h1', {}, words.whoDidWhat), h('p', { class: 'links' }, h('a', { href: '#machine' }, words.backNow)), h('p', { class: 'soft' }, words.auditIs), h('details', { class: 'panel' }, h('summary', {}, 'Search'), filter), answer, table, older), update() {} };
}
