// Signing in and out. Nothing here is needed to make the machine safe: it says so.
import { h, put, text } from './dom.js';
import { words } from './words.js';

const url = '/api/v1/session', json = { 'Content-Type': 'application/json' };

// ask asks the daemon; b.detail says why not.
async function ask(method, body) {
  try {
    const r = await fetch(url, { method, headers: body ? json : {}, body: body && JSON.stringify(body) });
    return { ok: r.ok, ...await r.json() };
  } catch {
    return { ok: false, detail: words.noAnswerSign };
  }
}

const home = () => location.assign('/');

function show(s) {
  const answer = h('p', { class: 'answer', role: 'status' }, s.ok ? '' : s.detail);
  const back = h('p', {}, h('a', { class: 'b', href: '/' }, h('span', { class: 'label' }, words.backNow)));
  const safe = s.at_machine ? h('p', { class: 'soft' }, words.noPassword) : null;
  const page = (...kids) => put(document.getElementById('main'), h('div', { class: 'page' }, h('h1', {}, words.signIn), ...kids, answer, safe, back));
  if (!s.ok) return page();
  if (!s.asked) return page(h('p', {}, words.noAccounts));
  if (s.account) {
    const out = h('button', { type: 'button', class: 'b', on: { click: async () => show(await ask('DELETE')) } }, h('span', { class: 'label' }, words.signOut));
    return page(h('p', {}, words.signedIn(s.account, s.role)), out);
  }
  if (!s.secure) return page(h('p', {}, words.notSecure));
  const name = h('input', { name: 'account', autocomplete: 'username', autocapitalize: 'none', spellcheck: 'false', maxlength: 32, required: true });
  const secret = h('input', { name: 'password', type: 'password', autocomplete: 'current-password', maxlength: 128, required: true });
  const go = h('button', { type: 'submit', class: 'b main' }, h('span', { class: 'label' }, words.signIn));
  const form = h('form', { class: 'entry signin' }, h('label', {}, words.account, name), h('label', {}, words.password, secret), go);
  form.addEventListener('submit', async ev => {
    ev.preventDefault();
    if (go.hasAttribute('aria-busy')) return;
    go.setAttribute('aria-busy', 'true');
    text(answer, words.sent);
    const a = await ask('POST', { account: name.value.trim(), password: secret.value });
    go.removeAttribute('aria-busy');
    secret.value = '';
    if (a.ok) return home();
    text(answer, a.detail);
    secret.focus();
  });
  page(form);
  name.focus();
}

show(await ask('GET'));
