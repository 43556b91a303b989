// The bar of alarms on top of every page, and the page of alarms.
import { h, put, text, num, known, mark, plain, day, table } from './dom.js';
import { words } from './words.js';
import { get } from './link.js';

const rank = { critical: 3, high: 2, medium: 1, low: 0 };
const waits = a => /-?unacknowledged$/.test(a.state);

export function worst(list) {
  return [...list].sort((a, b) => (b.first_out - a.first_out) || (waits(b) - waits(a)) || rank[b.priority] - rank[a.priority])[0];
}

export function bar(el) {
  let key = '';
  return (view, lost) => {
    const list = view?.alarms || [], a = worst(list), k = JSON.stringify([lost, list.map(x => [x.cause, x.state, x.first_out])]);
    if (k === key) return;
    key = k;
    el.className = a ? `p${{ critical: 1, high: 1, medium: 2, low: 3 }[a.priority]} ${waits(a) && a.priority !== 'low' ? 'calls' : ''}` : '';
    const more = list.length - 1;
    put(el, a
      ? h('a', { href: '#alarms', class: 'alarm' }, mark(a.priority), h('span', { class: 'alarmtext' }, h('strong', {}, `${words.prio[a.priority]}: ${a.first_out ? 'First: ' : ''}${a.text}`), ' ',
        h('span', { class: 'soft' }, `${known(a.value) ? `${num(a.value, 1)} ${a.unit} ` : ''}${waits(a) ? 'not acknowledged' : a.acknowledged_by ? `seen by ${a.acknowledged_by}` : ''}${more > 0 ? `, ${words.more(more)}` : ''}`)))
      : h('p', {}, h('strong', {}, lost ? words.lost : words.noAlarms)), h('a', { href: '#alarms', class: 'all' }, 'All alarms'));
  };
}

const states = { normal: 'normal', unacknowledged: 'standing, not acknowledged', acknowledged: 'standing, acknowledged', 'returned-unacknowledged': 'gone, not yet seen', 'latched-unacknowledged': 'latched, not acknowledged', 'latched-acknowledged': 'latched, acknowledged' };

export function alarmsPage(ctx) {
  const now = h('div'), past = h('div'), el = h('div', { class: 'page' }, h('h1', {}, words.pages.alarms), now, h('h2', {}, 'History'), past);
  let key = '';
  async function history() {
    try {
      const { alarms } = await get('/api/v1/alarms/history?limit=200');
      put(past, table('History of alarms', ['When', 'What', 'Cause', 'Words', 'Batch'], alarms.map(a => [day(a.time), a.kind, plain(a.name), a.text, a.batch || ''])));
    } catch (e) { put(past, h('p', {}, e.message)); }
  }
  history();
  return {
    el,
    update() {
      const list = ctx.alarms?.alarms || [], k = JSON.stringify([list, ctx.offers.acknowledge]);
      if (k === key) return;
      if (key) history();
      key = k;
      put(now, list.length ? list.map(a => h('article', { class: `alarmcard p${{ critical: 1, high: 1, medium: 2, low: 3 }[a.priority]}` },
        h('h3', {}, mark(a.priority), `${words.prio[a.priority]}: ${a.text}`), h('p', {}, `${a.first_out ? 'First cause. ' : ''}${states[a.state] || plain(a.state)}${a.acknowledged_by ? `, seen by ${a.acknowledged_by}` : ''}${a.suppressed ? ', held back from sound' : ''}${a.chattering ? ', comes and goes' : ''}. ` +
          (known(a.value) ? `Value ${num(a.value, 1)} ${a.unit}${known(a.limit) ? `, limit ${num(a.limit, 1)} ${a.unit}` : ''}.` : '')),
        h('p', { class: 'soft' }, plain(a.cause)),
        waits(a) && ctx.here ? ctx.button({ label: 'Acknowledge', act: b => ctx.command({ kind: 'acknowledge', cause: a.cause }, b) }) : null)) : h('p', {}, words.noAlarms));
    },
  };
}
