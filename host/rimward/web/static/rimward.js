// Shared by every page: requests with the token, refusals in one place, announcements, drafts that survive a reload.

export const token = document.querySelector('meta[name="rimward-token"]').content;
export const still = matchMedia('(prefers-reduced-motion: reduce)');
export const at = (id) => document.getElementById(id);

let lastSaid = '';
export function announce(text) {
  if (text && text !== lastSaid) at('announce').textContent = lastSaid = text;
}

export function refuse(text, more) {
  const box = at('refusal');
  box.replaceChildren();
  box.hidden = !text;
  if (!text) return;
  const words = document.createElement('p');
  words.textContent = text;
  const close = document.createElement('button');
  close.type = 'button';
  close.textContent = 'Close';
  close.addEventListener('click', () => refuse(''));
  box.append(words, ...(more ? [more] : []), close);
}

const GONE = 'The workshop page does not answer. Start it again on its computer, or wake that up; this page goes on by itself.';
const NEW_ADDRESS = 'The workshop page was started again. Open the new address that it shows on its computer.';

// Reason why the page's server refuses this page; empty while it accepts it.
export async function whyGone() {
  try {
    const answer = await fetch('/alive', { cache: 'no-store' });
    return answer.status === 403 ? NEW_ADDRESS : answer.ok ? '' : GONE;
  } catch {
    return GONE;
  }
}

const SLOW_MS = 20000;

// Return the answer (JSON or text), or null after showing the reason. Messages of a field are shown at the field.
export async function post(address, form, quiet = false) {
  const body = form instanceof FormData ? form : toForm(form);
  let answer;
  try {
    answer = await fetch(address, { method: 'POST', body, headers: { 'X-Rimward-Token': token }, signal: AbortSignal.timeout(address.startsWith('/wheel/assess') ? SLOW_MS : 60000) });
  } catch (wrong) {
    if (!quiet) refuse(wrong.name === 'TimeoutError' ? 'The line to the workshop page is too slow: no answer came. Nothing is known to have been done. Look, then try again.' : GONE);
    return null;
  }
  const json = (answer.headers.get('content-type') || '').includes('json');
  const said = json ? await answer.json() : await answer.text();
  if (answer.ok) {
    if (!quiet) refuse('');
    return said;
  }
  if (json && said.fields && Object.keys(said.fields).length) {
    showErrors(said.fields, true);
    return null;
  }
  if (!quiet) refuse(json ? `${said.refused} ${said.fix}` : answer.status === 403 ? NEW_ADDRESS : said);
  return null;
}

// Errors at their fields; `move` puts the cursor into the first. Fields that are not named are cleared.
export function showErrors(errors, move = false, form = document) {
  let first = null;
  for (const box of form.querySelectorAll('[data-field]')) {
    const words = errors[box.dataset.field] || '';
    const field = box.querySelector('input, select');
    const error = box.querySelector('.error');
    if (error.textContent !== words) error.textContent = words;
    error.hidden = !words;
    if (words) field.setAttribute('aria-invalid', 'true');
    else field.removeAttribute('aria-invalid');
    if (words && !first) first = field;
  }
  if (!first || !move) return;
  const folded = first.closest('details');
  if (folded) folded.open = true;
  first.focus();
}

function toForm(values) {
  const form = new FormData();
  for (const [name, value] of Object.entries(values)) form.append(name, value);
  return form;
}

// Restore typed text after a reload, in this tab only.
export function draft(form, key) {
  const place = `rimward-draft-${key}`;
  const fields = () => [...form.elements].filter((f) => f.name && f.type !== 'file' && f.type !== 'hidden');
  const kept = JSON.parse(sessionStorage.getItem(place) || '{}');
  for (const field of fields()) if (field.name in kept) field.value = kept[field.name];
  for (const folded of form.querySelectorAll('details')) folded.open = folded.open || [...folded.querySelectorAll('input')].some((f) => f.value && kept[f.name]);
  form.addEventListener('input', () => {
    sessionStorage.setItem(place, JSON.stringify(Object.fromEntries(fields().map((f) => [f.name, f.value]))));
  });
  return () => sessionStorage.removeItem(place);
}

// Run `act` once typing has paused; only the newest answer counts.
export function settled(act, wait = 250) {
  let timer = 0;
  return () => { clearTimeout(timer); timer = setTimeout(act, wait); };
}

// Colours of the scheme in use, read from the style sheet.
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const PSI_A_BAR = 14.503773773020923;
const FONT = '15px system-ui, sans-serif';

// A plot with the limits drawn as labelled lines, shapes as well as colours. `air` (0 or 1 a sample) shades where air is on.
export function plot(box, { x, y, series, air, height, xWord, hover }) {
  const shade = (u) => {
    if (!air) return;
    const on = air();
    const xs = u.data[0];
    u.ctx.save();
    u.ctx.fillStyle = colour('p-air');
    for (let i = 0; i < xs.length;) {
      if (!on[i]) { i += 1; continue; }
      const from = i;
      while (i < xs.length && on[i]) i += 1;
      const left = u.valToPos(xs[from], 'x', true);
      const right = u.valToPos(xs[Math.min(i, xs.length - 1)], 'x', true);
      const a = Math.max(left, u.bbox.left);
      const b = Math.min(Math.max(right, left + 1), u.bbox.left + u.bbox.width);
      if (b > a) u.ctx.fillRect(a, u.bbox.top, b - a, u.bbox.height);
    }
    u.ctx.restore();
  };
  const axis = { stroke: () => colour('ink'), font: FONT, labelFont: FONT, grid: { stroke: () => colour('p-grid') }, ticks: { stroke: () => colour('p-grid') } };
  const small = box.clientWidth < 520;
  const made = new uPlot({
    width: Math.max(200, box.clientWidth),
    height,
    cursor: { show: Boolean(hover), y: false, points: { show: false }, drag: { x: false, y: false } },
    legend: { show: false },
    scales: { x: { time: false, ...(x || {}) }, y: { range: y || ((u, low, high) => [Math.min(0, low ?? 0), Math.max(0.5, high ?? 0.5) * 1.08]) } },
    axes: [
      { ...axis, label: xWord, labelSize: 24 },
      { ...axis, label: 'bar, gauge', labelSize: 22, size: 50 },
      { ...axis, side: 1, scale: 'y', label: small ? null : 'psi, gauge', labelSize: small ? 0 : 22, size: 44, grid: { show: false }, splits: psiSplits, values: (u, at) => at.map((v) => String(Math.round(v * PSI_A_BAR))) },
    ],
    series: [{}, ...series.map((row) => ({ ...row, stroke: () => colour(row.ink), points: { show: false } }))],
    hooks: { drawClear: [shade], setCursor: hover ? [(u) => hover(u.cursor.idx, u)] : [] },
  }, [[], ...series.map(() => [])], box);
  new ResizeObserver(() => made.setSize({ width: Math.max(200, box.clientWidth), height })).observe(box);
  for (const query of ['(prefers-color-scheme: dark)', 'print']) matchMedia(query).addEventListener('change', () => made.redraw(false, true));
  return made;
}

// Round psi values within the scale in bar.
function psiSplits(u) {
  const { min, max } = u.scales.y;
  const span = (max - min) * PSI_A_BAR;
  const step = [1, 2, 5, 10, 20, 50, 100].find((s) => span / s <= 8) || 200;
  const found = [];
  for (let psi = Math.ceil((min * PSI_A_BAR) / step) * step; psi <= max * PSI_A_BAR; psi += step) found.push(psi / PSI_A_BAR);
  return found;
}

export const lines = {
  reading: { ink: 'p-reading', width: 2.5 },
  tyre: { ink: 'p-tyre', width: 2, dash: [2, 4] },
  ceiling: { ink: 'p-ceiling', width: 4 },
  stop: { ink: 'p-ceiling', width: 2, dash: [10, 6] },
  target: { ink: 'p-target', width: 2.5, dash: [4, 4] },
  hot: { ink: 'p-hot', width: 2.5, dash: [12, 4] },
};

// One moment of a trace in words, for a pointer on it.
export function moment(seconds, names, values) {
  const told = names.map((name, i) => [name, values[i]]).filter(([, v]) => v !== null && v !== undefined);
  return `${seconds} s: ${told.map(([name, v]) => `${name} ${v.toFixed(2)} bar (${(v * PSI_A_BAR).toFixed(1)} psi)`).join(', ')}`;
}

// Times of day in the local form; the zone stays visible.
export function localTimes(within = document) {
  const form = new Intl.DateTimeFormat([], { dateStyle: 'medium', timeStyle: 'short' });
  for (const box of within.querySelectorAll('time[data-unix]')) {
    const unix = Number(box.dataset.unix);
    if (unix) box.textContent = form.format(new Date(unix * 1000));
  }
}

// The pages beside the steps: open in a row where there is room, folded where there is not.
const more = at('more');
const roomy = matchMedia('(min-width: 62rem)');
const fold = () => { more.open = roomy.matches; };
roomy.addEventListener('change', fold);
fold();
addEventListener('keydown', (event) => { if (event.key === 'Escape' && more.open && !roomy.matches) { more.open = false; more.querySelector('summary').focus(); } });
localTimes();
