import { announce, at, lines, plot, post, refuse, still } from './rimward.js';
import { drawColumn } from './column.js';
import { airNow, held, isLate, isOn, join, line, recent } from './live.js';
import { showHold, showLine, text, wireHold } from './hold.js';

const WINDOW_S = 120;
const page = document.querySelector('.fill-page');
const memory = sessionStorage;

// What is shown: numbers ten times a second at most, words when they change

const bigBar = document.querySelector('#big-bar .figure');
const bigPsi = document.querySelector('#big-psi .figure');
function showNumbers() {
  const { now, state } = line;
  const late = isLate();
  const known = isOn() && now && !late;
  text(bigBar, known ? now.reading[0] : '–.––');
  text(bigPsi, known ? now.reading[1] : '–');
  text('tyre', known && now.tyre ? `${now.tyre[0]} bar (${now.tyre[1]} psi)` : 'not known');
  at('stale').hidden = !(late || (state && state.line === 'lost'));
  page.classList.toggle('over', Boolean(known && now.over));
  page.classList.toggle('air-on', Boolean(airNow() && known));
  drawColumn(at('column'), known ? now.pa : null, state && state.status, known ? now.over : false);
}

const SIGNS = { done: '✓', stopped: '■', tripped: '✕', filling: '▲', 'topping-up': '▲', purge: '▲', probing: '▲', measuring: '?', 'seat-pause': '❚❚', settling: '❚❚', 'leak-watch': '❚❚' };
const LINES = {
  none: ['no inflator', 'Plug an inflator in, or look for one below.'],
  looking: ['looking', 'Check the cable and the port.'],
  lost: ['line lost', 'The inflator goes on by itself; its run control stops it. Plug the cable in: nothing recorded is lost.'],
};

function showState() {
  const { state } = line;
  const s = state.status;
  page.dataset.line = state.line;
  page.dataset.state = s ? s.state : '';
  const words = s ? [s.state.replaceAll('-', ' '), s.means] : LINES[state.line] || ['starting', ''];
  text('state', words[0]);
  text('means', s ? s.means : '');
  text('sign', s ? (s.latched ? '✕' : SIGNS[s.state] || '●') : '–');
  const stopped = s && s.cause !== 'none' && (s.latched || ['stopped', 'tripped', 'done'].includes(s.state) || (s.state === 'ready' && !['target-reached', 'released'].includes(s.cause)));
  at('cause-box').hidden = !stopped;
  page.classList.toggle('latched', Boolean(s && s.latched));
  if (stopped) {
    text('cause-kind', s.latched ? 'Stopped and latched by' : 'Last stop');
    text('cause', s.cause.replaceAll('-', ' '));
    text('reason', s.reason);
  }
  const next = nextStep(s, words);
  text('next', next);
  text('ceiling', s && s.ceiling ? s.ceiling : 'none in force');
  text('stop', s && s.stop ? s.stop : '–');
  text('target', s && s.target ? s.target : '–');
  text('here', s ? `${s.air}, ${s.ambient}` : '–');
  showKept();
  hold();
  showLine();
  at('is-bench').hidden = !(state.about && state.about.bench);
  const spoken = s ? `${words[0]}.${stopped ? ` ${at('cause-kind').textContent} ${s.cause.replaceAll('-', ' ')}: ${s.reason}.` : ''} Next: ${next}` : `${words[0]}. ${next}`;
  announce(spoken);
  showNumbers();
}

function nextStep(s, words) {
  if (!s) return words[1];
  if (line.state.about && line.state.about.bench && !s.latched) return 'this is a proof bench: go to the bench page';
  if (s.latched) return s.next;
  if (s.waiting_means) return `At the inflator: ${s.waiting_means}`;
  if (['stopped', 'tripped', 'done'].includes(s.state)) return s.next || 'nothing to do';
  if (s.state === 'idle') return 'choose a wheel and send it';
  if (['settling', 'leak-watch', 'seat-pause'].includes(s.state)) return 'wait';
  return s.state === 'ready' ? 'hold the run control at the inflator' : 'keep holding the run control; let go to stop';
}

function showKept() {
  const { state } = line;
  const k = state.kept;
  at('kept').hidden = !k;
  if (k) {
    at('kept-link').href = `/log/${k.name}`;
    text('kept-link', `${k.label}, record ${k.session}: ${k.cause.replaceAll('-', ' ')}, tyre ${k.tyre}`);
    at('kept').dataset.name = k.name;
  }
  at('pull').hidden = !state.pull;
  if (state.pull) text('pull', `Bringing record ${state.pull.session} home: ${Math.round((100 * state.pull.have) / Math.max(1, state.pull.size))} %`);
}

function hold() {
  page.dataset.hold = showHold('inflator');
  at('send').disabled = !line.mine || Boolean(line.state && line.state.about && line.state.about.bench);
  at('enrol').disabled = at('send').disabled;
}

// Orders

at('send').addEventListener('click', async () => {
  if (!at('wheel').value) { refuse('No wheel is chosen. Choose one that has a profile.'); return; }
  const sent = await post('/fill/send', { wheel_id: at('wheel').value, hold: line.mine });
  if (sent) announce(`Sent, and read back the same. ${sent.waiting_for_person ? 'Confirm at the inflator.' : ''}`);
});
at('enrol').addEventListener('click', async () => {
  const done = await post('/fill/enrol', { hold: line.mine });
  if (done) announce('The inflator has this workshop\'s key.');
});
at('wheel').addEventListener('change', () => memory.setItem('rimward-wheel', at('wheel').value));
if (!at('wheel').value) at('wheel').value = memory.getItem('rimward-wheel') || '';
if (at('wheel').selectedIndex < 0) at('wheel').selectedIndex = 0;

// The trace

const wide = () => (innerWidth >= 1100 ? 400 : 240);
let airs = [];
let windowS = 30;
const drawn = plot(at('plot'), {
  series: [lines.reading, lines.tyre, lines.ceiling, lines.stop, lines.target], air: () => airs, height: wide(), xWord: 'seconds before now', x: { range: () => [-windowS, 0] },
});

function showTrace() {
  if (!held.tick.length) return;
  const { from, last, seconds } = recent(WINDOW_S);
  windowS = seconds;
  airs = held.air.slice(from);
  drawn.setData([
    held.tick.slice(from).map((tick) => (tick - last) * 0.002), held.reading.slice(from), held.tyre.slice(from),
    held.ceiling.slice(from), held.stop.slice(from), held.target.slice(from),
  ]);
}

wireHold('inflator');
setInterval(showNumbers, 100);
setInterval(() => { if (!document.hidden) showTrace(); }, still.matches ? 1000 : 200);
join(page, showState, hold);
