// What every page needs: requests with the token, refusals in one place, announcements, drafts that survive a reload.

export const token = document.querySelector('meta[name="rimward-token"]').content;
export const still = matchMedia('(prefers-reduced-motion: reduce)');
export const at = (id) => document.getElementById(id);

let lastSaid = '';
export function announce(text) {
  if (text && text !== lastSaid) at('announce').textContent = lastSaid = text;
}

let hiding = 0;
export function refuse(text) {
  const box = at('refusal');
  clearTimeout(hiding);
  box.textContent = text;
  box.hidden = !text;
  if (text) hiding = setTimeout(() => { box.hidden = true; }, 15000);
}

// Gives the answer (JSON or text), or null after it has shown why not.
export async function post(address, form, quiet = false) {
  const body = form instanceof FormData ? form : toForm(form);
  let answer;
  try {
    answer = await fetch(address, { method: 'POST', body, headers: { 'X-Rimward-Token': token } });
  } catch {
    if (!quiet) refuse('The page\'s own server does not answer. Is `rimward serve` still running?');
    return null;
  }
  const json = (answer.headers.get('content-type') || '').includes('json');
  const said = json ? await answer.json() : await answer.text();
  if (answer.ok) {
    if (!quiet) refuse('');
    return said;
  }
  if (!quiet) refuse(json ? `${said.refused} ${said.fix}` : said);
  return null;
}

function toForm(values) {
  const form = new FormData();
  for (const [name, value] of Object.entries(values)) form.append(name, value);
  return form;
}

// What was typed comes back after a reload, in this tab only.
export function draft(form, key) {
  const place = `rimward-draft-${key}`;
  const fields = () => [...form.elements].filter((f) => f.name && f.type !== 'file' && f.type !== 'hidden');
  const kept = JSON.parse(sessionStorage.getItem(place) || '{}');
  for (const field of fields()) if (field.name in kept) field.value = kept[field.name];
  form.addEventListener('input', () => {
    sessionStorage.setItem(place, JSON.stringify(Object.fromEntries(fields().map((f) => [f.name, f.value]))));
  });
  return () => sessionStorage.removeItem(place);
}

// Runs `act` once the person has paused; only the newest answer counts.
export function settled(act, wait = 250) {
  let timer = 0;
  return () => { clearTimeout(timer); timer = setTimeout(act, wait); };
}

export const colours = { reading: '#0b4a6f', tyre: '#14181d', ceiling: '#9c1c1c', stop: '#9c1c1c', target: '#1f5f2d', air: 'rgba(176, 148, 84, 0.38)', hot: '#9a4a00' };

// A plot with the limits drawn as labelled lines, shapes as well as colours. `air` (0 or 1 a sample) shades where air is on.
export function plot(box, { x, y, series, air, height, xWord }) {
  const shade = (u) => {
    if (!air) return;
    const on = air();
    const xs = u.data[0];
    u.ctx.save();
    u.ctx.fillStyle = colours.air;
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
  const font = '15px system-ui, sans-serif';
  const made = new uPlot({
    width: Math.max(240, box.clientWidth),
    height,
    cursor: { show: false },
    legend: { show: false },
    scales: { x: { time: false, ...(x || {}) }, y: { range: y || ((u, low, high) => [Math.min(0, low ?? 0), Math.max(0.5, high ?? 0.5) * 1.08]) } },
    axes: [
      { stroke: '#14181d', font, grid: { stroke: '#d4d8dd' }, label: xWord, labelFont: font, labelSize: 24 },
      { stroke: '#14181d', font, grid: { stroke: '#d4d8dd' }, label: 'bar, gauge', labelFont: font, labelSize: 22, size: 50 },
    ],
    series: [{}, ...series],
    hooks: { drawClear: [shade] },
  }, [[], ...series.map(() => [])], box);
  new ResizeObserver(() => made.setSize({ width: Math.max(240, box.clientWidth), height })).observe(box);
  return made;
}

export const lines = {
  reading: { stroke: colours.reading, width: 2.5, points: { show: false } },
  tyre: { stroke: colours.tyre, width: 2, dash: [2, 4], points: { show: false } },
  ceiling: { stroke: colours.ceiling, width: 4, points: { show: false } },
  stop: { stroke: colours.stop, width: 2, dash: [10, 6], points: { show: false } },
  target: { stroke: colours.target, width: 2.5, dash: [4, 4], points: { show: false } },
  hot: { stroke: colours.hot, width: 2.5, dash: [12, 4], points: { show: false } },
};
