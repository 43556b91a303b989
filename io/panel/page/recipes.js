// The recipes: which there are, what each asks of machine and coffee, and which
// the next batch follows.
import { h, put, num, known, unit, span, table } from './dom.js';
import { words } from './words.js';
import { get } from './link.js';
import { editor, versions } from './edit.js';

// ahead is what the daemon has worked out of a recipe on this machine.
function ahead(p) {
  const pm = (v, sd, d, u) => known(v) ? `${num(v, d)}${known(sd) ? ` ±${num(2 * sd, d)}` : ''}\u202f${u}` : '–';
  return [h('p', { class: 'strong' }, p.reachable ? 'This machine can follow it.' : `Out of reach: ${(p.why || []).join('; ')}.`),
    h('dl', { class: 'facts' }, [['Drop after', span(p.drop_s)], ['First crack after', known(p.first_crack_s) ? `${span(p.first_crack_s)} ±${span(2 * p.first_crack_sd_s)}` : 'not before the drop'], ['Loss', pm(100 * p.loss, 100 * p.loss_sd, 1, '%')],
      ['Energy', unit(p.energy_kwh, 2, 'kWh')], ['Hottest inlet air', unit(p.peak_inlet_c, 0, '°C')], ['Air heater at most', unit(100 * p.peak_air_duty, 0, '%')]].map(([a, b]) => h('div', {}, h('dt', {}, a), h('dd', {}, b)))),
    p.limits?.length ? h('details', {}, h('summary', {}, 'Where something is at its limit'), h('ul', {}, p.limits.map(l => h('li', {}, `${span(l.from_s)} to ${span(l.to_s)}: ${l.what}${l.off_c > 0.500 ? `, ${num(l.off_c, 1)}\u202f°C off ${l.off_of}` : ''}`)))) : null];
}

export function recipesPage(ctx, chosen) {
  const list = h('div', { class: 'list' }), detail = h('div', { class: 'detail' }), answer = h('p', { class: 'answer', role: 'status' });
  const el = h('div', { class: `page two ${chosen ? 'chosen' : ''}` }, h('div', {}, h('h1', {}, words.pages.recipes), list), detail);
  ctx.answer = t => put(answer, t);
  let act = null, offered = null, seen = null, here = null;
  get('/api/v1/recipes').then(({ recipes }) => put(list, recipes.length ? recipes.map(r => h('a', { class: 'row', href: `#recipes/${encodeURIComponent(r.name)}`, 'aria-current': r.name === chosen ? 'true' : null },
    h('strong', {}, r.title), h('span', {}, [r.coffee, known(r.green_kg) ? `${num(1000 * r.green_kg)}\u202fg` : ''].filter(Boolean).join(' · ')), h('span', { class: 'soft' }, r.faults ? 'cannot be used on this machine' : `drop: ${r.drop}`)))
    : h('p', {}, 'No recipe is in the folder yet. Put a recipe file there; drumwright check says what is wrong with it.'))).catch(e => put(list, h('p', {}, e.message)));
  const edit = o => { act = seen = null; put(detail, h('a', { class: 'back', href: '#recipes' }, 'Back'), h('h2', {}, o.title), editor(ctx, { ...o, done: n => { if (n === chosen) get(`/api/v1/recipes/${encodeURIComponent(n)}`).then(show); else ctx.go(`recipes/${encodeURIComponent(n)}`); } })); };
  if (chosen?.startsWith('+')) get(`/api/v1/batches/${encodeURIComponent(chosen.slice(1))}/recipe`).then(d => edit({ title: `A recipe that asks for what batch ${chosen.slice(1)} was`, name: '', suggested: d.name, recipe: d.text })).catch(e => put(detail, h('p', {}, e.message)));
  else if (chosen) get(`/api/v1/recipes/${encodeURIComponent(chosen)}`).then(show).catch(e => put(detail, h('p', {}, e.message)));
  else put(detail, h('p', { class: 'soft' }, 'Choose a recipe to read it.'));

  function show(r) {
    seen = r; here = ctx.here;
    act = h('div', { class: 'buttons two' });
    const flown = h('section', { class: 'panel', 'aria-label': words.ahead }, h('h3', {}, words.ahead), h('p', { class: 'soft' }, words.working));
    if (!r.faults) get(`/api/v1/recipes/${encodeURIComponent(r.name)}/preflight`).then(p => put(flown, h('h3', {}, words.ahead), ahead(p))).catch(() => flown.remove());
    put(detail, h('a', { class: 'back', href: '#recipes' }, 'Back'), h('h2', {}, r.title), r.coffee ? h('p', {}, r.coffee) : null, r.note ? h('p', {}, r.note) : null,
      r.faults ? h('div', { class: 'panel' }, h('h3', {}, 'Cannot be used on this machine'), h('pre', { tabindex: 0 }, r.faults)) : null, act, answer, ctx.here ? h('p', { class: 'links' }, h('button', { type: 'button', class: 'plain', on: { click: () => edit({ title: r.title, name: r.name, recipe: r.text, hash: r.hash }) } }, 'Edit as text'), h('button', { type: 'button', class: 'plain', on: { click: () => edit({ title: `A copy of ${r.title}`, name: '', suggested: `${r.name} 2`, recipe: r.text }) } }, 'Copy')) : null, r.advice?.length ? h('div', { class: 'panel' }, h('h3', {}, 'Worth a thought'), h('ul', {}, r.advice.map(t => h('li', {}, t)))) : null, r.understood?.length ? h('div', { class: 'panel' }, h('h3', {}, 'As written, as understood'), h('ul', {}, r.understood.map(t => h('li', {}, t)))) : null, r.faults ? null : flown,
      h('dl', { class: 'facts' }, [['Green coffee', known(r.green_kg) ? `${num(1000 * r.green_kg)}\u202fg` : '–'], ['Moisture', known(r.moisture) ? unit(100 * r.moisture, 1, '%') : 'not stated'],
        ['Inlet air at charge', unit(r.inlet_c, 0, '°C')], ['Drum skin at charge', unit(r.skin_c, 0, '°C')], ['Drop', r.drop || '–']].map(([a, b]) => h('div', {}, h('dt', {}, a), h('dd', {}, b)))),
      r.points?.length ? [h('h3', {}, 'Bean temperature wanted'), table('Curve', ['since charge', 'bean probe °C', '°C/min'],
        r.points.map((p, i) => [span(p.at_s), num(p.bean_c, 1), i ? num(60 * (p.bean_c - r.points[i - 1].bean_c) / (p.at_s - r.points[i - 1].at_s), 1) : '–']))] : null,
      r.stages?.length ? [h('h3', {}, 'Stages'), h('ul', { class: 'stages' }, r.stages.map(x => h('li', {}, `At ${x.when}: ` + [known(x.inlet_c) ? `inlet air ${unit(x.inlet_c, 0, '°C')}` : '', known(x.skin_c) ? `drum skin ${unit(x.skin_c, 0, '°C')}` : '', known(x.flow_kg_per_h) ? `air ${unit(x.flow_kg_per_h, 0, 'kg/h')}` : ''].filter(Boolean).join(', '))))] : null,
      r.speeds?.length ? [h('h3', {}, 'Drum speed by loss'), h('p', {}, r.speeds.map(x => `${num(100 * x.loss, 1)}\u202f%: ${num(x.mm_per_s)}\u202fmm/s`).join(', '))] : null,
      versions(r, ctx.here ? t => edit({ title: r.title, name: r.name, recipe: t, hash: r.hash }) : null), h('details', {}, h('summary', {}, 'The file'), h('pre', { tabindex: 0 }, r.text)));
    el.dataset.name = r.name;
    offered = null;
    page.update();
  }
  const page = {
    el,
    update() {
      if (seen && here !== ctx.here) { show(seen); return; }
      const why = ctx.here ? ctx.offers['load-recipe'] : words.looking, k = `${why}`;
      if (!act || k === offered) return;
      offered = k;
      put(act, why === '' ? ctx.button({ label: 'Load for next batch', main: true, act: async b => { const a = await ctx.command({ kind: 'load-recipe', recipe: el.dataset.name }, b, { label: 'Load' }); if (a.ok) ctx.go('now'); } })
        : h('p', { class: 'soft' }, `${words.notNow}: ${why ?? words.noLinkYet}`));
    },
  };
  return page;
}
