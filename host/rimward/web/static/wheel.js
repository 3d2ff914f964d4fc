// The wheel page: one form, its ceiling beside it, and saved values distinguished from typed ones.
import { announce, at, draft, post, refuse, settled, showErrors } from './rimward.js';

const form = at('wheel');
const fields = [...form.elements].filter((f) => f.name && f.type !== 'hidden' && f.tagName !== 'BUTTON');
const asSaved = Object.fromEntries(fields.map((f) => [f.name, f.value]));
const forget = draft(form, location.pathname);
const BESIDE = ['who', 'rim_read_from', 'tyre_read_from']; // sent with a change, not a change by themselves
if (!form.elements.who.value) form.elements.who.value = localStorage.getItem('rimward-who') || '';

const changed = () => fields.filter((f) => !BESIDE.includes(f.name) && f.value.trim() !== asSaved[f.name].trim());

// Saved, changed or new: always visible; only the saved wheel is used further.
function showSaved() {
  const now = changed();
  for (const f of fields) f.closest('.field').classList.toggle('changed', Boolean(form.dataset.wheel) && now.includes(f));
  if (!form.dataset.wheel) return;
  const open = now.length > 0;
  at('saved').dataset.saved = open ? 'changed' : 'yes';
  const count = now.length === 1 ? '1 change is not saved' : `${now.length} changes are not saved`;
  at('saved').textContent = open ? `${count}: limit, tag and fill use the saved wheel.` : at('saved').dataset.words || 'Saved in the register.';
  at('to-limit').hidden = open;
  at('undo').hidden = !open;
  at('save').disabled = !open;
}

let asked = 0;
async function assess() {
  showSaved();
  const mine = asked += 1;
  if (!form.elements.rim.value.trim() && !form.elements.tyre.value.trim()) return;
  const told = await post('/wheel/assess', new FormData(form), true);
  if (told === null || mine !== asked) return;
  showErrors(told.errors, false, form);
  if (!form.elements.rim.value.trim() || !form.elements.tyre.value.trim()) return;
  at('answer').innerHTML = told.html;
  showStrip();
}

let saying = 0;
function showStrip() {
  const verdict = at('answer').querySelector('.verdict');
  if (!verdict) return;
  const words = verdict.textContent.trim().replace(/\s+/g, ' ');
  clearTimeout(saying);
  saying = setTimeout(() => announce(words), 700);
  at('strip').hidden = false;
  at('strip').textContent = words;
  at('strip').classList.toggle('no', verdict.classList.contains('no'));
}

form.addEventListener('input', showSaved);
form.addEventListener('input', settled(assess));
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const button = at('save');
  const words = button.textContent;
  button.disabled = true;
  button.textContent = 'Saving …';
  at('saved').textContent = 'Saving …';
  const saved = await post('/wheel/save', new FormData(form));
  button.disabled = false;
  button.textContent = words;
  if (!saved) {
    at('saved').textContent = 'Not saved: correct what is marked, then save again.';
    return;
  }
  forget();
  localStorage.setItem('rimward-who', form.elements.who.value);
  const time = new Intl.DateTimeFormat([], { timeStyle: 'short' }).format(new Date());
  sessionStorage.setItem('rimward-said', JSON.stringify([saved.address, `Saved at ${time}.`, `${saved.label} is saved.`]));
  location.assign(saved.address);
});
at('undo')?.addEventListener('click', () => {
  for (const f of fields) f.value = asSaved[f.name];
  forget();
  showErrors({}, false, form);
  assess();
});
at('retire')?.addEventListener('click', async (event) => {
  const { wheel, back } = event.target.dataset;
  if (await post(`/wheel/${wheel}/retire`, { back, who: form.elements.who.value })) location.reload();
});

at('photo').addEventListener('change', async () => {
  const read = await post('/wheel/read-tag', new FormData(at('read-tag')));
  at('photo').value = '';
  if (!read) return;
  announce(`${read.label}. ${read.says}`);
  if (read.address) location.assign(read.address);
  else refuse(`${read.label}: ${read.says}`);
});

const roomy = matchMedia('(min-width: 62rem)');
const box = at('register-box');
box.open = roomy.matches || (!form.dataset.wheel && box.querySelectorAll('.wheels a').length > 0 && new URLSearchParams(location.search).has('find'));

const said = JSON.parse(sessionStorage.getItem('rimward-said') || 'null');
if (said && said[0] === location.pathname) {
  at('saved').dataset.words = said[1];
  announce(said[2]);
}
sessionStorage.removeItem('rimward-said');
showSaved();
assess();
