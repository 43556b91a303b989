// The four strips: base, inlet air, drum, air flow. A gate of brackets is the set
// point with its tolerance, the wedge from below is what is measured, hatching
// begins where there is too little or too much, a wall is the trip.
import { h, s, put, text, num, known, mark } from './dom.js';
import { words } from './words.js';
import { health } from './link.js';

const MODE = { off: 'off', manual: 'MANUAL', automatic: 'auto', cascaded: 'from bean loop' };
const pct = (v, top) => `${Math.max(0, Math.min(100, 100 * v / top))}%`;
const at = (x, y, ...kids) => s('svg', { x, y, overflow: 'visible' }, ...kids);

export function defs() {
  return s('svg', { width: 0, height: 0, class: 'defs', 'aria-hidden': 'true' }, s('defs', {},
    s('pattern', { id: 'hatch', width: 7, height: 7, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, s('path', { d: 'M0 0V7', class: 'hatch' })),
    s('pattern', { id: 'cross', width: 7, height: 7, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, s('path', { d: 'M0 0V7M0 0H7', class: 'hatch' }))));
}

function one(name) {
  const el = h('section', { class: 'strip', role: 'meter', 'aria-label': name, 'aria-valuemin': 0 });
  const badge = h('span', { class: 'badge' }), value = h('span', { class: 'value' }), mode = h('span', { class: 'mode' }), out = h('span', { class: 'out' });
  const bar = s('svg', { class: 'scale', 'aria-hidden': 'true' }), power = s('svg', { class: 'power', 'aria-hidden': 'true' });
  put(el, h('div', { class: 'line' }, h('h3', {}, badge, name), value), h('div', { class: 'line' }, mode, out), bar, power);
  return { el, badge, value, mode, out, bar, power };
}

// draw shows one loop. v: value, set, quality, cause, output, mode, words and alarm.
function draw(p, sc, v) {
  const stale = health() !== 'live', lost = health() === 'lost', bad = lost || v.quality === 'bad' || !known(v.value), uncertain = v.quality === 'uncertain' || stale;
  const top = sc.top, kids = [];
  kids.push(s('rect', { x: 0, y: 4, width: '100%', height: 13, class: bad ? 'bar bad' : 'bar' }));
  if (!bad) {
    if (known(sc.least)) kids.push(s('rect', { x: 0, y: 4, width: pct(sc.least, top), height: 13, fill: 'url(#hatch)' }));
    const from = known(sc.trip) ? sc.trip : sc.most, warn = known(sc.most) && known(sc.trip) ? sc.most : null;
    if (known(warn)) kids.push(s('rect', { x: pct(warn, top), y: 4, width: pct(sc.trip - warn, top), height: 13, fill: 'url(#hatch)' }), s('line', { x1: pct(warn, top), x2: pct(warn, top), y1: 3, y2: 18, class: 'edge' }));
    if (known(from)) kids.push(s('rect', { x: pct(from, top), y: 4, width: pct(top - from, top), height: 13, fill: 'url(#cross)' }), s('line', { x1: pct(from, top), x2: pct(from, top), y1: 1, y2: 20, class: 'wall' }));
    if (known(v.set)) {
      const a = v.set - sc.band, b = v.set + sc.band;
      kids.push(s('rect', { x: pct(a, top), y: 4, width: pct(b - a, top), height: 13, class: 'within' }),
        at(pct(a, top), 0, s('path', { d: 'M4 1H0V20H4', class: 'gate' })), at(pct(b, top), 0, s('path', { d: 'M-4 1H0V20H-4', class: 'gate' })));
    }
    if (v.value > top) kids.push(at('100%', 11, s('path', { d: 'M0 0l-15-8v16z', class: uncertain ? 'wedge hollow' : 'wedge' })));
    else kids.push(at(pct(v.value, top), 6, s('path', { d: 'M0 0l8 16h-16z', class: uncertain ? 'wedge hollow' : 'wedge' })));
  }
  put(p.bar, kids);
  put(p.power, s('rect', { x: 0.500, y: 0.500, width: '99.8%', height: 5, class: 'trough' }), s('rect', { x: 0, y: 0, width: pct(lost ? 0 : v.output || 0, 1), height: 6, class: 'given' }));
  const number = bad ? words.noReading : `${uncertain ? '≈ ' : ''}${num(v.value, 0)}\u202f${sc.unit}`;
  text(p.value, number);
  text(p.mode, lost ? words.lost : v.words + (bad && v.cause ? ` · ${v.cause}` : ''));
  text(p.out, lost ? '' : v.outWords);
  const a = lost ? undefined : v.alarm;
  p.el.className = `strip ${a ? `p${{ critical: 1, high: 1, medium: 2, low: 3 }[a]}` : ''} ${uncertain || v.forced ? 'doubt' : ''}`;
  put(p.badge, a ? mark(a) : null);
  p.el.setAttribute('aria-valuemax', Math.round(top));
  if (!bad) p.el.setAttribute('aria-valuenow', Math.round(v.value)); else p.el.removeAttribute('aria-valuenow');
  p.el.setAttribute('aria-valuetext', lost ? words.noReading : `${number}, ${v.words}, ${v.outWords}`);
}

// related tells which strip an alarm belongs to, by the name of its cause.
const related = { base: /skin|radiant|base/, inlet: /inlet|air_heater|air_open|air_half|air_not_following|air_current|element/, drum: /drum|belt/, flow: /air_lost|air_weak|air_short|blower/ };
function alarmOf(key, alarms) {
  const order = ['low', 'medium', 'high', 'critical'];
  return alarms.filter(a => related[key].test(a.cause)).map(a => a.priority).sort((a, b) => order.indexOf(b) - order.indexOf(a))[0];
}

export function strips() {
  const parts = { base: one('Base'), inlet: one('Inlet air'), drum: one('Drum'), flow: one('Air flow') };
  const el = h('div', { class: 'strips' }, Object.values(parts).map(p => p.el));
  const percent = v => `output ${num(100 * v, 0)}\u202f%`;
  return {
    el,
    update(scale, m, st, alarms) {
      if (!scale) return;
      if (!m) { // nothing has come since the link was lost: what stood here is old
        for (const key of Object.keys(parts)) draw(parts[key], scale[key], { value: null, quality: 'bad', words: '', outWords: '' });
        return;
      }
      const pt = m.points || {}, out = m.outputs || {};
      const loop = (key, l, point, o) => draw(parts[key], scale[key], {
        value: l.measured_c, quality: pt[point]?.quality, cause: pt[point]?.cause, set: l.set_c, output: out[o]?.permit,
        words: `${l.limited && l.mode !== "off" ? 'at limit · ' : ''}${MODE[l.mode] || l.mode}${known(l.set_c) ? ` · set ${num(l.set_c, 0)}\u202f°C` : ''}`,
        outWords: percent(out[o]?.permit ?? 0), alarm: alarmOf(key, alarms), forced: l.mode === 'manual' });
      loop('base', m.base, 'drum_skin', 'radiant_power');
      loop('inlet', m.air, 'inlet_air', 'air_heater_power');
      const d = m.drum, runs = (out.drum_run?.permit ?? 0) >= 0.500, blows = (out.blower_run?.permit ?? 0) >= 0.500, roasting = ['roasting', 'charging'].includes(st?.state);
      const seenDrum = known(d.measured_mm_per_s) ? d.measured_mm_per_s : runs ? null : 0;
      draw(parts.drum, scale.drum, { value: seenDrum, quality: known(seenDrum) ? 'good' : 'bad', set: runs ? d.set_mm_per_s : null, output: runs ? d.set_mm_per_s / scale.drum.top : 0,
        words: runs ? `${roasting ? 'from progress' : 'auto'} · set ${num(d.set_mm_per_s, 0)}` : 'off', outWords: runs ? `drive ${num(out.drum_speed?.permit, 1)}\u202fHz` : 'drive off', alarm: alarmOf('drum', alarms) });
      const proven = pt.air_proving ? (pt.air_proving.value >= 0.500 ? 'proven' : 'not proven') : '';
      const flow = known(d.flow_kg_per_h) ? d.flow_kg_per_h : blows ? null : 0;
      draw(parts.flow, scale.flow, { value: flow, quality: pt.air_flow ? pt.air_flow.quality : 'good', set: blows ? d.flow_set_kg_per_h : null, output: blows ? d.flow_set_kg_per_h / scale.flow.top : 0,
        words: [blows ? `recipe · set ${num(d.flow_set_kg_per_h, 0)}` : 'off', blows ? proven : '', pt.air_flow ? '' : 'expected, not measured'].filter(Boolean).join(' · '),
        outWords: blows ? `blower ${num(out.blower_speed?.permit, 1)}\u202fHz` : 'blower off', alarm: alarmOf('flow', alarms) });
    },
  };
}
