// The record: the list with its checks, and one fill with its trace.
import { at, lines, localTimes, moment, plot, post } from './rimward.js';

const upload = at('upload');
if (upload) {
  at('session').addEventListener('change', async () => {
    const kept = await post('/log/upload', new FormData(upload));
    at('session').value = '';
    if (kept) location.assign(kept.address);
  });
}

// Dates are in local time.
const search = document.querySelector('form.search');
search?.addEventListener('submit', () => {
  const day = at('first').value || at('last').value;
  at('zone').value = (day ? new Date(`${day}T12:00`) : new Date()).getTimezoneOffset();
});

// Each row is checked once it is near the view, one after the other: a check replays the whole record.
const waiting = [];
let busy = false;
async function checkNext() {
  if (busy || !waiting.length) return;
  busy = true;
  const box = waiting.shift();
  try {
    const answer = await fetch(`/log/${box.dataset.name}/check`);
    if (answer.ok) {
      const { kind, words } = await answer.json();
      box.dataset.check = kind;
      box.textContent = words;
    } else box.textContent = 'could not be checked';
  } catch {
    box.textContent = 'not checked: the page does not answer';
  }
  busy = false;
  checkNext();
}
const near = new IntersectionObserver((seen) => {
  for (const one of seen) if (one.isIntersecting) { near.unobserve(one.target); waiting.push(one.target); }
  checkNext();
}, { rootMargin: '200px' });
for (const box of document.querySelectorAll('.check[data-name]')) near.observe(box);

for (const button of document.querySelectorAll('[data-air-by-hand]')) {
  button.addEventListener('click', async () => {
    const kept = await post(`/log/${button.dataset.name}/air-by-hand`, { added: button.dataset.airByHand });
    if (kept) at('by-hand').textContent = kept.says;
  });
}

at('print')?.addEventListener('click', () => print());

const box = at('plot');
if (box) {
  const t = await (await fetch(`/log/${box.dataset.name}/trace`)).json();
  const level = (value) => t.t.map(() => value || null);
  const NAMES = ['at the hose', 'tyre', 'ceiling', 'stops at', 'target'];
  const drawn = plot(box, {
    series: [lines.reading, lines.tyre, lines.ceiling, lines.stop, lines.target],
    air: () => t.air,
    height: Math.max(260, Math.min(460, innerHeight * 0.5)),
    xWord: 'seconds',
    hover: (index, u) => { if (index !== null && index !== undefined) at('hover').textContent = moment(u.data[0][index].toFixed(1), NAMES, u.data.slice(1).map((row) => row[index])); },
  });
  drawn.setData([t.t, t.reading, t.tyre, level(t.ceiling), level(t.stop), t.target]);
  box.dataset.samples = t.t.length;
}
localTimes();
