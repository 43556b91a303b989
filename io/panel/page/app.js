// The page: which part of it is shown, the top line, the foot, and how commands
// are given.
import { h, put, text, num, clock, known } from './dom.js';
import { words } from './words.js';
import { link, open, close, blank, forget, health, age, get, send } from './link.js';
import { button } from './press.js';
import { field } from './forms.js';
import { rises } from './rate.js';
import { defs } from './strips.js';
import { nowPage } from './now.js';
import { bar, alarmsPage } from './alarms.js';
import { meet, passed, inTop } from './control.js';
import { fireScreen } from './fire.js';
import { recipesPage } from './recipes.js';
import { batchesPage } from './batches.js';
import { machinePage } from './machine.js';

const $ = id => document.getElementById(id);
const ctx = {
  machine: null, recipe: null, here: false, account: '', offers: {}, samples: { list: [], batch: 0, now: 0 },
  get may() { return this.here; },
  get alarms() { return link.alarms; },
  get who() { return this.account || localStorage.getItem('who') || ''; },
  button, command, name: title => ask(title).then(g => g?.who), again: () => forget(), answer: () => {}, go: p => { location.hash = p; },
};
const pages = { now: nowPage, recipes: recipesPage, batches: batchesPage, machine: machinePage, alarms: alarmsPage };
let shown = null, name = '';

// command gives a command and says what became of it, in words beside the button.
async function command(cmd, el, b = {}) {
  let who = ctx.account ? '' : ctx.who; // the daemon knows who signed in
  if (b.ask || b.number || cmd.kind === 'acknowledge') {
    const given = await ask(b.label || 'Acknowledge', b.ask, b.number);
    if (!given) return { ok: false };
    who = given.who + (given.found ? `: ${given.found}` : '');
    if (b.number) cmd = { ...cmd, [b.number.member]: given.number };
  }
  if (el) el.setAttribute('aria-busy', 'true');
  ctx.answer(words.sent);
  const a = await send(who ? { ...cmd, who } : cmd);
  el?.removeAttribute('aria-busy');
  const t = a.text === null ? words.noAnswer : a.ok ? '' : `${words.notNow}: ${a.text}`;
  ctx.answer(t);
  text($(a.ok ? 'said' : 'cried'), t || `${b.label || cmd.kind}: done`);
  return a;
}

// ask wants a name, and a finding or a number where the command needs one.
function ask(title, finding, figure) {
  if (!finding && !figure && ctx.who) return Promise.resolve({ who: ctx.who });
  return new Promise(done => {
    const who = h('input', { name: 'who', required: true, maxlength: 24, autocomplete: 'name', value: ctx.who }), found = h('input', { name: 'found', required: true, maxlength: 36 });
    const number = figure ? field(figure.label, { unit: figure.unit, number: true, value: known(figure.now) ? String(figure.now) : '', name: 'number', required: true, hint: words.range(num(figure.least, 1), num(figure.most, 1)) }) : null;
    // Not a modal one: that would lie above Suspected fire and take its presses.
    const rest = [...document.querySelectorAll('#top, #bar, #while, #main, #foot nav')];
    const d = h('dialog', { 'aria-labelledby': 'asktitle' }, h('form', { method: 'dialog' }, h('h2', { id: 'asktitle' }, title), h('label', {}, words.who, who), finding ? h('label', {}, words.finding, found) : null, number?.el,
      h('div', { class: 'buttons two' }, h('button', { class: 'b main', value: 'yes' }, h('span', { class: 'label' }, words.give)), h('button', { class: 'b', value: 'no', formnovalidate: true }, h('span', { class: 'label' }, words.leave)))));
    d.addEventListener('close', () => {
      d.remove();
      for (const x of rest) x.inert = false;
      back?.focus?.();
      if (d.returnValue !== 'yes') return done(null);
      if (number && !known(number.number)) { ctx.answer(`${words.notNow}: ${words.noNumber(number.text)}`); return done(null); }
      if (!ctx.account) localStorage.setItem('who', who.value.trim());
      return done({ who: who.value.trim(), found: found.value.trim(), number: number?.number });
    });
    d.addEventListener('keydown', ev => { if (ev.key === 'Escape') d.close('no'); });
    const back = document.activeElement;
    for (const x of rest) x.inert = true;
    document.body.append(d);
    d.show();
  });
}

function route() {
  const [p, id] = location.hash.slice(1).split('/');
  name = pages[p] ? p : 'now';
  ctx.answer = () => {};
  shown = pages[name](ctx, id && decodeURIComponent(id));
  put($('main'), shown.el);
  document.title = `${words.pages[name]} · drumwright`;
  for (const a of $('foot').querySelectorAll('a')) a.toggleAttribute('aria-current', a.getAttribute('href') === `#${name}`);
  update();
}

const top = { clock: h('strong', { class: 'clock' }), machine: h('span', { class: 'about' }), link: h('span', { class: 'link' }), place: h('span', {}), control: h('strong', {}), account: h('a', { href: '/page/sign-in.html', hidden: true }), who: h('button', { type: 'button', class: 'plain', on: { click: rename } }) };
function rename() { localStorage.removeItem('who'); ask(words.who).then(update); }
put($('top'), h('div', {}, top.clock, top.machine), h('div', {}, top.link, ' · ', top.place, ' · ', top.control, ' ', top.account, ' ', top.who));

const fire = fireScreen($('fire'), ctx), drawBar = bar($('bar'));
const fireButton = button({ label: words.fire, hold: true, cls: 'firebutton', earliest: 150, restless: true, again: words.fireAgain, act: async () => {
  const a = ctx.here && health() === 'live' ? await send({ kind: 'fire', ...(ctx.who ? { who: ctx.who } : {}) }) : { ok: false };
  if (!link.now?.fire) fire.show(!a.ok);
} });
put($('foot'), h('nav', { 'aria-label': 'Pages' }, Object.keys(pages).map(p => h('a', { href: `#${p}`, class: p === 'machine' || p === 'alarms' ? 'second' : '' }, words.pages[p])),
  h('details', { class: 'more' }, h('summary', {}, words.pages.more), h('div', {}, ['machine', 'alarms'].map(p => h('a', { href: `#${p}`, on: { click: ev => ev.target.closest('details').removeAttribute('open') } }, words.pages[p]))))), fireButton);
document.body.append(defs());

// samples keeps what was measured in this batch; what came before this page was
// opened is fetched from the record, for it was measured.
async function follow() {
  const b = link.state?.batch, m = link.measured, k = ctx.samples, scale = Math.max(1, ctx.machine?.time_scale || 1);
  if (!b || !known(b.since_charge_s) || !m) { if (!b) k.list = []; return; }
  k.now = b.since_charge_s + (m.scan_s - link.state.scan_s);
  const fresh = b.id !== k.batch || (k.list.length ? k.now - k.list.at(-1).t > 4 * scale : k.now > 4);
  if (b.id !== k.batch) { k.batch = b.id; k.list = []; }
  if (fresh && !k.fetching && known(b.turn_s)) {
    k.fetching = true;
    get(`/api/v1/batches/${b.id}`).then(d => {
      const old = d.samples.map(x => ({ t: x.since_charge_s, bean: x.temperatures_c.bean?.value, target: x.target_c })).filter(x => known(x.t));
      const first = k.list[0]?.t ?? Infinity, have = new Set(k.list.map(x => Math.round(x.t)));
      k.list = [...old.filter(x => x.t < first || !have.has(Math.round(x.t))), ...k.list].sort((a, c) => a.t - c.t);
      k.list.forEach((x, i) => rises(k.list, i, scale));
    }).catch(() => {}).finally(() => { k.fetching = false; });
  }
  if (!k.list.length || k.now > k.list.at(-1).t) {
    k.list.push({ t: k.now, bean: m.points.bean?.value, target: m.bean.target_c });
    rises(k.list, k.list.length - 1, scale);
  }
}

async function loadRecipe() {
  const r = link.state?.recipe;
  if (!r || ctx.recipeName === r) return;
  ctx.recipeName = r;
  try { ctx.recipe = await get(`/api/v1/recipes/${encodeURIComponent(r)}`); } catch { ctx.recipe = null; }
}

let headline = '';
function update() {
  const hs = health(), now = link.now;
  ctx.offers = Object.fromEntries((link.state?.commands || []).map(c => [c.kind, c.refused]));
  text(top.clock, now ? clock(now.time) : '–');
  const b = link.state?.batch;
  text(top.machine, ctx.machine ? [ctx.machine.name, b?.id ? `batch ${b.id}` : '', link.state?.recipe || ''].filter(Boolean).join(' · ') : '');
  text(top.link, hs === 'live' ? words.live(`${(age() / 1000).toFixed(1)}\u202fs`) : hs === 'slow' ? words.slow(`${Math.round(age() / 1000)}\u202fs`) : words.lost);
  text(top.place, ctx.here ? words.here : words.looking);
  const hands = inTop();
  text(top.control, hands && `${hands} ·`);
  top.who.hidden = ctx.account !== ''; // who signed in needs no second name
  const typed = localStorage.getItem('who');
  text(top.who, typed ? `${typed} (${words.whoChange})` : words.who);
  $('sim').hidden = !ctx.machine?.simulated;
  text($('sim'), ctx.machine?.simulated ? words.simulated(ctx.machine.time_scale) : '');
  const roasting = name !== 'now' && now && hs === 'live' && ['charging', 'roasting', 'discharging', 'held'].includes(now.state);
  $('while').hidden = !roasting;
  text($('while'), roasting ? [now.headline, now.outlook.length > 2 ? now.outlook[1].replace(/\.$/, '') : ''].filter(Boolean).join('. ') : '');
  drawBar(link.alarms, hs === 'lost');
  loadRecipe();
  shown?.update();
  fire.update();
  document.body.classList.toggle('lost', hs === 'lost');
  if (now && now.headline !== headline && now.state !== 'roasting') { headline = now.headline; text($('said'), `${now.headline}. ${now.next}`); }
}

let due = 0;
link.onchange = () => { follow(); passed(); cancelAnimationFrame(due); due = requestAnimationFrame(update); };
link.onevent = ev => { if (ev.kind === 'trip') text($('cried'), `${ev.text}`); };
const TICK = 250, SLEPT = 5000;
let ticked = performance.now(), walled = Date.now();
setInterval(() => {
  const now = performance.now(), wall = Date.now();
  // A computer whose lid was shut tells nobody; its clocks do.
  if (!document.hidden && (now - ticked > SLEPT || Math.abs(wall - walled - (now - ticked)) > SLEPT)) forget();
  ticked = now; walled = wall;
  update();
}, TICK);
addEventListener('hashchange', route);
addEventListener('resize', update);
const sleep = () => { blank(); update(); };
document.addEventListener('visibilitychange', () => (document.hidden ? sleep() : forget()));
document.addEventListener('freeze', sleep);
document.addEventListener('resume', () => { if (!document.hidden) forget(); });
addEventListener('pagehide', close);
addEventListener('pageshow', ev => { if (ev.persisted) forget(); });

async function machine() {
  try {
    const s = await get('/api/v1/session');
    if (s.asked && !s.role) return location.assign('/page/sign-in.html');
    ctx.account = s.account || '';
    top.account.hidden = !s.asked;
    text(top.account, s.account ? `${s.account}, ${s.role}` : words.signIn);
    await meet();
    ctx.machine = await get('/api/v1/machine'); ctx.here = ctx.machine.at_machine;
    update();
  } catch { setTimeout(machine, 2000); }
}
route();
machine();
open();
