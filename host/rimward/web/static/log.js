import { at, lines, plot, post } from './rimward.js';

const upload = at('upload');
if (upload) {
  at('session').addEventListener('change', async () => {
    const kept = await post('/log/upload', new FormData(upload));
    at('session').value = '';
    if (kept) location.assign(kept.address);
  });
}

const box = at('plot');
if (box) {
  const t = await (await fetch(`/log/${box.dataset.name}/trace`)).json();
  const level = (value) => t.t.map(() => value || null);
  const drawn = plot(box, {
    series: [lines.reading, lines.tyre, lines.ceiling, lines.stop, lines.target],
    air: () => t.air,
    height: Math.max(260, Math.min(460, innerHeight * 0.5)),
    xWord: 'seconds',
  });
  drawn.setData([t.t, t.reading, t.tyre, level(t.ceiling), level(t.stop), level(t.target)]);
  box.dataset.samples = t.t.length;
}
