// Small helpers: elements without innerHTML, so that every text stays a text,
// and numbers as the shop writes them.
const SVG = 'http://www.w3.org/2000/svg';

function fill(el, attrs, kids) {
  for (const [k, v] of Object.entries(attrs || {})) {
    if (v === undefined || v === null || v === false) continue;
    if (k === 'on') for (const [ev, f] of Object.entries(v)) el.addEventListener(ev, f);
    else el.setAttribute(k, v === true ? '' : v);
  }
  el.append(...kids.flat(3).filter(x => x !== null && x !== undefined && x !== false));
  return el;
}
export const h = (tag, attrs, ...kids) => fill(document.createElement(tag), attrs, kids);
export const s = (tag, attrs, ...kids) => fill(document.createElementNS(SVG, tag), attrs, kids);
export const put = (el, ...kids) => { el.replaceChildren(...kids.flat(3).filter(x => x !== null && x !== undefined && x !== false)); return el; };
// text changes only what has changed, so that a reader of the screen is left in peace.
export const text = (el, t) => { if (el.textContent !== t) el.textContent = t; };

export const known = v => v !== null && v !== undefined && Number.isFinite(v);
export function num(v, decimals = 0) {
  if (!known(v)) return '–';
  const t = Math.abs(v).toFixed(decimals);
  return (v < 0 && /[1-9]/.test(t) ? '−' : '') + t;
}
export const unit = (v, decimals, u) => known(v) ? `${num(v, decimals)}\u202f${u}` : '–';
export function clock(iso) { const d = new Date(iso); return Number.isNaN(d.getTime()) ? '–' : `${String(d.getHours()).padStart(2, '0')}:${String(d.getMinutes()).padStart(2, '0')}`; }
export function day(iso) {
  const d = new Date(iso);
  return Number.isNaN(d.getTime()) ? '–' : `${d.getFullYear()}-${String(d.getMonth() + 1).padStart(2, '0')}-${String(d.getDate()).padStart(2, '0')} ${clock(iso)}`;
}
export function span(sec) { // in tables: 1:40
  if (!known(sec)) return '–';
  const t = Math.round(Math.abs(sec));
  return (sec < 0 ? '−' : '') + (t >= 3600 ? `${Math.floor(t / 3600)}:${String(Math.floor(t / 60) % 60).padStart(2, '0')}` : Math.floor(t / 60)) + `:${String(t % 60).padStart(2, '0')}`;
}
export const plain = id => id.replaceAll('_', ' ');

// table is a table that scrolls by itself, also by keyboard; a cell is a text or an element.
export const table = (name, head, rows) => h('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': name }, h('table', {}, h('thead', {}, h('tr', {}, head.map(t => h('th', { scope: 'col' }, t)))),
  h('tbody', {}, rows.map(r => h('tr', {}, r.map(t => h('td', {}, t)))))));

// mark is the shape of a priority: never told by colour alone.
export function mark(priority) {
  const p = { critical: 1, high: 1, medium: 2, low: 3 }[priority] || 3;
  const shape = p === 1 ? s('path', { d: 'M12 1 23 12 12 23 1 12z' }) : p === 2 ? s('path', { d: 'M1 3h22L12 23z' }) : s('circle', { cx: 12, cy: 12, r: 10, class: 'open' });
  return s('svg', { viewBox: '0 0 24 24', class: `mark p${p}`, 'aria-hidden': 'true' }, shape, s('text', { x: 12, y: p === 2 ? 14 : 16.500 }, p));
}
