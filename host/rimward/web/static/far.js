// What is read from two metres: lines as wide as their place, never wider; and where the page's head is meanwhile.
import { at } from './rimward.js';
import { text } from './hold.js';

const page = document.querySelector('.fill-page');
const head = document.querySelector('.top');
const POSTER = matchMedia('(max-width: 61.99rem) and (min-height: 26.01rem)');

// A pressure with its figure apart from units, so that the figure can be large: `3.90 bar (56.5 psi)`.
export function pressure(id, value) {
  const box = at(id);
  if (box.textContent === value) return;
  const [figure] = /^\S*/.exec(value);
  const units = document.createElement('small');
  units.textContent = value.slice(figure.length);
  box.replaceChildren(figure, units);
}

export function showAct(lines) {
  at('act').querySelectorAll('span').forEach((line, n) => text(line, lines[n] || ''));
}

const psiOf = (id) => (/\(([0-9.]+) psi\)/.exec(at(id).textContent) || [])[1];

// Whose pressure and how old, and everything once more in psi.
export function showWhose(name, age, psi) {
  text('far-whose', `${name.includes('tyre') ? 'Tyre' : 'Hose'}${age}`);
  const more = ['target', 'ceiling'].filter(psiOf).map((id) => `, ${id} ${psiOf(id)}`);
  text('far-psi', `gauge; psi: ${psi}${more.join('')}`);
}

// Room for a line: its parent's width less what stands beside it; a parent without a box of its own has its parent's.
function roomFor(line) {
  let box = line.parentElement;
  while (getComputedStyle(box).display === 'contents') box = box.parentElement;
  const style = getComputedStyle(box);
  const beside = [line.previousElementSibling, line.nextElementSibling].filter((e) => e && e.matches('.unit, .sign') && e.offsetWidth);
  const taken = beside.reduce((sum, e) => sum + e.offsetWidth + (parseFloat(style.columnGap) || parseFloat(style.fontSize) * 0.35), 0);
  return box.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - taken;
}

let fitted = '';
// Make every line of `.fit` narrower where it is too long; letters keep their height. Once for each change of words or window.
export function fit() {
  const all = [...page.querySelectorAll('.fit')].filter((line) => line.checkVisibility());
  const now = `${innerWidth} ${innerHeight} ${page.dataset.phase} ${page.dataset.known} ${page.dataset.old} ${all.map((line) => line.textContent).join('|')}`;
  if (now === fitted) return;
  fitted = now;
  all.forEach((line) => { line.style.transform = ''; line.style.marginRight = ''; });
  const shares = all.map((line) => [line, line.offsetWidth, roomFor(line)]);
  shares.filter(([, width, room]) => width > room).forEach(([line, width, room]) => {
    line.style.transform = `scaleX(${room / width})`;
    line.style.marginRight = `${room - width}px`;
  });
}

// On a phone the instrument needs the whole screen: the head follows it, for the keyboard too, until the fill is over.
export function placeHead() {
  const below = POSTER.matches && page.dataset.phase !== 'prepare';
  document.body.dataset.phase = page.dataset.phase;
  if (below === head.classList.contains('below')) return;
  head.classList.toggle('below', below);
  const main = document.querySelector('main');
  if (below) main.after(head);
  else document.querySelector('.skip').after(head);
}

POSTER.addEventListener('change', placeHead);
addEventListener('resize', fit);
document.fonts.ready.then(() => { fitted = ''; fit(); });
