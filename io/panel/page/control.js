// Who has control: one screen at a time. It passes by holding a button and in no
// other way; what takes heat away or answers an alarm needs none.
import { h, put, text } from './dom.js';
import { words } from './words.js';
import { link, get, post, health } from './link.js';

const TOLD = 10000; // for how long whoever had control is told that it has gone

let you = '', told = '', until = 0, before = null;

// known by: the daemon gives this browser what it is known by.
export async function meet() { you = (await get('/api/v1/control')).you; }

export const mine = () => !link.control?.id || link.control.id === you;

// passed notices that control has gone from here to somebody else.
export function passed() {
  const c = link.control;
  if (before && you && before.id === you && c?.id && c.id !== you) { told = words.control.taken(c.has); until = performance.now() + TOLD; }
  if (c) before = c;
}

// inTop is what the top line says of it.
export function inTop() {
  const c = link.control;
  if (!c || health() === 'lost') return '';
  return [c.id ? c.id === you ? words.control.yours : words.control.has(c.has) : '', c.viewers > 1 ? words.control.looking(c.viewers - 1) : ''].filter(Boolean).join(' · ');
}

// controlLine stands over the buttons while there is something to say or to pass.
export function controlLine(ctx) {
  const what = h('p', { class: 'strong' }), buttons = h('div', { class: 'buttons two' }), el = h('section', { class: 'control', 'aria-label': 'Control', hidden: true }, what, buttons);
  let key = '';
  const pass = (how, label) => async () => {
    const who = await ctx.name(label);
    if (!who) return;
    try { link.control = await post('/api/v1/control', { do: how, who }); ctx.answer(''); } catch (e) { ctx.answer(`${words.notNow}: ${e.message}`); }
  };
  return {
    el,
    update(live) {
      const c = link.control, other = !mine(), asked = !other && c?.asks_id, gone = performance.now() < until ? told : '';
      el.hidden = !live || !ctx.here || !c || !(other || asked || gone);
      if (el.hidden) { key = ''; return; }
      text(what, gone || (other ? c.asks_id === you ? words.control.waits(c.has) : `${words.control.has(c.has)}.` : words.control.asks(c.asks)));
      const k = `${other} ${asked} ${c.id} ${c.asks_id === you}`;
      if (k === key) return;
      key = k;
      put(buttons, other ? [ctx.button({ label: words.control.take, hold: true, act: pass('take', words.control.take) }), c.asks_id === you ? null : ctx.button({ label: words.control.ask, act: pass('ask', words.control.ask) })]
        : asked ? ctx.button({ label: words.control.give, hold: true, act: pass('give', words.control.give) }) : null);
    },
  };
}
