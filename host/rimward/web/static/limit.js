// The limit page: the saved wheel's ceiling for one fill and ride, and the profile of a target that a person chose.
import { announce, at, draft, post, settled, showErrors } from './rimward.js';

const form = at('issue');
draft(form, 'limit');
if (!form.elements.who.value) form.elements.who.value = localStorage.getItem('rimward-who') || '';

let asked = 0;
let saying = 0;
async function assess() {
  const mine = asked += 1;
  const told = await post(`/limit/${form.dataset.wheel}/assess`, new FormData(form), true);
  if (told === null || mine !== asked) return;
  showErrors(told.errors, false, form);
  at('answer').innerHTML = told.html;
  const verdict = at('answer').querySelector('.verdict');
  const words = verdict.textContent.trim().replace(/\s+/g, ' ');
  clearTimeout(saying);
  saying = setTimeout(() => announce(words), 700);
  at('strip').hidden = false;
  at('strip').textContent = words;
  at('strip').classList.toggle('no', verdict.classList.contains('no'));
}

form.addEventListener('input', settled(assess));
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  at('make').disabled = true;
  at('make').textContent = 'Making …';
  const made = await post(`/wheel/${form.dataset.wheel}/profile`, new FormData(form));
  at('make').disabled = false;
  at('make').textContent = 'Make the profile';
  if (!made) return;
  localStorage.setItem('rimward-who', form.elements.who.value);
  at('profile').innerHTML = made.html;
  announce(`Profile revision ${made.revision} is made. Next: fill it.`);
  at('profile').querySelector('a')?.focus({ preventScroll: false });
});
assess();
