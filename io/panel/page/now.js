// The page of the roast that runs: say first, then show.
import { h, put, text, known } from './dom.js';
import { words } from './words.js';
import { link, health, age, get } from './link.js';
import { busy, rest } from './press.js';
import { strips } from './strips.js';
import { lanes } from './lanes.js';
import { greenCard } from './green.js';
import { controlLine, mine } from './control.js';

const AGAIN = 15 * 1000; // ms after which it is looked for again
const FRESH = 2 * 3600 * 1000; // ms for which a batch without its weight is brought to mind here

export function nowPage(ctx) {
  const where = h('p', { class: 'where' }), head = h('h1', { id: 'headline' }), outlook = h('div', { class: 'outlook' }), next = h('p', { class: 'nexttext' });
  const buttons = h('div', { class: 'buttons', id: 'commands' }), others = h('div', { class: 'buttons two', hidden: true, id: 'others' }), notNow = h('ul', { class: 'notnow' }), notNowHead = h('h2', { class: 'soft' }, words.notNow);
  const green = greenCard(ctx), control = controlLine(ctx);
  const answer = h('p', { class: 'answer', role: 'status' });
  const say = h('section', { class: 'say', 'aria-labelledby': 'headline' }, where, head, outlook, h('div', { class: 'next' }, h('h2', { class: 'soft' }, words.next), next), buttons, others, control.el, green.el, answer, notNowHead, notNow);
  const l = lanes(), st = strips(), exceptions = h('div', { class: 'panel', hidden: true });
  const el = h('div', { class: 'nowpage' }, say, h('div', { class: 'show' }, l.rail, l.bean, l.rise, st.el, exceptions));
  let key = '', open = false, left = '', asked = 0, unweighed = 0;
  ctx.answer = t => text(answer, t);

  // weight finds the last batch without its weight: it is weighed once the tray is
  // empty, when the machine warms for the next one already.
  function weight(now) {
    const k = `${now.state}/${link.state?.batch?.id || 0}`;
    if (k === left && performance.now() - asked < AGAIN) return; // another screen may have said it, or an answer was lost
    left = k;
    asked = performance.now();
    get('/api/v1/batches?limit=1&result=done').then(({ batches: [b] }) => {
      if (left === k) unweighed = b && !known(b.weighed_kg) && Date.parse(now.time) - Date.parse(b.ended) < FRESH ? b.id : 0;
    }).catch(() => {});
  }

  function draw(now, may) {
    const allowed = b => b.free || mine();
    const list = may ? now.buttons.filter(allowed) : [], more = may ? now.others.filter(allowed) : [];
    const k = JSON.stringify([may, mine(), list, more, open, unweighed]);
    if (k === key || busy.size) return;
    if (key) rest();
    buttons.dataset.moved = performance.now();
    const focused = document.activeElement?.dataset?.kind;
    key = k;
    const make = (b, main) => {
      const x = ctx.button({ label: b.label, hint: b.hint, hold: b.hold, main, act: el => ctx.command({ kind: b.kind }, el, b) });
      x.dataset.kind = b.kind;
      return x;
    };
    const recipe = may && mine() && !ctx.offers['load-recipe'] && ['cold', 'warming', 'ready', 'run-down', 'cooling'].includes(now.state);
    const go = recipe ? h('a', { class: `b ${list.length ? '' : 'main'}`, href: '#recipes' }, h('span', { class: 'label' }, link.state?.recipe ? 'Change recipe' : 'Choose recipe')) : null;
    const batch = ['discharging', 'cooling'].includes(now.state) ? link.state?.batch?.id : ['warming', 'ready', 'run-down', 'cold'].includes(now.state) ? unweighed : 0;
    const weigh = may && batch ? h('a', { class: 'b', href: `#batches/${batch}` }, h('span', { class: 'label' }, words.enterMass)) : null;
    const other = more.length ? ctx.button({ label: words.other, act: () => { open = !open; update(); } }) : null;
    other?.setAttribute('aria-expanded', open);
    other?.setAttribute('aria-controls', 'others');
    put(buttons, list.map((b, i) => make(b, i === 0 && mine() && !(now.state === 'warming' && b.kind === 'run-down'))), go, weigh, other);
    others.hidden = !open || !more.length;
    put(others, more.map(b => make(b, false)));
    if (focused) say.querySelector(`[data-kind="${focused}"]`)?.focus();
  }

  function update() {
    const now = link.now, hs = health(), may = ctx.may && hs === 'live';
    if (hs === 'lost' || !now) {
      text(where, '');
      const waited = link.at === -Infinity ? (performance.now() - link.since) / 1000 : age() / 1000;
      text(head, link.at === -Infinity && waited < 5 ? words.noLinkYet : words.noLink(`${Math.round(waited)}\u202fs`));
      put(outlook, h('p', {}, words.noLinkText));
      text(next, words.noLinkNext);
      if (key !== 'lost') { key = 'lost'; put(buttons, ctx.button({ label: words.tryAgain, main: true, act: ctx.again })); put(others); put(notNow); }
      notNowHead.hidden = true;
    } else {
      text(where, now.where);
      text(head, now.headline);
      if (outlook.children.length !== now.outlook.length) put(outlook, now.outlook.map(() => h('p', {})));
      now.outlook.forEach((t, i) => text(outlook.children[i], t));
      text(next, ctx.here ? now.next : words.looking);
      if (may) weight(now);
      draw(now, may);
      notNowHead.hidden = !may || !now.not_now.length;
      const why = may ? now.not_now.map(n => `${n.label}: ${n.why}`) : [];
      if (notNow.children.length !== why.length) put(notNow, why.map(() => h('li', {})));
      why.forEach((t, i) => text(notNow.children[i], t));
    }
    control.update(hs === 'live');
    green.update(now, link.state, hs === 'live');
    l.update({ now, measured: link.measured, state: link.state, samples: ctx.samples, recipe: ctx.recipe, scale: ctx.machine?.time_scale || 1 });
    st.update(ctx.machine?.strips, link.measured, link.state, link.alarms?.alarms || []);
    const ex = ctx.machine?.exceptions || [];
    exceptions.hidden = !ex.length;
    if (exceptions.children.length !== ex.length) put(exceptions, ex.map(t => h('p', {}, `Exception: ${t}`)));
  }
  return { el, update };
}
