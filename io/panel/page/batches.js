// The batches that are kept: list, search, what waits for its weight, compare,
// and the sheets of a month.
import { h, put, text, day } from './dom.js';
import { words } from './words.js';
import { get } from './link.js';
import { known } from './dom.js';
import { field } from './forms.js';
import { batchView, result, lossText } from './batch.js';

const MOST = 12; // batches on one sheet of comparison
let remembered = { text: '', from: '', to: '', result: '' };

export function batchesPage(ctx, chosen) {
  const list = h('div', { class: 'list' }), detail = h('div', { class: 'detail' }), lots = h('datalist', { id: 'lots' });
  const ticked = new Set(), compare = h('p', { class: 'links compare', role: 'status' });
  const find = field('Search', { value: remembered.text, maxlength: 100, hint: 'recipe, lot, tag, note' }), from = field('From', { value: remembered.from, type: 'date' }), to = field('To', { value: remembered.to, type: 'date' });
  const kind = h('select', {}, [['', 'all'], ['done', 'done'], ['aborted', 'broken off']].map(([v, t]) => h('option', { value: v, selected: remembered.result === v }, t)));
  const filter = h('form', { class: 'filter' }, h('div', { class: 'fields' }, find.el, from.el, to.el, h('label', { class: 'field' }, h('span', {}, 'Result'), kind)), h('div', { class: 'line end' }, h('button', { type: 'submit', class: 'b' }, h('span', { class: 'label' }, 'Show'))));
  const today = new Date(); // in the shop's time: the first morning of a month is not the last of the one before
  const month = field('Month', { type: 'month', value: `${today.getFullYear()}-${String(today.getMonth() + 1).padStart(2, '0')}` }), sheet = h('a', { target: '_blank', rel: 'noopener' }, 'Sheet of the month'), csv = h('a', {}, 'Table for a spreadsheet (CSV)');
  const months = () => {
    const m = /^\d{4}-\d\d$/.test(month.text) ? month.text : '';
    sheet.toggleAttribute('href', false); csv.toggleAttribute('href', false);
    if (!m) return;
    const [y, k] = m.split('-').map(Number), next = k === 12 ? `${y + 1}-01-01` : `${y}-${String(k + 1).padStart(2, '0')}-01`;
    sheet.setAttribute('href', `/api/v1/reports/month?month=${m}`);
    csv.setAttribute('href', `/api/v1/reports/batches.csv?from=${m}-01&to=${next}`);
  };
  month.input.addEventListener('input', months);
  months();
  const el = h('div', { class: `page two ${chosen ? 'chosen' : ''}` }, h('div', {}, h('h1', {}, words.pages.batches), h('details', { class: 'panel', open: Boolean(remembered.text || remembered.from || remembered.to || remembered.result) }, h('summary', {}, 'Search'), filter), h('details', { class: 'panel' }, h('summary', {}, 'A month'), h('div', { class: 'fields' }, month.el), h('p', { class: 'links' }, sheet, csv)), compare, list, lots), detail);
  let rows = [];

  function ticks() {
    const ids = [...ticked];
    put(compare, ids.length === 0 ? null : ids.length < 2 ? 'Tick a further batch to compare.' : ids.length > MOST ? `At most ${MOST} batches go on one sheet.`
      : [h('a', { href: `/api/v1/reports/compare?batches=${ids.join(',')}`, target: '_blank', rel: 'noopener' }, `Compare ${ids[0]} with ${ids.length - 1} other${ids.length > 2 ? 's' : ''}`),
        h('a', { href: `/api/v1/reports/compare?batches=${ids.join(',')}&at=first-crack`, target: '_blank', rel: 'noopener' }, 'lined up at first crack')]);
  }

  function row(b) {
    const tick = h('input', { type: 'checkbox', 'aria-label': `Compare batch ${b.id}` });
    tick.checked = ticked.has(b.id);
    tick.addEventListener('change', () => { if (tick.checked) ticked.add(b.id); else ticked.delete(b.id); ticks(); });
    const wait = b.result === 'done' && !known(b.weighed_kg);
    return h('div', { class: 'rowline' }, h('label', { class: 'tick' }, tick), h('a', { class: 'row', href: `#batches/${b.id}`, 'aria-current': String(b.id) === chosen ? 'true' : null }, h('strong', {}, `${b.id} · ${b.recipe}`), h('span', {}, [day(b.charged), b.lot].filter(Boolean).join(' · ')),
      h('span', { class: 'soft' }, [result(b), lossText(b), wait ? words.waiting : '', b.tags.join(' ')].filter(Boolean).join(' · '))));
  }

  async function more(before) {
    const q = new URLSearchParams({ limit: '50' });
    for (const [k, v] of Object.entries(remembered)) if (v) q.set(k, v);
    if (remembered.to) { const d = new Date(`${remembered.to}T00:00:00Z`); d.setUTCDate(d.getUTCDate() + 1); q.set('to', d.toISOString().slice(0, 10)); }
    if (before) q.set('before', before);
    try {
      const { batches } = await get(`/api/v1/batches?${q}`);
      rows = before ? [...rows, ...batches] : batches;
      put(lots, [...new Set(rows.map(b => b.lot).filter(Boolean))].map(l => h('option', { value: l })));
      put(list, rows.length ? rows.map(row) : h('p', {}, Object.values(remembered).some(Boolean) ? 'No batch is like that.' : 'No batch is kept yet.'), batches.length === 50 ? ctx.button({ label: 'Older batches', act: () => more(rows.at(-1).id) }) : null);
    } catch (e) { put(list, h('p', {}, e.message)); }
  }
  filter.addEventListener('submit', ev => { ev.preventDefault(); remembered = { text: find.text, from: from.text, to: to.text, result: kind.value }; more(); });
  more();
  ticks();
  let here = null;
  function open() {
    here = ctx.here;
    if (chosen) batchView(ctx, chosen, detail, () => more());
    else put(detail, h('p', { class: 'soft' }, 'Choose a batch to read it, or tick some to compare them.'));
  }
  open();
  return { el, update() { if (here !== ctx.here) open(); } };
}
