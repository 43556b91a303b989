// The screen of a suspected fire. It covers every page. What one must not do
// comes first, because a hand may be on the door. It starts nothing, opens
// nothing, resets nothing and never says that a fire is over. It works from the
// memory of the page when the link is lost.
import { h, put, text, known, unit, mark, clock, span } from './dom.js';
import { words } from './words.js';
import { link, health } from './link.js';
import { button } from './press.js';

const RULES = plan => [
  ['Do not open drum, door, chute or collector.', 'Fresh air can turn it into flames.'],
  ['Leave every fan and blower off.', ''],
  ['Warn everyone. Get people out of the smoke.', ''],
  ['Call the fire service unless it is clearly out.', `Number: ${plan.number || words.notFilled}. Address to give: ${plan.address || words.notFilled}.`],
  ['Follow the fire plan of this shop.', `Isolate the machine as the plan says, only if the way there is safe.${plan.meeting_point ? ` Meet at: ${plan.meeting_point}.` : ''}${plan.own_line ? ` ${plan.own_line}` : ''}`],
  ['If in doubt, leave. Beans and machine can be replaced.', ''],
];
const SHOWN = [['collector', 'Collector'], ['exhaust', 'Exhaust air'], ['bean', 'Bean probe'], ['cooling_tray', 'Tray']];

export function fireScreen(el, ctx) {
  const what = h('p', { class: 'firewhat' }), values = h('dl', { class: 'firevalues' }), acts = h('div', { class: 'buttons two' });
  let since = 0, back = null, past = [];
  function show(unsent) {
    if (el.hidden) { since = Date.now(); past = []; back = document.activeElement; }
    put(el, h('div', { class: 'firebox' }, h('div', { class: 'firehead' }, mark('critical'), h('h1', { id: 'fire-title', tabindex: -1 }, words.fire)), unsent ? h('p', { class: 'strong' }, words.fireNotSent) : null, what,
      h('ol', {}, RULES(ctx.machine?.fire_plan || {}).map(([a, b]) => h('li', {}, h('div', {}, h('strong', {}, a), b ? h('span', {}, b) : null)))),
      h('p', { class: 'strong' }, 'The local fire code, the fire service and the fire plan come before this page.'), h('p', {}, 'This page cannot see whether a fire is out, and never says so.'), values, acts));
    const closed = el.hidden;
    el.hidden = false;
    for (const x of document.body.children) if (x !== el) x.inert = true;
    if (closed) el.querySelector('h1').focus();
    refresh(true);
  }
  let kinds = '';
  function refresh(anew) {
    const m = link.now?.motion, lost = health() === 'lost';
    text(what, lost || !m ? 'Heat, air and drum: not known, there is no link to the machine.' : `${m.heat}. ${m.air}. ${m.drum}. Since ${clock(new Date(since).toISOString())}, for ${span((Date.now() - since) / 1000)}.${m.heat.includes('not confirmed') ? ' Isolate the heaters if the way there is safe.' : ''}`);
    const pts = link.measured?.points || {};
    past.push({ at: Date.now(), pts });
    if (past.length > 30) past.shift();
    const trend = k => { const a = past[0].pts[k]?.value, b = pts[k]?.value; return !known(a) || !known(b) || past.length < 8 ? '' : b > a + 1 ? 'rising' : b < a - 1 ? 'falling' : 'steady'; };
    put(values, SHOWN.filter(([k]) => pts[k]).map(([k, name]) => h('div', {}, h('dt', {}, name), h('dd', {}, lost || !known(pts[k].value) ? words.noReading : unit(pts[k].value, 0, '°C')), h('dd', { class: 'soft' }, lost ? '' : trend(k)))));
    const k = ctx.here && !ctx.offers.silence && ctx.offers.silence !== undefined ? 'silence' : '';
    if (k !== kinds || anew) {
      kinds = k;
      put(acts, k ? button({ label: 'Silence horn', hint: 'sounds again after 60 s', act: b => ctx.command({ kind: 'silence' }, b) }) : null);
    }
  }
  return {
    show,
    update() {
      const burning = link.now?.fire;
      if (burning && el.hidden) show(false);
      else if (!el.hidden && burning === false && health() === 'live') {
        el.hidden = true;
        for (const x of document.body.children) x.inert = false;
        back?.focus?.();
      } else if (!el.hidden) refresh(false);
    },
  };
}
