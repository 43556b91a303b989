// The bean lane and the rise lane: the plan pulled straight, so that one degree
// is seen. Drawn by hand as SVG: a chart of curves over time is just what they
// are not, and screen readers, forced colours and print get them for nothing.
import { h, s, put, text, num, known, span, unit } from './dom.js';
import { words } from './words.js';
import { health } from './link.js';

const MOST = 600; // points a line
const HEAD = 116; // room for the number beside the rise lane, which keeps the axis of the bean lane

// curveAt is the wanted temperature t seconds after charge.
export function curveAt(points, t) {
  if (!points?.length || t < points[0].at_s) return null;
  for (let i = 1; i < points.length; i++) {
    const a = points[i - 1], b = points[i];
    if (t <= b.at_s) return a.bean_c + (b.bean_c - a.bean_c) * (t - a.at_s) / (b.at_s - a.at_s);
  }
  return null;
}

// planAt is the same of the curve as it was changed on the way: from from_s on the
// rest of it, from curve_s, ends at end_s and is raised by from_k at first, by
// end_k at its end.
export function planAt(points, a, t) {
  if (!a || t < a.from_s) return curveAt(points, t);
  const share = (t - a.from_s) / (a.end_s - a.from_s), c = share > 1 ? null : curveAt(points, a.curve_s + share * (points.at(-1).at_s - a.curve_s));
  return known(c) ? c + a.from_k + share * (a.end_k - a.from_k) : null;
}

// hole is the longest time between two samples, which come once a second of
// life, that is no gap.
const hole = scale => 2.500 * Math.max(1, scale);

// path makes a line of runs: broken at a gap, and what was not measured is not
// drawn.
function path(list, x, y, scale) {
  let d = '', last = -Infinity;
  const step = Math.max(1, Math.ceil(list.length / MOST));
  for (let i = 0; i < list.length; i += step) {
    const p = list[i];
    if (!known(p.y)) { last = -Infinity; continue; }
    d += `${p.t - last > hole(scale) * step ? 'M' : 'L'}${x(p.t).toFixed(1)} ${y(p.y).toFixed(1)}`;
    last = p.t;
  }
  return d;
}

function gaps(list, x, top, height, from, scale) {
  const kids = [];
  let last = null;
  for (const p of list) {
    if (!known(p.y) || p.t < from) continue;
    if (last !== null && p.t - last > hole(scale)) kids.push(s('rect', { x: x(last), y: top, width: Math.max(1, x(p.t) - x(last)), height, fill: 'url(#hatch)' }));
    last = p.t;
  }
  return kids;
}

// zoom is how much larger a wall screen is drawn: its axis must be read from 3 m.
const zoom = () => Math.max(1, Math.min(14, innerWidth * 0.00625) / 8);

export function lanes() {
  const big = h('span', { class: 'bignum' }), target = h('p', { class: 'target' }), itself = h('p', { class: 'itself' }), scaleWords = h('p', { class: 'scalewords' });
  const lane = s('svg', { class: 'lane', role: 'img', 'aria-label': 'Bean probe against target', preserveAspectRatio: 'none' });
  const rise = s('svg', { class: 'rise', role: 'img', 'aria-label': 'Rate of rise against plan' });
  const rateNum = h('span', { class: 'ratenum' }), ratePlan = h('p', { class: 'plan' });
  const table = h('tbody');
  const bean = h('section', { class: 'panel bean', 'aria-label': 'Bean probe' },
    h('div', { class: 'beanhead' }, h('div', {}, h('p', { class: 'name' }, 'Bean probe'), big), h('div', { class: 'beside' }, target, itself), scaleWords), lane,
    h('details', { class: 'twin' }, h('summary', {}, words.text), h('table', {}, h('thead', {}, h('tr', {}, ['since charge', 'target °C', 'bean probe °C', 'difference'].map(t => h('th', { scope: 'col' }, t)))), table)));
  const riseEl = h('section', { class: 'panel riseline', 'aria-label': 'Rate of rise', title: words.riseTip }, h('div', { class: 'risehead' }, h('p', { class: 'name' }, words.rise), h('p', {}, rateNum), ratePlan), rise);
  const rail = s('svg', { class: 'rail', role: 'img', 'aria-label': 'Progress by estimated loss' });
  const railNum = h('span', { class: 'railnum' });
  const railEl = h('section', { class: 'panel railline', 'aria-label': 'Progress by loss' }, h('div', { class: 'line' }, h('p', { class: 'name' }, 'Progress by loss'), railNum), rail);
  let beyond = 0, wide = false, batch = 0, farthest = 0;

  // frame is the axis of both lanes: the now line stands at 60 % of the width.
  function frame(now, scale) {
    const w = (lane.clientWidth || 600) / zoom();
    const back = w < 420 ? 180 : w > 1000 ? 360 : 270, left = 74, nowX = left + 0.600 * (w - left - 6);
    const perS = (nowX - left) / back;
    return { w, left, nowX, scale, now, from: now - back, to: now + (w - 6 - nowX) / perS, x: t => nowX + (t - now) * perS };
  }

  function drawBean(f, list, curve, dropS, range, bean, b) {
    const H = 142, top = 10, hgt = 102, mid = top + hgt / 2, y = v => mid - Math.max(-range, Math.min(range, v)) * hgt / 2 / range;
    const kids = [s('rect', { x: f.left, y: top, width: f.w - 6 - f.left, height: hgt, class: wide ? 'well wide' : 'well' }),
      s('rect', { x: f.left, y: y(1.500), width: f.w - 6 - f.left, height: y(-1.500) - y(1.500), class: 'corridor' }),
      s('line', { x1: f.left, x2: f.w - 6, y1: mid, y2: mid, class: 'hair' })];
    for (const [v, t] of [[range, `${range} above`], [0, 'target'], [-range, `${range} below`]]) kids.push(s('text', { x: f.left - 6, y: y(v) + 4, class: 'axis end' }, t));
    const every = (f.to - f.from) / f.w > 0.750 ? 120 : 60;
    for (let left = Math.ceil((dropS - f.to) / every) * every; dropS - left >= f.from; left += every) {
      const t = dropS - left, c = planAt(curve, b?.amended, t), X = f.x(t);
      if (!known(c) || X < f.left + 28 || X > f.w - 36) continue;
      kids.push(s('line', { x1: X, x2: X, y1: top + hgt, y2: top + hgt + 4, class: 'edge' }), s('text', { x: X, y: top + hgt + 15, class: 'axis mid' }, `${num(c, 0)}\u202f°C`),
        s('text', { x: X, y: top + hgt + 28, class: 'axis mid soft' }, left === 0 ? 'drop' : left > 0 ? `${left / 60} min left` : `${span(-left)} past`));
    }
    if (f.x(dropS) > f.left && f.x(dropS) < f.w - 6) kids.push(s('line', { x1: f.x(dropS), x2: f.x(dropS), y1: top, y2: top + hgt, class: 'flag' }));
    const settled = known(b?.turn_s) ? b.turn_s + 60 : Infinity, dev = list.filter(p => p.t >= f.from).map(p => ({ t: p.t, y: p.t >= settled && known(p.bean) && known(p.target) ? p.bean - p.target : null }));
    kids.push(...gaps(dev, f.x, top, hgt, f.from, f.scale), s('path', { d: path(dev, f.x, y, f.scale), class: health() === 'live' ? 'trace' : 'trace old' }));
    const last = dev.at(-1);
    if (health() === 'live') kids.push(...aheadOf(f, last?.y, dropS, bean, b, y, top, hgt));
    if (last && known(last.y) && Math.abs(last.y) > range) kids.push(s('path', { d: last.y > 0 ? `M${f.nowX - 8} ${top + 10}l8-8 8 8` : `M${f.nowX - 8} ${top + hgt - 10}l8 8 8-8`, class: 'chevron' }));
    if (health() === 'live') kids.push(s('line', { x1: f.nowX, x2: f.nowX, y1: top - 6, y2: top + hgt + 6, class: 'nowline' }), s('text', { x: f.nowX + 5, y: top + 10, class: 'axis strong' }, 'now'));
    else kids.push(s('rect', { x: f.left, y: top, width: f.w - 6 - f.left, height: hgt, class: 'veil' }));
    put(lane, kids);
    lane.setAttribute('viewBox', `0 0 ${f.w} ${H}`);
  }

  // aheadOf draws the minutes to come. The bean loop says by how much it will miss
  // the curve's end and how late; the line leads from the difference now to
  // there, and the fan is as wide as the estimate is unsure (19 times in 20).
  // Where the curve can be followed, a difference is led away in some two minutes.
  function aheadOf(f, off, dropS, bean, b, y, top, hgt) {
    const kids = [], end = Math.min(f.to, dropS), late = known(bean?.late_s) ? bean.late_s : 0;
    if (known(b?.first_crack_due_s) && !known(b.first_crack_s)) {
      const sd = b.first_crack_due_sd_s || 0, a = Math.max(f.x(b.first_crack_due_s - 2 * sd), f.nowX), z = Math.min(f.x(b.first_crack_due_s + 2 * sd), f.w - 6);
      if (z > a) kids.push(s('rect', { x: a, y: top, width: z - a, height: hgt, fill: 'url(#hatch)' }), s('text', { x: Math.min((a + z) / 2, f.w - 40), y: top + 10, class: 'axis mid' }, words.crackDue));
    }
    if (late >= 5 && f.x(dropS + late) < f.w - 6) kids.push(s('line', { x1: f.x(dropS + late), x2: f.x(dropS + late), y1: top, y2: top + hgt, class: 'flag' }), s('text', { x: f.x(dropS + late) + 4, y: top + hgt - 5, class: 'axis' }, `drop ${num(late)}\u202fs late`));
    if (!known(off) || end <= f.now) return kids;
    const short = known(bean?.short_c) ? bean.short_c : 0, sd = bean?.true_sd_c || 0, rate = bean?.rate_sd_k_per_s || 0, mid = [], up = [], down = [];
    for (let i = 0; i <= 12; i++) {
      const t = f.now + (end - f.now) * i / 12, gone = t - f.now;
      const v = short > 0 ? off + (-short - off) * gone / Math.max(1, dropS - f.now) : off * Math.exp(-gone / 40), wide = 2 * Math.hypot(sd, rate * Math.min(gone, 90));
      const X = f.x(t).toFixed(1);
      mid.push(`${X} ${y(v).toFixed(1)}`); up.push(`${X} ${y(v + wide).toFixed(1)}`); down.unshift(`${X} ${y(v - wide).toFixed(1)}`);
    }
    kids.push(s('path', { d: `M${up.join('L')}L${down.join('L')}Z`, class: 'fan' }), s('path', { d: `M${mid.join('L')}`, class: 'trace ahead' }));
    if (bean?.bound) kids.push(s('line', { x1: f.nowX, x2: f.x(end), y1: top + hgt - 2, y2: top + hgt - 2, class: 'bound' }), s('text', { x: f.nowX + 6, y: top + hgt - 7, class: 'axis' }, words.heldBy(bean.bound)));
    return kids;
  }

  function drawRise(f, list) {
    const H = 72, top = 6, hgt = 58, left = f.left + HEAD, from = f.from + (HEAD / (f.nowX - f.left)) * (f.to - f.from) * (f.nowX - f.left) / (f.w - 6 - f.left), mid = top + hgt / 2, y = v => mid - Math.max(-4, Math.min(4, v)) * hgt / 8;
    const kids = [s('rect', { x: left, y: top, width: f.w - 6 - left, height: hgt, class: 'well' }), s('rect', { x: left, y: y(0.750), width: f.w - 6 - left, height: y(-0.750) - y(0.750), class: 'corridor' }),
      s('line', { x1: left, x2: f.w - 6, y1: mid, y2: mid, class: 'hair' })];
    for (const [v, t] of [[4, '+4'], [0, 'plan'], [-4, '−4']]) kids.push(s('text', { x: left - 6, y: y(v) + 4, class: 'axis end' }, t));
    const dev = list.filter(p => p.t >= from).map(p => ({ t: p.t, y: known(p.ror) && known(p.plan) ? 60 * (p.ror - p.plan) : null }));
    kids.push(s('path', { d: path(dev, f.x, y, f.scale), class: health() === 'live' ? 'trace' : 'trace old' }));
    if (health() === 'live') kids.push(s('line', { x1: f.nowX, x2: f.nowX, y1: 2, y2: top + hgt + 4, class: 'nowline' }));
    put(rise, kids);
    rise.setAttribute('viewBox', `0 0 ${f.w} ${H}`);
  }

  function drawRail(m, b, recipe) {
    const goal = recipe?.drop_loss, end = goal || recipe?.speeds?.at(-1)?.loss || 0.150, top = end + 0.015, w = (rail.clientWidth || 600) / zoom(), H = 58, y = 20, x = v => 4 + Math.max(0, Math.min(1, v / top)) * (w - 8);
    rail.setAttribute('viewBox', `0 0 ${w} ${H}`);
    const loss = m?.bean?.loss, sd = m?.bean?.loss_sd, trusted = known(sd) && 2 * sd <= 0.020;
    if (known(loss)) farthest = Math.max(farthest, loss);
    const kids = [s('rect', { x: 4, y, width: w - 8, height: 13, class: 'bar' })];
    if (known(loss)) kids.push(s('rect', { x: 4, y, width: x(farthest) - 4, height: 13, class: 'done' }));
    for (const sp of recipe?.speeds || []) {
      const X = x(sp.loss);
      kids.push(s('line', { x1: X, x2: X, y1: y - 4, y2: y, class: 'edge' }), s('text', { x: X, y: y - 8, class: `axis ${X < 30 ? '' : X > w - 40 ? 'end' : 'mid'}` }, num(sp.mm_per_s, 0) + (sp === recipe.speeds[0] ? '\u202fmm/s' : '')));
    }
    if (goal) kids.push(s('line', { x1: x(end), x2: x(end), y1: y - 4, y2: y + 20, class: 'wall' }), s('text', { x: Math.min(x(end), w - 18), y: y + 34, class: 'axis mid' }, 'drop'));
    if (known(loss)) kids.push(s('path', { d: `M${x(loss - 2 * sd)} ${y + 3}v7m0-3.500H${x(loss + 2 * sd)}m0-3.500v7`, class: 'whisker' }), s('path', { d: `M${x(farthest)} ${y + 4}l8 16h-16z`, class: trusted && health() === 'live' ? 'wedge' : 'wedge hollow' }));
    put(rail, kids);
    text(railNum, known(loss) ? `${num(100 * loss, 1)}\u202f% ±${num(200 * sd, 1)}${goal ? ` of ${num(100 * goal, 1)}\u202f%` : ''}` : words.noReading);
  }

  return {
    bean, rise: riseEl, rail: railEl,
    update({ now, measured, state, samples, recipe, scale }) {
      const b = state?.batch, roasting = now?.state === 'roasting' || now?.state === 'charging' || (now?.state === 'held' && b && !known(b.drop_s));
      const show = roasting && b && known(b.since_charge_s), lost = health() === 'lost';
      bean.hidden = riseEl.hidden = railEl.hidden = !show;
      if (!show) return;
      if (b.id !== batch) { batch = b.id; wide = false; beyond = 0; farthest = 0; }
      const t = samples.now, pt = measured.points?.bean, curve = recipe?.dense || [];
      const dropS = (b.amended?.end_s ?? curve.at(-1)?.at_s ?? recipe?.latest_s ?? 0) + (b.longer_s || 0), bad = lost || !pt || !known(pt.value), tgt = measured.bean.target_c;
      text(big, bad ? words.noReading : `${health() === 'slow' || pt.quality !== 'good' || now.in_doubt ? '≈ ' : ''}${unit(pt.value, 1, '°C')}`);
      big.classList.toggle('hollow', bad || health() !== 'live' || pt.quality !== 'good' || now.in_doubt);
      const off = known(tgt) && !bad ? pt.value - tgt : null;
      text(target, now.settling ? words.settling : known(off) ? `target ${unit(tgt, 1, '°C')}: ${num(Math.abs(off), 1)} ${off < 0 ? 'below' : 'above'}` : known(tgt) && !lost ? `target ${unit(tgt, 1, '°C')}` : '');
      text(itself, known(measured.bean.true_c) && !lost ? `the beans themselves ${unit(measured.bean.true_c, 1, '°C')} ±${num(2 * measured.bean.true_sd_c, 1)} (estimate)` : '');
      beyond = known(off) && Math.abs(off) > 8 && !now.settling ? beyond + 1 : 0;
      if (beyond > 20) wide = true;
      const range = wide ? 20 : 8;
      text(scaleWords, wide ? words.wide : words.laneAt(range));
      const laneOff = now.settling || !curve.length;
      lane.classList.toggle('gone', laneOff); scaleWords.hidden = laneOff;
      riseEl.hidden = laneOff;
      if (!laneOff) {
        const f = frame(t, scale);
        drawBean(f, samples.list, curve, dropS, range, measured.bean, b);
        drawRise(f, samples.list);
      }
      const { ror, plan } = samples.list.at(-1) || {};
      text(rateNum, lost || !known(ror) ? '–' : unit(60 * ror, 1, '°C/min'));
      text(ratePlan, known(ror) && known(plan) && !lost ? words.risePlan(num(60 * plan, 1)) : '');
      drawRail(lost ? null : measured, b, recipe);
      const rows = [];
      for (let at = Math.floor(t / 30) * 30; at > t - 600 && at > 0; at -= 30) {
        const p = samples.list.findLast(q => q.t <= at && q.t > at - 3);
        rows.push(h('tr', {}, h('th', { scope: 'row' }, span(at)), h('td', {}, num(p?.target, 1)), h('td', {}, p ? num(p.bean, 1) : words.noReading), h('td', {}, p && known(p.bean) && known(p.target) ? num(p.bean - p.target, 1) : '–')));
      }
      put(table, rows);
    },
  };
}
