// The link to the daemon: the stream of what is, how old it is, and commands.
// Old numbers are never shown as new: age counts by this page's own clock from
// the moment a message came.
const SLOW = 2000, LOST = 5000, AGAIN = [500, 1000, 2000, 4000, 5000];

export const link = { state: null, measured: null, now: null, alarms: null, control: null, at: -Infinity, since: performance.now(), onchange: () => {}, onevent: () => {} };
let source = null, tries = 0, timer = 0;

export function age() { return performance.now() - link.at; }
export function health() { const a = age(); return !link.now || a > LOST ? 'lost' : a > SLOW ? 'slow' : 'live'; }

function took(name, ev) {
  link[name] = JSON.parse(ev.data);
  if (name === 'measured' || name === 'now') { link.at = performance.now(); tries = 0; }
  link.onchange();
}

export function open() {
  clearTimeout(timer);
  source?.close();
  source = new EventSource('/api/v1/events');
  source.addEventListener('state', ev => took('state', ev));
  source.addEventListener('measurement', ev => took('measured', ev));
  source.addEventListener('alarms', ev => took('alarms', ev));
  source.addEventListener('now', ev => took('now', ev));
  source.addEventListener('control', ev => took('control', ev));
  source.addEventListener('event', ev => link.onevent(JSON.parse(ev.data)));
  source.onerror = () => {
    source.close();
    const wait = AGAIN[Math.min(tries++, AGAIN.length - 1)] * (0.8 + 0.4 * Math.random());
    timer = setTimeout(open, wait);
    link.onchange();
  };
}

// close gives the connection back: a browser has few to one address, and a page
// that is kept for going back would hold one.
export function close() { clearTimeout(timer); source?.close(); }

// blank drops the link and all that it has told, before a tab goes to sleep: what
// is on the screen then is the first that is seen of it again.
export function blank() {
  close();
  link.state = link.measured = link.now = link.alarms = link.control = null;
  link.at = -Infinity;
  link.since = performance.now();
}

// forget begins anew as without a link: after sleep nobody knows how old a
// picture is.
export function forget() {
  blank();
  open();
  link.onchange();
}

export async function get(path) {
  const r = await fetch(path, { headers: { Accept: 'application/json' } });
  const b = await r.json().catch(() => ({}));
  if (!r.ok) throw new Error(b.detail || `${r.status}`);
  return b;
}

// send gives a command with what the person was looking at. It is never
// repeated by itself.
export async function send(command) {
  const seen = link.now ? { seen_state: link.now.state, seen_scan: link.now.scan } : {};
  const stop = new AbortController();
  const t = setTimeout(() => stop.abort(), 2000);
  try {
    const r = await fetch('/api/v1/commands', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ ...command, ...seen }), signal: stop.signal });
    const b = await r.json();
    return { ok: r.ok, text: b.reason || b.detail || '' };
  } catch {
    return { ok: false, text: null };
  } finally {
    clearTimeout(t);
  }
}

// post enters something; what is refused is told in the daemon's words.
export async function post(path, body) {
  const r = await fetch(path, { method: 'POST', headers: { 'Content-Type': 'application/json', Accept: 'application/json' }, body: JSON.stringify(body) });
  const b = await r.json().catch(() => ({}));
  if (!r.ok) throw new Error(b.detail || b.reason || `${r.status}`);
  return b;
}
