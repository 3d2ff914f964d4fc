import { announce, at, draft, lines, moment, plot, post, settled } from './rimward.js';

const form = at('ride');
draft(form, location.pathname + location.search);
let drawn = null;
let asked = 0;

async function curve() {
  if (!form.elements.rim.value.trim() || !form.elements.tyre.value.trim()) return;
  const mine = asked += 1;
  const told = await post('/ride/curve', new FormData(form));
  if (told === null || mine !== asked) return;
  at('answer').innerHTML = told.html;
  const verdict = at('answer').querySelector('.verdict');
  announce(verdict ? verdict.textContent.trim().replace(/\s+/g, ' ') : '');
  draw(told.curve);
}

function draw(c) {
  const box = at('plot');
  box.replaceChildren();
  drawn = null;
  box.dataset.points = c ? c.x.length : 0;
  if (!c) return;
  const all = [...c.hot, ...c.cold, c.limit];
  const low = Math.min(...all);
  const high = Math.max(...all);
  drawn = plot(box, { series: [lines.hot, lines.reading, lines.ceiling], height: 300, xWord: c.along, y: () => [low - 0.2, high + 0.2],
    hover: (index, u) => { if (index !== null && index !== undefined) at('hover').textContent = moment(u.data[0][index].toFixed(1), ['hottest', 'coldest', 'limit'], u.data.slice(1).map((row) => row[index])).replace(' s:', `, ${c.along}:`); } });
  drawn.setData([c.x, c.hot, c.cold, c.x.map(() => c.limit)]);
  box.setAttribute('aria-label', `${c.what} reads up to ${c.highest} on this ride; the limit is a line at ${c.limit.toFixed(2)} bar.`);
}

form.addEventListener('input', settled(curve, 350));
form.addEventListener('submit', (event) => event.preventDefault());
at('from-register').addEventListener('change', (event) => {
  location.assign(event.target.value ? `/ride?wheel=${event.target.value}` : '/ride');
});
at('cartridge').addEventListener('submit', async (event) => {
  event.preventDefault();
  const all = new FormData(form);
  all.delete('route');
  for (const [name, value] of new FormData(at('cartridge'))) all.set(name, value);
  const piece = await post('/ride/cartridge', all);
  if (piece === null) return;
  at('cartridge-answer').innerHTML = piece;
  announce(at('cartridge-answer').querySelector('.verdict').textContent.trim());
});
curve();
