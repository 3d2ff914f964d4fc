// The fill page: an instrument first, then wheel, trace and inflator.
import { announce, at, lines, moment, plot, post, still } from './rimward.js';
import { drawColumn } from './column.js';
import { fit, placeHead, pressure, showAct, showWhose } from './far.js';
import { airNow, held, isLate, isOld, isOn, join, line, sampleAge, statusAge } from './live.js';
import { ensureHold, showHold, showLine, text, wireHold } from './hold.js';

const TICK_S = 0.002;
const LEAST_S = 20;
const MOST_POINTS = 4000;
const SPOKEN_OLD_MS = 2500; // a short delay is shown, not announced
const page = document.querySelector('.fill-page');
const memory = sessionStorage;
const ENDS = ['done', 'stopped', 'tripped'];
const MOVES = ['self-test', 'purge', 'measuring', 'filling', 'probing', 'topping-up', 'bleeding', 'seating'];

// Which part of the work this is: prepare a wheel, fill it, read its result

let keptBefore = null;
function phaseOf(s) {
  const before = page.dataset.phase;
  if (!s) return before;
  if (ENDS.includes(s.state) || (s.latched && s.state !== 'idle')) return 'result';
  const under = s.ceiling_pa > 0 || ['asking', 'ready'].includes(s.state) || MOVES.includes(s.state) || s.waiting_means;
  return under ? 'fill' : 'prepare';
}

function enterPhase(phase) {
  if (phase === page.dataset.phase) return;
  page.dataset.phase = phase;
  placeHead();
  if (phase === 'fill') {
    keptBefore = line.state.kept ? line.state.kept.name : '';
    scrollTo(0, 0);
  }
}

// This fill's own record, once it has come; after a reload the newest one is taken for it.
const ownRecord = () => {
  const k = line.state && line.state.kept;
  return k && k.name !== keptBefore ? k : null;
};

// Numbers, ten times a second at most; never announced

const bigBar = document.querySelector('#big-bar .figure');
const bigPsi = document.querySelector('#big-psi .figure');

// The large figure: the tyre's pressure at rest and at the end, the hose's while air moves. [name, [bar, psi], source of its age]
function figure(now, s, phase) {
  if (phase === 'result') {
    const own = ownRecord();
    if (now.tyre) return ['Result: in the tyre', now.tyre, 'live'];
    if (own && own.tyre_both) return ['Result: in the tyre', own.tyre_both, 'record'];
    return ['Result: at the hose', now.reading, 'live'];
  }
  const rests = s && ['settling', 'leak-watch', 'seat-pause'].includes(s.state);
  return rests && now.tyre ? ['In the tyre', now.tyre, 'live'] : ['At the hose', now.reading, 'live'];
}

// The second figure: at the end the tyre's pressure once cold, before that its range behind a closed core, else the other of hose and tyre.
function beside(known, name, now) {
  const own = page.dataset.phase === 'result' ? ownRecord() : null;
  if (own && own.cold_between) return ['Once cold, between', own.cold_between]; // a closed core hides its spring
  if (own && own.cold_both) return ['Once cold, about', pair(own.cold_both)];
  if (!known) return ['In the tyre', 'not known'];
  if (now.tyre_between) return ['In the tyre, between', now.tyre_between]; // as its display does
  if (name.includes('tyre')) return ['At the hose', pair(now.reading)];
  return ['In the tyre', now.tyre ? pair(now.tyre) : lastSeen()];
}

// What of it is read at two metres.
function farther(other, says, name) {
  const cold = other.startsWith('Once cold');
  if (!cold && !(name.includes('tyre') && other.includes('between'))) return '';
  const range = says.replace(' and ', ' to ').replace(/ \(.*/, '');
  if (other.includes('between')) return `${cold ? 'once cold' : 'tyre'} ${range}`;
  return `once cold about ${says}`;
}

const pair = ([bar, psi]) => `${bar} bar (${psi} psi)`;
function ago(ms) {
  if (!Number.isFinite(ms)) return 'no reading';
  const s = ms / 1000;
  return s < 10 ? `${s.toFixed(1)} s old` : s < 120 ? `${Math.round(s)} s old` : `${Math.round(s / 60)} min old`;
}

// The tyre's last known pressure in this page's samples, and its age.
function lastSeen() {
  for (let i = held.tyre.length - 1; i >= 0; i -= 1) {
    if (held.tyre[i] !== null) return `not known; ${held.tyre[i].toFixed(2)} bar was seen ${ago((held.tick[held.tick.length - 1] - held.tick[i]) * TICK_S * 1000).replace(' old', ' before')}`;
  }
  return 'not known';
}

let wasOld = null;
function showNumbers() {
  const { now, state } = line;
  const s = state && state.status;
  const old = isOld();
  const known = isOn() && now && !isLate() && !line.gone;
  const [name, both, from] = known ? figure(now, s, page.dataset.phase) : [page.dataset.phase === 'result' ? 'Result' : 'At the hose', ['–.––', '–'], 'live'];
  text('now-name', name);
  text(bigBar, both[0]);
  text(bigPsi, both[1]);
  text('age', from === 'record' ? 'from its record' : now ? ago(sampleAge()) : 'no reading');
  showWhose(name, from === 'record' ? ', record' : now ? ` ${ago(sampleAge()).replace(' old', '')}` : ': none', both[1]);
  const [other, says] = beside(known, name, now);
  text('other-name', other);
  text('tyre', says);
  text('far-cold', farther(other, says, name));
  page.dataset.old = old ? 'yes' : 'no';
  page.dataset.known = known ? 'yes' : 'no';
  page.classList.toggle('over', Boolean(known && now.over));
  page.classList.toggle('air-on', Boolean(airNow() && known && !old));
  drawColumn(at('column'), known ? now.pa : null, s, known ? now.over : false);
  showStale(old, state, s);
  if (old !== wasOld) {
    wasOld = old;
    if (state) showState();
  }
  fit();
}

// The last known state, once it is old: shown as past, never as present.
function showStale(old, state, s) {
  const stale = Boolean(state) && old && (state.line === 'lost' || state.line === 'on' || Boolean(line.gone));
  at('stale').hidden = !stale;
  if (!stale) return;
  const was = line.now ? ` Last: ${pair(line.now.reading)} at the hose, ${ago(sampleAge())}.` : '';
  text('stale', `OLD${s ? `: it was ${s.state.replaceAll('-', ' ')} ${ago(statusAge()).replace(' old', ' ago')}` : ''}.${was} Do not rely on it.`);
}

// Words, when they change

const SIGNS = { done: '✓', stopped: '■', tripped: '✕', filling: '▲', 'topping-up': '▲', purge: '▲', probing: '▲', measuring: '?', 'seat-pause': '?', asking: '?', settling: '❚❚', 'leak-watch': '❚❚' };
const LINES = {
  none: ['no inflator', 'Plug an inflator in, or look for one below.', ['Plug in', 'inflator']],
  looking: ['looking', 'Check the cable and the port.', ['Check', 'cable, port']],
  lost: ['line lost', 'Let go of the run control to stop: the inflator goes on by itself while it is held. Plug the cable in; nothing recorded is lost.', ['Release RUN', 'plug in']],
};
const OLD_NEXT = 'Let go of the run control to stop, and go by the inflator’s own display until news comes.';
const DISPLAY = ['Go by its', 'display'];

// [state, next, kind of the instruction, the instruction in short]
function words(s, old) {
  const { state } = line;
  if (line.gone) return ['page cut off', `${line.gone} Until then go by the inflator’s own display.`, 'Next', DISPLAY];
  if (!s) {
    const [now, next, act] = LINES[state.line] || ['starting', '', []];
    return [now, next, 'Next', act];
  }
  if (old) return ['no news', OLD_NEXT, 'Next', ['Release RUN', 'see display']];
  const now = s.state === 'seat-pause' ? 'check bead' : s.state.replaceAll('-', ' ');
  if (state.about && state.about.bench && !s.latched) return [now, 'this is a proof bench: go to the bench page', 'Next', ['This is', 'a bench']];
  if (s.latched) return [now, s.next, 'Next', s.act];
  if (s.waiting === 'bead-seated') return [now, 'Is the bead seated all round, both sides? Look, then confirm at the inflator.', 'Question', s.act];
  if (s.waiting === 'which-wheel') return [now, 'The tyre takes another volume of air than this wheel: confirm that it is this wheel, or release the run control.', 'Question', s.act];
  if (s.state === 'asking' && s.waiting === 'hold-to-run') return [now, 'Let go of the run control, then hold it again: it was held before the ceiling was in force.', 'Next', s.act];
  if (s.waiting_means) return [now, `At the inflator: ${s.waiting_means}`, s.act.join(' ').endsWith('?') ? 'Question' : 'Next', s.act];
  return [now, nextStep(s), 'Next', s.act];
}

function nextStep(s) {
  if (s.state === 'done' && s.cause === 'target-reached') return 'release the run control and take the hose off; read its record, or send the next wheel';
  if (ENDS.includes(s.state)) return s.next || 'release the run control; read its record, or send the next wheel';
  if (s.state === 'idle') return at('wheel').options.length > 1 ? 'choose a wheel and send it' : 'enter a wheel and make its profile first';
  if (s.state === 'bleeding') return 'keep holding DOWN at the inflator; let it go to end';
  if (['settling', 'leak-watch'].includes(s.state)) return 'keep holding the run control: no air flows while it settles';
  return s.state === 'ready' ? 'wait a moment; if it stays so, go by the inflator’s own display' : 'keep holding the run control; release it to stop';
}

const hasStopped = (s) => s && !['none', s.state === 'done' ? 'target-reached' : ''].includes(s.cause) && (s.latched || ENDS.includes(s.state) || (s.state === 'ready' && !['target-reached', 'released'].includes(s.cause)));

function showState() {
  const { state } = line;
  const s = state.status;
  const old = isOld();
  page.dataset.line = state.line;
  page.dataset.state = s ? s.state : '';
  enterPhase(phaseOf(s));
  const [now, next, kind, act] = words(s, old);
  text('state', now);
  text('sign', s && !old ? (s.latched ? '✕' : SIGNS[s.state] || '●') : '–');
  text('next-word', kind);
  text('next', next);
  showAct(act);
  page.classList.toggle('asks', kind === 'Question');
  at('next-box').classList.toggle('question', kind === 'Question');
  const stopped = hasStopped(s) && !old;
  at('cause-box').hidden = !stopped;
  page.classList.toggle('latched', Boolean(s && s.latched));
  if (stopped) {
    text('cause-kind', s.latched ? 'Stopped and latched by' : s.state === 'done' ? 'Ended:' : 'Last stop:');
    text('cause', s.cause.replaceAll('-', ' '));
    text('reason', s.reason);
  }
  showMarks(s);
  text('calibration', state.instrument ? state.instrument.words : '–');
  at('calibration').classList.toggle('warn', Boolean(state.instrument && /overdue|locked/.test(state.instrument.state)));
  text('here', s ? `${s.air}, ${s.ambient}` : '–');
  showKept();
  hold();
  showLine();
  at('is-bench').hidden = !(state.about && state.about.bench);
  if (!old || line.gone || state.line !== 'on' || sampleAge() > SPOKEN_OLD_MS) {
    announce(`${now}.${stopped ? ` ${at('cause-kind').textContent} ${s.cause.replaceAll('-', ' ')}: ${s.reason}.` : ''} ${kind}: ${next}`);
  }
  if (wasOld !== null) showNumbers();
}

// The wheel that needs its confirmation: the one that the inflator names, else the one just sent by this page.
function sentOption(s) {
  const options = [...at('wheel').options];
  return options.find((o) => o.value && o.value === s.wheel_id) || (line.mine ? at('wheel').selectedOptions[0] : null);
}

// Limits in force; at the end those of the fill that ended, shown as past.
let marks = null;
function showMarks(s) {
  if (s && s.ceiling) marks = { ceiling: s.ceiling, stop: s.stop, target: s.target };
  const own = ownRecord();
  const past = page.dataset.phase === 'result' && !(s && s.ceiling);
  const sent = page.dataset.phase === 'fill' && s && !s.ceiling ? sentOption(s) : null;
  const shown = s && s.ceiling ? marks : sent && sent.dataset.ceiling ? sent.dataset : past ? marks || { ceiling: own && own.ceiling, stop: '', target: own && own.target } : {};
  pressure('ceiling', shown.ceiling || 'none in force');
  pressure('stop', shown.stop || '–');
  pressure('target', shown.target || '–');
  for (const name of ['target', 'ceiling', 'stop']) {
    text(page.querySelector(`.m-${name} small`), shown[name] ? past ? 'of this fill' : sent ? 'of the profile' : '' : '');
  }
}

function showKept() {
  const { state } = line;
  const k = state.kept;
  at('kept').hidden = !k;
  if (k) {
    at('kept-link').href = `/log/${k.name}`;
    text('kept-link', `See record ${k.session}: ${k.label}, ${k.cause.replaceAll('-', ' ')}`);
    at('kept').dataset.name = k.name;
    at('kept').dataset.own = ownRecord() ? 'yes' : 'no';
  }
  at('pull').hidden = !state.pull;
  if (state.pull) text('pull', `Record ${state.pull.session} is coming from the inflator: ${Math.round((100 * state.pull.have) / Math.max(1, state.pull.size))} %`);
}

// Why a wheel cannot be sent now; empty where it can.
function whyNot() {
  const { state } = line;
  if (at('wheel').options.length < 2) return 'No wheel has a profile yet: enter one on the Wheel page and make its profile on its Limit page.';
  if (line.gone) return 'This page is not connected.';
  if (!isOn()) return 'No inflator is connected.';
  if (state.about && state.about.bench) return 'A proof bench takes no wheel.';
  if (state.hold.held && !line.mine) return `Another page holds the inflator${state.hold.who ? ` (${state.hold.who})` : ''}: give it back there, or close that page.`;
  if (page.dataset.phase === 'fill' && !(state.status && ['asking', 'ready'].includes(state.status.state))) return 'A fill is under way.';
  if (state.about && !state.about.key_enrolled) return 'This inflator has no workshop key yet: give it the key below, once.';
  return at('wheel').value ? '' : 'Choose a wheel.';
}

function hold() {
  page.dataset.hold = showHold('inflator');
  const why = whyNot();
  at('send').disabled = Boolean(why);
  text('send-why', why);
  const { state } = line;
  const free = isOn() && (line.mine || !state.hold.held);
  at('enrol').disabled = !free || Boolean(state.about && state.about.bench);
  page.dataset.key = state && state.about && !state.about.key_enrolled ? 'none' : '';
}

// Orders

at('send').addEventListener('click', async () => {
  if (!(await ensureHold('inflator'))) return;
  at('send').disabled = true;
  text('send-why', 'Sending …');
  const sent = await post('/fill/send', { wheel_id: at('wheel').value, hold: line.mine });
  hold();
  if (!sent) return;
  text('send-why', 'Sent, and read back the same.');
  announce(`Sent, and read back the same. ${sent.waiting_for_person ? 'Confirm at the inflator.' : ''}`);
});
at('enrol').addEventListener('click', async () => {
  if (!(await ensureHold('inflator'))) return;
  const done = await post('/fill/enrol', { hold: line.mine });
  if (done) announce('The inflator has this workshop\'s key.');
});
at('wheel').addEventListener('change', () => { memory.setItem('rimward-wheel', at('wheel').value); if (line.state) hold(); });
if (!at('wheel').value) at('wheel').value = memory.getItem('rimward-wheel') || '';
if (at('wheel').selectedIndex < 0) at('wheel').selectedIndex = 0;

// The trace: the fill under way or the last one, from its beginning; before the first, the newest seconds

let airs = [];
let span = [0, LEAST_S];
const NAMES = ['at the hose', 'tyre', 'ceiling', 'stops at', 'target'];
const drawn = plot(at('plot'), {
  series: [lines.reading, lines.tyre, lines.ceiling, lines.stop, lines.target], air: () => airs, height: innerWidth >= 1100 ? 400 : 260, xWord: 'seconds',
  x: { range: () => span },
  hover: (index, u) => { if (index !== null && index !== undefined) text('hover', moment(u.data[0][index].toFixed(1), NAMES, u.data.slice(1).map((row) => row[index]))); },
});

// [first, past the last] sample of the newest stretch with a ceiling in force.
function fillRange() {
  let end = held.tick.length;
  while (end > 0 && held.ceiling[end - 1] === null) end -= 1;
  let from = end;
  while (from > 0 && held.ceiling[from - 1] !== null && (from === end || held.tick[from - 1] <= held.tick[from])) from -= 1;
  if (!end) return [Math.max(0, held.tick.length - LEAST_S * 50), held.tick.length];
  return [from, Math.min(held.tick.length, end + 100)];
}

function showTrace() {
  if (!held.tick.length) return;
  const [from, end] = fillRange();
  const every = Math.max(1, Math.ceil((end - from) / MOST_POINTS));
  const take = (column) => (every === 1 ? column.slice(from, end) : column.slice(from, end).filter((_, i) => i % every === 0));
  const ticks = take(held.tick);
  const begin = ticks[0];
  at('plot').dataset.points = ticks.length;
  at('plot').dataset.seconds = Math.round((ticks[ticks.length - 1] - begin) * TICK_S);
  span = [0, Math.max(LEAST_S, (ticks[ticks.length - 1] - begin) * TICK_S)];
  airs = take(held.air);
  drawn.setData([ticks.map((tick) => (tick - begin) * TICK_S), take(held.reading), take(held.tyre), take(held.ceiling), take(held.stop), take(held.target)]);
}

wireHold('inflator');
setInterval(showNumbers, 100);
setInterval(() => { if (!document.hidden) showTrace(); }, still.matches ? 1000 : 250);
join(page, showState, hold);
