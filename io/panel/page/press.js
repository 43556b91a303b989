// One gesture for what cannot be undone: hold for 0.8 s and let go, or tap twice
// in place. A touch counts when it ends inside; sliding off takes it back.
import { words } from './words.js';
import { h, text } from './dom.js';

const HOLD = 800, LATEST = 4000, REST = 300;
let restUntil = 0;
export const busy = new Set(); // buttons under a finger: they are not taken away

// rest keeps all buttons but those of the fire still after they have moved.
export function rest() { restUntil = performance.now() + REST; }

// button makes a button; act is called once for each completed gesture.
export function button({ label, hint = '', hold = false, main = false, cls = '', earliest = 400, restless = false, again, act }) {
  const name = h('span', { class: 'label' }, label), small = h('span', { class: 'hint' }, hint || (hold ? words.holdHint : ''));
  const fill = h('span', { class: 'fill', 'aria-hidden': 'true' });
  const el = h('button', { type: 'button', class: `b ${main ? 'main' : ''} ${cls}`, 'data-hold': hold ? '' : null }, fill, name, small);
  const resting = () => !restless && performance.now() < restUntil;
  const done = () => { rest(); act(el); };
  if (!hold) {
    el.addEventListener('click', () => { if (!resting()) done(); });
    return el;
  }
  let began = 0, tapped = 0, frame = 0, back = 0;
  const show = () => {
    const share = Math.min(1, (performance.now() - began) / HOLD);
    fill.style.setProperty('width', `${100 * share}%`);
    if (share >= 1) { el.classList.add('full'); text(small, words.letGo(label)); } else frame = requestAnimationFrame(show);
  };
  const clear = () => {
    cancelAnimationFrame(frame); began = 0; busy.delete(el);
    fill.style.setProperty('width', '0'); el.classList.remove('full');
  };
  const reset = () => { tapped = 0; text(small, hint || words.holdHint); };
  const down = () => { if (began || resting()) return; began = performance.now(); busy.add(el); show(); };
  const up = inside => {
    if (!began) return;
    const now = performance.now(), held = now - began >= HOLD;
    clear();
    if (!inside) { reset(); return; }
    if (held || tapped && now - tapped >= earliest && now - tapped <= LATEST) { clearTimeout(back); reset(); done(); return; }
    if (tapped && now - tapped < earliest) return; // a bounce
    tapped = now;
    text(small, again || words.again(label));
    clearTimeout(back);
    back = setTimeout(reset, LATEST);
  };
  const inside = ev => { const r = el.getBoundingClientRect(); return ev.clientX >= r.left && ev.clientX <= r.right && ev.clientY >= r.top && ev.clientY <= r.bottom; };
  el.addEventListener('pointerdown', ev => { if (ev.button === 0) { el.setPointerCapture?.(ev.pointerId); down(); } });
  el.addEventListener('pointerup', ev => up(inside(ev)));
  el.addEventListener('pointercancel', () => { clear(); reset(); });
  el.addEventListener('keydown', ev => { if ((ev.key === 'Enter' || ev.key === ' ') && !ev.repeat) { ev.preventDefault(); down(); } else if (ev.key === 'Escape') { clear(); reset(); } });
  el.addEventListener('keyup', ev => { if (ev.key === 'Enter' || ev.key === ' ') { ev.preventDefault(); up(true); } });
  el.addEventListener('blur', () => { if (began) { clear(); reset(); } });
  el.addEventListener('contextmenu', ev => ev.preventDefault());
  return el;
}
