// The machine: what is measured of it, loops by hand, proof tests, what trips and what is
// not covered; below it, who did what.
import { h, put, num, day, plain, table } from './dom.js';
import { words } from './words.js';
import { get, link } from './link.js';
import { auditPage } from './audit.js';

export function machinePage(ctx, part) {
  if (part === 'audit') return auditPage(ctx);
  const ladder = h('div'), matrix = h('div'), loops = h('div'), proofs = h('div'), rest = h('div'), answer = h('p', { class: 'answer', role: 'status' });
  const el = h('div', { class: 'page' }, h('h1', {}, words.pages.machine), h('h2', {}, 'Commissioning'), ladder, h('h2', {}, 'Loops'), loops, answer, h('h2', {}, 'Proof tests'), proofs, rest, h('h2', {}, 'Cause and effect'), matrix, h('p', { class: 'links' }, h('a', { href: '#machine/audit' }, words.whoDidWhat)));
  ctx.answer = t => put(answer, t);
  get('/api/v1/machine/commissioning').then(b => put(ladder, rungs(b))).catch(e => put(ladder, h('p', {}, e.message)));
  const show = h('button', { type: 'button', class: 'b', on: { click: () => get('/api/v1/machine/matrix').then(b => put(matrix, causes(b))).catch(e => put(matrix, h('p', {}, e.message))) } }, h('span', { class: 'label' }, 'Show what trips, and what then happens'));
  put(matrix, show);
  get('/api/v1/proofs').then(b => put(proofs, b.blocking?.length ? h('div', { class: 'panel' }, h('strong', {}, 'No new roast may start:'), h('ul', {}, b.blocking.map(t => h('li', {}, t)))) : null, h('p', {}, 'Each interlock is tested on the machine itself. drumwright prove leads through it.'), table('Proof tests', ['Test', 'State', 'Last', 'Next due'],
    (b.tests || []).map(t => [t.title, t.state, t.last ? `${day(t.last.when)}, ${t.last.who}: ${t.last.result}` : 'never', t.due_at ? day(t.due_at).slice(0, 10) : t.occasion || '–'])))).catch(e => put(proofs, h('p', {}, e.message)));
  let key = '', told = false;
  return {
    el,
    update() {
      if (ctx.machine && !told) {
        told = true;
        const m = ctx.machine;
        put(rest, m.exceptions.length ? [h('h2', {}, 'Exceptions'), h('ul', {}, m.exceptions.map(t => h('li', {}, t)))] : null, h('h2', {}, 'Not covered'), h('ul', {}, m.not_covered.map(t => h('li', {}, t))),
          h('h2', {}, 'This machine'), h('dl', { class: 'facts' }, [['Name', m.name], ['Site', m.site || '–'], ['Note', m.note || '–'], ['Machine file', m.hash.slice(0, 12)], ['Program', m.version]].map(([a, b]) => h('div', {}, h('dt', {}, a), h('dd', {}, b)))), h('p', {}, words.notDevice));
      }
      const m = link.measured, why = ctx.here ? ctx.offers.manual : words.looking, k = JSON.stringify([why, m?.air.mode, m?.base.mode]);
      if (!m || k === key) return;
      key = k;
      put(loops, [['air', 'Inlet air', m.air, 'air heater'], ['base', 'Base', m.base, 'radiant panels']].map(([id, name, l, what]) => {
        const field = h('input', { type: 'number', min: 0, max: 100, step: 1, value: num(100 * (l.duty || 0)), 'aria-label': `${name} output in per cent` });
        return h('section', { class: 'panel' }, h('h3', {}, name), h('p', {}, `Mode: ${l.mode === 'manual' ? 'MANUAL' : plain(l.mode)}`),
          l.mode === 'manual' && ctx.here ? ctx.button({ label: `${name} automatic`, act: b => ctx.command({ kind: 'automatic', loop: id }, b) }) : null,
          why === '' ? h('div', { class: 'byhand' }, h('label', {}, `${what}, %`, field), ctx.button({ label: `${name} by hand`, hold: true, act: b => ctx.command({ kind: 'manual', loop: id, value: Math.max(0, Math.min(1, Number(field.value) / 100)) }, b) })) : h('p', { class: 'soft' }, `${words.notNow}: ${why ?? words.noLinkYet}`));
      }));
    },
  };
}

// rungs says what is measured, guessed or overdue, and what comes next.
function rungs(b) {
  const done = b.items.filter(x => x.stands).length;
  return [
    b.lacks ? h('div', { class: 'panel' }, h('strong', {}, b.not_asked ? 'Beans are heated without it: ' : 'No beans are heated: '), b.lacks, b.not_asked ? `. ${b.not_asked}` : '.') : null,
    h('p', {}, `${done} of ${b.items.length} done. Next: ${b.next}.`),
    table('Commissioning', ['What', 'State', 'Last found', 'Sure to', 'Counts until', 'How'], b.items.map(x => [
      plain(x.item) + (x.needed ? '' : ' (beans do not wait for it)'), x.state + (x.remark ? `: ${x.remark}` : ''), x.when ? `${day(x.when).slice(0, 10)}, ${x.who}` : 'never',
      x.uncertainty === null ? '–' : `± ${Number(x.uncertainty.toPrecision(2))} ${x.unit}`, x.until ? day(x.until).slice(0, 10) : '–', x.stands ? '–' : x.how])),
  ];
}

const causes = b => table('Cause and effect', b.columns.map(plain), b.rows.map(r => r.map((t, i) => i < 2 ? plain(t) : t)));
