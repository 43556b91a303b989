// The rate of rise of what was sampled once a second.
import { known } from './dom.js';

// rises works out the rate of rise of probe and target at sample i through one
// window: a rate over the last 30 s is that of 15 s ago, and beside the target's
// rate of now it would look too fast all the way down.
export function rises(list, i, scale) {
  list[i].ror = riseAt(list, i, scale, 'bean');
  list[i].plan = riseAt(list, i, scale, 'target');
}

// riseAt is the slope of the line of least squares through the last 30 s, null
// where its window holds a gap.
function riseAt(list, i, scale, what) {
  const win = 30 * Math.max(1, scale / 10), from = list[i].t - win;
  let n = 0, st = 0, sy = 0, stt = 0, sty = 0, last = list[i].t;
  for (let j = i; j >= 0 && list[j].t >= from - 0.500; j--) {
    const p = list[j];
    if (!known(p[what]) || last - p.t > 2.500 * scale) return null;
    const t = p.t - list[i].t;
    n++; st += t; sy += p[what]; stt += t * t; sty += t * p[what]; last = p.t;
  }
  return n > 2 && list[i].t - last > win / 2 ? (n * sty - st * sy) / (n * stt - st * st) : null;
}
