// One batch: what it came to, and what people enter of it afterwards. Nothing is
// overwritten: a correction is a further entry, and all of them are listed.
import { h, put, text, num, known, unit, span, day, s, plain, table } from './dom.js';
import { words } from './words.js';
import { get, post } from './link.js';
import { field, form } from './forms.js';

export const offTarget = b => known(b.drop_c) && known(b.target_drop_c) ? b.drop_c - b.target_drop_c : null;
export function result(b) {
  const d = offTarget(b);
  if (b.result !== 'done') return words.results[b.result];
  return !known(d) ? words.results.done : Math.abs(d) < 0.050 ? 'dropped on target' : `dropped ${num(Math.abs(d), 1)}\u202f°C ${d < 0 ? 'below' : 'above'} target`;
}
export const lossText = b => known(b.weighed_loss) ? `loss ${num(100 * b.weighed_loss, 1)}\u202f%` : known(b.loss_at_drop) ? `loss about ${num(100 * b.loss_at_drop, 1)}\u202f%` : '';
const grams = kg => known(kg) ? `${num(1000 * kg)}\u202fg` : '–';
const CUP = ['aroma', 'flavour', 'aftertaste', 'acidity', 'body', 'balance', 'uniformity', 'clean cup', 'sweetness', 'overall', 'total'];

export function batchView(ctx, id, el, changed) {
  const path = `/api/v1/batches/${encodeURIComponent(id)}`;
  let told = '', asked = 0;
  // An answer that a later one has overtaken is old and is not shown.
  const load = () => { const n = ++asked; return get(path).then(b => { if (n === asked) show(b); }).catch(e => put(el, h('p', {}, e.message))); };
  const enter = (who, f, value, item = '') => post(`${path}/entries`, { who, field: f, value, ...(item ? { item } : {}) });
  const again = t => { told = t; load(); changed(); return t; };

  // standing gives what counts now of each field and item.
  function standing(b) {
    const now = new Map();
    for (const e of b.entries) now.set(`${e.field}/${e.item}`, e);
    return (f, item = '') => now.get(`${f}/${item}`)?.after || '';
  }

  // changes enters those fields that say something else than before.
  async function changes(who, list) {
    let n = 0;
    for (const [f, fd, was, item] of list) {
      let v = fd.text;
      if (fd.input.inputMode === 'decimal') {
        const x = fd.number;
        if (Number.isNaN(x)) throw new Error(words.noNumber(v));
        v = x === null ? '' : String(x);
      }
      if (v === was) continue;
      await enter(who, f, v, item);
      n++;
    }
    if (!n) return words.nothingNew;
    return again(words.keptOf(n));
  }

  function weightForm(b, open) {
    const roasted = field('Roasted mass', { unit: 'g', number: true, value: known(b.weighed_kg) ? String(Math.round(b.weighed_kg * 1e4) / 10) : '' });
    const green = field('Green mass charged', { unit: 'g', number: true, value: String(Math.round((known(b.weighed_green_kg) ? b.weighed_green_kg : b.green_kg) * 1e4) / 10) });
    const live = h('p', { class: 'weighed', 'aria-live': 'polite' });
    const tell = () => {
      const r = roasted.number, g = green.number, est = known(b.loss_at_drop) ? `estimated at the drop: ${num(100 * b.loss_at_drop, 1)}\u202f%` : 'no estimate was kept';
      if (!r || !g || r >= g) return text(live, `Loss, ${est}.`);
      const loss = 100 * (1 - r / g), d = known(b.loss_at_drop) ? loss - 100 * b.loss_at_drop : null;
      return text(live, `Loss ${num(loss, 1)}\u202f% by the scale; ${est}${known(d) ? `, ${Math.abs(d) < 0.050 ? 'the same' : `${num(Math.abs(d), 1)} points ${d > 0 ? 'more' : 'less'} by the scale`}` : ''}.`);
    };
    for (const f of [roasted, green]) f.input.addEventListener('input', tell);
    tell();
    return form(ctx, known(b.weighed_kg) ? 'Roasted mass' : 'Roasted mass: waiting for weight', [roasted.el, green.el], known(b.weighed_kg) ? 'Weigh anew' : 'Enter roasted mass', async who => {
      const r = roasted.number, g = green.number;
      if (!r || !g) throw new Error(words.noNumber(roasted.text || green.text));
      const w = await post(`${path}/weight`, { roasted_g: r, green_g: g, who });
      return again(`Kept: ${num(1000 * w.roasted_kg, 0)}\u202fg, loss ${num(100 * w.loss, 1)}\u202f%. Learning: ${w.taught}.`);
    }, { note: live, open });
  }

  function greenForm(b, at) {
    const lot = field('Lot', { value: at('lot'), maxlength: 100, list: 'lots' }), moisture = field('Moisture', { unit: '%', number: true, value: at('moisture_pct') });
    const density = field('Density', { unit: 'g/l', number: true, value: at('density_g_per_l') }), charge = field('Charge mass', { unit: 'g', number: true, value: at('charge_g'), hint: `recipe: ${grams(b.green_kg)}` });
    return form(ctx, 'Green coffee', [lot.el, moisture.el, density.el, charge.el], 'Keep green coffee', who => changes(who, [['lot', lot, at('lot')], ['moisture_pct', moisture, at('moisture_pct')], ['density_g_per_l', density, at('density_g_per_l')], ['charge_g', charge, at('charge_g')]]), { open: !at('lot') });
  }

  function noteForm(b, at) {
    const items = [...new Set(b.entries.filter(e => e.field === 'note').map(e => e.item))].filter(i => at('note', i));
    const fresh = field('A further note', { long: true });
    const old = items.map(i => [i, field(`Note ${i}`, { long: true, value: at('note', i), hint: `by ${b.entries.findLast(e => e.field === 'note' && e.item === i).who}` })]);
    return form(ctx, items.length ? `Notes (${items.length})` : 'Notes', [old.map(([, f]) => f.el), fresh.el], 'Keep notes', async who => {
      const list = old.map(([i, f]) => ['note', f, at('note', i), i]);
      if (fresh.text) list.push(['note', fresh, '', '']);
      return changes(who, list);
    }, { open: items.length > 0 });
  }

  function tagForm(b) {
    const one = field('Tags', { value: b.tags.join(' '), hint: 'words, by blanks' });
    return form(ctx, b.tags.length ? `Tags: ${b.tags.join(' ')}` : 'Tags', [one.el], 'Keep tags', async who => {
      const want = new Set(one.text.toLowerCase().split(/[\s,]+/).filter(Boolean)), have = new Set(b.tags);
      for (const t of want) if (!have.has(t)) await enter(who, 'tag', 'yes', t);
      for (const t of have) if (!want.has(t)) await enter(who, 'tag', '', t);
      return again(words.kept);
    }, { open: false });
  }

  function cupForm(b, at) {
    const scores = CUP.map(i => [i, field(i === 'total' ? 'Total' : i[0].toUpperCase() + i.slice(1), { number: true, value: at('cup', i), unit: i === 'total' ? 'of 100' : 'of 10' })]);
    const comment = field('In words', { long: true, value: at('cup_comments') });
    return form(ctx, at('cup', 'total') ? `Cup: ${at('cup', 'total')} of 100` : 'Cup', [scores.map(([, f]) => f.el), comment.el], 'Keep cup', who => changes(who, [...scores.map(([i, f]) => ['cup', f, at('cup', i), i]), ['cup_comments', comment, at('cup_comments')]]), { open: false });
  }

  const history = b => b.entries.length ? [h('h3', {}, 'Entered, oldest first'), table('Entries', ['When', 'Who', 'What', 'Before', 'Entered'],
    b.entries.map(e => [day(e.when), e.who, `${words.entered[e.field] || plain(e.field)}${e.item ? ` ${e.item}` : ''}`, e.before || '–', e.after || 'taken back']))] : null;

  function show(b) {
    const at = standing(b), kept = h('p', { class: 'answer', role: 'status' }, told), done = b.result === 'done', wait = done && !known(b.weighed_kg);
    told = '';
    const facts = [['Recipe', b.recipe], ['Charged', day(b.charged)], ['Lot', b.lot || 'not entered'], ['Green coffee', grams(known(b.weighed_green_kg) ? b.weighed_green_kg : b.green_kg)], ['Roasted', known(b.weighed_kg) ? grams(b.weighed_kg) : 'not weighed'],
      ['Loss, weighed', known(b.weighed_loss) ? unit(100 * b.weighed_loss, 1, '%') : '–'], ['Loss, estimate', known(b.loss_at_drop) ? unit(100 * b.loss_at_drop, 1, '%') : '–'], ['Turning point', known(b.turn_s) ? `${span(b.turn_s)}, ${unit(b.turn_c, 1, '°C')}` : '–'],
      ['First crack', known(b.first_crack_s) ? span(b.first_crack_s) : 'not heard'], ['Drop', known(b.drop_s) ? `${span(b.drop_s)}, ${unit(b.drop_c, 1, '°C')}` : '–'],
      ['Development', known(b.development_s) ? `${span(b.development_s)}, ${num(100 * b.development_ratio, 1)}\u202f%` : '–'], ['Distance from target', known(b.off_curve_rms_c) ? `${unit(b.off_curve_rms_c, 1, '°C')} rms` : '–'], ['Energy', unit(b.energy_kwh, 2, 'kWh')], ['Cup', known(b.cup_total) ? num(b.cup_total, 1) : '–']];
    put(el, h('a', { class: 'back', href: '#batches' }, 'Back'), h('h2', {}, `Batch ${b.id}: ${result(b)}`), kept, wait && ctx.here ? weightForm(b, true) : null,
      h('p', { class: 'links' }, h('a', { href: `${path}/report`, target: '_blank', rel: 'noopener' }, 'Report to print'), b.lot ? h('a', { href: `/api/v1/reports/lot?name=${encodeURIComponent(b.lot)}`, target: '_blank', rel: 'noopener' }, 'All of this lot') : null,
        done && ctx.here ? h('a', { href: `#recipes/+${b.id}` }, 'Make a recipe of it') : null),
      h('dl', { class: 'facts' }, facts.map(([k, v]) => h('div', {}, h('dt', {}, k), h('dd', {}, v)))), lane(b),
      ctx.here ? h('div', { class: 'entries' }, !wait && known(b.drop_s) ? weightForm(b, false) : null, greenForm(b, at), noteForm(b, at), cupForm(b, at), tagForm(b)) : [noteList(b, at), h('p', { class: 'soft' }, words.looking)],
      history(b), h('h3', {}, 'What happened'), table('Events', ['When', 'What', 'Words'], b.events.map(e => [day(e.time), e.kind, e.text || plain(e.name)])));
  }
  load();
}

function noteList(b, at) {
  const items = [...new Set(b.entries.filter(e => e.field === 'note').map(e => e.item))].filter(i => at('note', i));
  return items.length ? h('ul', {}, items.map(i => h('li', {}, at('note', i)))) : null;
}

// lane is the whole roast, pulled straight: the probe's difference from target.
function lane(b) {
  const from = known(b.turn_s) ? b.turn_s + 60 : 0;
  const pts = b.samples.filter(x => known(x.since_charge_s) && x.since_charge_s >= from && known(x.target_c) && known(x.temperatures_c.bean?.value) && (!known(b.drop_s) || x.since_charge_s <= b.drop_s + 1)).map(x => ({ t: x.since_charge_s, y: x.temperatures_c.bean.value - x.target_c }));
  if (pts.length < 2) return null;
  const W = Math.max(330, Math.min(720, innerWidth - 30)), H = 150, end = pts.at(-1).t, x = t => 60 + (W - 70) * t / end, y = v => 65 - Math.max(-8, Math.min(8, v)) * 50 / 8;
  let d = '', last = -9;
  for (const p of pts.filter((_, i) => i % Math.ceil(pts.length / 600) === 0)) { d += `${p.t - last > 5 * Math.ceil(pts.length / 600) ? 'M' : 'L'}${x(p.t).toFixed(1)} ${y(p.y).toFixed(1)}`; last = p.t; }
  const marks = [['turn', b.turn_s], ['first crack', b.first_crack_s], ['drop', b.drop_s]].filter(m => known(m[1]) && m[1] <= end + 1);
  return h('figure', {}, s('svg', { class: 'lane', viewBox: `0 0 ${W} ${H}`, role: 'img', 'aria-label': 'Difference of the bean probe from target over the roast' },
    s('rect', { x: 60, y: 15, width: W - 70, height: 100, class: 'well' }), s('rect', { x: 60, y: 15, width: x(pts[0].t) - 60, height: 100, fill: 'url(#hatch)' }), s('rect', { x: 60, y: y(1.500), width: W - 70, height: y(-1.500) - y(1.500), class: 'corridor' }), s('line', { x1: 60, x2: W - 10, y1: 65, y2: 65, class: 'hair' }),
    [[8, '8 above'], [0, 'target'], [-8, '8 below']].map(([v, t]) => s('text', { x: 54, y: y(v) + 4, class: 'axis end' }, t)), s('path', { d, class: 'trace' }),
    marks.map(([t, at], i) => [s('line', { x1: x(at), x2: x(at), y1: 15, y2: 119, class: 'flag' }), s('text', { x: Math.min(x(at), W - 4), y: 132 + (i === 1 && marks[2] && x(marks[2][1]) - x(at) < 150 ? 14 : 0), class: `axis ${x(at) > W - 60 ? 'end' : 'mid'}` }, `${t} ${span(at)}`)])), h('figcaption', { class: 'soft' }, 'Bean probe minus target, °C, from charge to drop. Hatched: the probe settles.'));
}
