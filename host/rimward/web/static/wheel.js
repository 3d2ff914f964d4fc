import { announce, at, draft, post, refuse, settled } from './rimward.js';

const form = at('wheel');
const issue = at('issue');
const forget = draft(form, location.pathname);

function everything() {
  const all = new FormData(form);
  if (issue) all.set('target', issue.elements.target.value);
  return all;
}

let asked = 0;
async function assess() {
  if (!form.elements.rim.value.trim() || !form.elements.tyre.value.trim()) return;
  const mine = asked += 1;
  const piece = await post('/wheel/assess', everything(), true);
  if (piece === null || mine !== asked) return;
  at('answer').innerHTML = piece;
  const verdict = at('answer').querySelector('.verdict');
  if (!verdict) return;
  const words = verdict.textContent.trim().replace(/\s+/g, ' ');
  say(words);
  at('strip').hidden = false;
  at('strip').textContent = words;
  at('strip').classList.toggle('no', verdict.classList.contains('no'));
}
let saying = 0;
function say(text) {
  clearTimeout(saying);
  saying = setTimeout(() => announce(text), 700);
}

form.addEventListener('input', settled(assess));
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const saved = await post('/wheel/save', everything());
  if (!saved) return;
  forget();
  sessionStorage.setItem('rimward-said', `${saved.label} is saved.`);
  const kept = ['fill_temp', 'tyre_temp', 'fill_altitude', 'ride_altitude_max', 'ride_temp_max', 'who'];
  sessionStorage.setItem(`rimward-draft-${saved.address}`, JSON.stringify(Object.fromEntries(kept.map((n) => [n, form.elements[n].value]))));
  location.assign(saved.address);
});

if (issue) {
  issue.addEventListener('input', settled(assess));
  issue.addEventListener('submit', async (event) => {
    event.preventDefault();
    const made = await post(`/wheel/${issue.dataset.wheel}/profile`, everything());
    if (!made) return;
    at('profile').innerHTML = made.html;
    announce(`Profile revision ${made.revision} is made.`);
  });
}

at('photo').addEventListener('change', async () => {
  const read = await post('/wheel/read-tag', new FormData(at('read-tag')));
  at('photo').value = '';
  if (!read) return;
  announce(`${read.label}. ${read.says}`);
  if (read.address) location.assign(read.address);
  else refuse(`${read.label}: ${read.says}`);
});

const said = sessionStorage.getItem('rimward-said');
if (said) { announce(said); sessionStorage.removeItem('rimward-said'); }
assess();
