// The batches that are kept.
import { h, put, num, known, unit, span, day, s, plain } from './dom.js';
import { words } from './words.js';
import { get } from './link.js';

const RESULT = { open: 'running', done: 'done', aborted: 'aborted' };

function off(b) { return known(b.drop_c) && known(b.target_drop_c) ? b.drop_c - b.target_drop_c : null; }
function result(b) {
  const d = off(b);
  return b.result !== 'done' ? RESULT[b.result] : known(d) ? `dropped ${num(Math.abs(d), 1)}\u202f°C ${d < 0 ? 'below' : 'above'} target` : 'done';
}

export function batchesPage(ctx, chosen) {
  const list = h('div', { class: 'list' }), detail = h('div', { class: 'detail' });
  const el = h('div', { class: `page two ${chosen ? 'chosen' : ''}` }, h('div', {}, h('h1', {}, words.pages.batches), list), detail);
  const rows = [];
  async function more(before) {
    try {
      const { batches } = await get(`/api/v1/batches?limit=50${before ? `&before=${before}` : ''}`);
      rows.push(...batches);
      put(list, rows.length ? rows.map(b => h('a', { class: 'row', href: `#batches/${b.id}`, 'aria-current': String(b.id) === chosen ? 'true' : null }, h('strong', {}, `${b.id} · ${b.recipe}`), h('span', {}, day(b.charged)), h('span', { class: 'soft' }, result(b)))) : h('p', {}, 'No batch is kept yet.'),
        batches.length === 50 ? ctx.button({ label: 'Older batches', act: () => more(rows.at(-1).id) }) : null);
    } catch (e) { put(list, h('p', {}, e.message)); }
  }
  more();
  if (chosen) get(`/api/v1/batches/${encodeURIComponent(chosen)}`).then(show).catch(e => put(detail, h('p', {}, e.message)));
  else put(detail, h('p', { class: 'soft' }, 'Choose a batch to read it.'));

  function show(b) {
    put(detail, h('a', { class: 'back', href: '#batches' }, 'Back'), h('h2', {}, `Batch ${b.id}: ${result(b)}`),
      h('dl', { class: 'facts' }, [['Recipe', b.recipe], ['Charged', day(b.charged)], ['Green coffee', known(b.green_kg) ? `${num(1000 * b.green_kg)}\u202fg` : '–'], ['Turn', known(b.turn_s) ? `${span(b.turn_s)}, ${unit(b.turn_c, 1, '°C')}` : '–'],
        ['First crack', span(b.first_crack_s)], ['Drop', known(b.drop_s) ? `${span(b.drop_s)}, ${unit(b.drop_c, 1, '°C')}` : '–'],
        ['Development', known(b.first_crack_s) && known(b.drop_s) ? `${span(b.drop_s - b.first_crack_s)}, ${num(100 * (b.drop_s - b.first_crack_s) / b.drop_s, 1)}\u202f%` : '–'], ['Loss, estimate', known(b.loss_at_drop) ? unit(100 * b.loss_at_drop, 1, '%') : '–']].map(([k, v]) => h('div', {}, h('dt', {}, k), h('dd', {}, v)))),
      lane(b), h('h3', {}, 'What happened'), h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Events' }, h('table', {}, h('thead', {}, h('tr', {}, ['When', 'What', 'Words'].map(t => h('th', { scope: 'col' }, t)))), h('tbody', {}, b.events.map(e => h('tr', {}, h('td', {}, day(e.time)), h('td', {}, e.kind), h('td', {}, e.text || plain(e.name))))))));
  }
  return { el, update() {} };
}

// lane is the whole roast, pulled straight: the probe's difference from target.
function lane(b) {
  const pts = b.samples.filter(x => known(x.since_charge_s) && known(x.target_c) && known(x.temperatures_c.bean?.value)).map(x => ({ t: x.since_charge_s, y: x.temperatures_c.bean.value - x.target_c }));
  if (pts.length < 2) return null;
  const W = 720, H = 150, end = pts.at(-1).t, x = t => 60 + (W - 70) * t / end, y = v => 65 - Math.max(-8, Math.min(8, v)) * 50 / 8;
  let d = '', last = -9;
  for (const p of pts.filter((_, i) => i % Math.ceil(pts.length / 600) === 0)) { d += `${p.t - last > 5 ? 'M' : 'L'}${x(p.t).toFixed(1)} ${y(p.y).toFixed(1)}`; last = p.t; }
  const marks = [['turn', b.turn_s], ['first crack', b.first_crack_s], ['drop', b.drop_s]].filter(m => known(m[1]) && m[1] <= end + 1);
  return h('figure', {}, s('svg', { class: 'lane', viewBox: `0 0 ${W} ${H}`, role: 'img', 'aria-label': 'Difference of the bean probe from target over the roast' },
    s('rect', { x: 60, y: 15, width: W - 70, height: 100, class: 'well' }), s('rect', { x: 60, y: y(1.500), width: W - 70, height: y(-1.500) - y(1.500), class: 'corridor' }), s('line', { x1: 60, x2: W - 10, y1: 65, y2: 65, class: 'hair' }),
    [[8, '8 above'], [0, 'target'], [-8, '8 below']].map(([v, t]) => s('text', { x: 54, y: y(v) + 4, class: 'axis end' }, t)), s('path', { d, class: 'trace' }),
    marks.map(([t, at]) => [s('line', { x1: x(at), x2: x(at), y1: 15, y2: 119, class: 'flag' }), s('text', { x: Math.min(x(at), W - 24), y: 132, class: 'axis mid' }, `${t} ${span(at)}`)])), h('figcaption', { class: 'soft' }, 'Bean probe minus target, °C, from charge to drop.'));
}
