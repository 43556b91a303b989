// What is known of the green coffee before it is charged: lot, moisture, density
// and what the scale said. The daemon enters it into the next batch.
import { h, put, text, num, known } from './dom.js';
import { words } from './words.js';
import { get, post } from './link.js';
import { field, form } from './forms.js';

const BEFORE = ['cold', 'warming', 'ready', 'cooling', 'run-down'];

export function greenCard(ctx) {
  const el = h('section', { class: 'green', 'aria-label': 'Green coffee of the next batch', hidden: true });
  let key = '', asked = '';
  function draw(n, recipe, wantG) {
    const lot = field('Lot', { value: n.lot || '', maxlength: 100 }), charge = field('Charge mass', { unit: 'g', number: true, value: known(n.charge_g) ? String(n.charge_g) : '', hint: wantG ? `recipe: ${num(wantG)}\u202fg` : '' });
    const moisture = field('Moisture', { unit: '%', number: true, value: known(n.moisture_pct) ? String(n.moisture_pct) : '' }), density = field('Density', { unit: 'g/l', number: true, value: known(n.density_g_per_l) ? String(n.density_g_per_l) : '' });
    const warn = h('p', { class: 'strong', 'aria-live': 'polite' });
    const tell = () => { const g = charge.number; text(warn, g && wantG && Math.abs(g / wantG - 1) > 0.050 ? `The recipe is worked out for ${num(wantG)}\u202fg: ${num(Math.abs(g - wantG))}\u202fg ${g > wantG ? 'more roasts slower' : 'less roasts faster'} than its curve.` : ''); };
    charge.input.addEventListener('input', tell);
    tell();
    const said = [n.lot, known(n.charge_g) ? `${num(n.charge_g)}\u202fg` : ''].filter(Boolean).join(' · ');
    put(el, form(ctx, said ? `Green coffee: ${said}` : words.greenAhead, [lot.el, charge.el, moisture.el, density.el], 'Keep for the next batch', async who => {
      const b = { who };
      if (lot.text) b.lot = lot.text;
      for (const [k, f] of [['charge_g', charge], ['moisture_pct', moisture], ['density_g_per_l', density]]) {
        if (Number.isNaN(f.number)) throw new Error(words.noNumber(f.text));
        if (f.number !== null) b[k] = f.number;
      }
      draw(await post('/api/v1/next-batch', b), recipe, wantG);
      return b.charge_g ? words.keptMass(`${num(b.charge_g)}\u202fg`) : words.kept;
    }, { note: warn, open: false }));
  }
  return {
    el,
    update(now, state, live) {
      const show = live && ctx.here && state?.recipe && BEFORE.includes(now?.state);
      el.hidden = !show;
      if (!show) { key = ''; return; }
      const k = `${state.recipe}/${state.green_kg}/${state.batch?.id || 0}`;
      if (k === key || el.contains(document.activeElement)) return;
      key = asked = k;
      get('/api/v1/next-batch').then(n => { if (asked === k) draw(n, state.recipe, known(state.green_kg) ? 1000 * state.green_kg : 0); }).catch(() => { el.hidden = true; });
    },
  };
}
