// The proof bench: the plan of a test, and the test live. While it runs this page sends the heartbeats of the lease; they stop when its data stop.
import { announce, at, draft, lines, plot, post, settled, still } from './rimward.js';
import { airNow, held, isLate, isOld, isOn, join, line, recent, say } from './live.js';
import { ensureHold, showHold, showLine, text, wireHold } from './hold.js';

const BEAT_MS = 100;
const WINDOW_S = 600;
const TICK_S = 0.002;
const IN_TEST = [6, 7, 12]; // rising, seating pause, holding: codes.FILL_STATES
const page = document.querySelector('.bench-page');
const form = at('specimen');
draft(form, 'bench');

const trialNow = () => (line.state ? line.state.trial : null);
const running = () => Boolean(trialNow() && trialNow().running);

// The lease: only from this page, only while it is visible and controls the bench

let beat = Date.now() % 1000000000;
function giveBeat() {
  const gives = running() && Boolean(line.mine) && !document.hidden && held.next >= 0;
  if (gives) {
    beat += 1;
    say({ beat, seen: held.next, hold: line.mine });
  }
}

function showLease() {
  const trial = trialNow();
  let kind = 'none';
  let words = 'No test is under way: no beat is given.';
  if (trial && trial.running && ['let-go', 'saving'].includes(trial.phase)) words = 'The test has ended: no beat counts any more.';
  else if (trial && trial.running && line.mine) {
    kind = isLate() || !isOn() ? 'lost' : 'given';
    words = kind === 'given' ? 'This page gives the beat. Keep it open and in front.' : 'No news, so no beat: the bench stops and vents.';
  } else if (trial && trial.running) words = 'Another page gives the beat. This one watches.';
  at('lease').dataset.lease = kind;
  text(at('lease').querySelector('.sign'), { none: '○', given: '●', lost: '✕' }[kind]);
  text('lease-says', words);
}

// Numbers, ten times a second at most; never announced

const bigBar = document.querySelector('#big-bar .figure');
const bigPsi = document.querySelector('#big-psi .figure');
let wasOld = null;
function showNumbers() {
  const { now, state } = line;
  const known = isOn() && now && !isLate() && !line.gone;
  const trial = trialNow();
  const result = resultNow();
  const [bar, psi] = result ? figures(result.highest) : known ? now.reading : ['–.––', '–'];
  text(bigBar, bar);
  text(bigPsi, psi);
  text('whose', result ? 'Highest that was held' : 'At the specimen');
  text('gauge-word', !result ? 'gauge, higher of two readings' : known ? `gauge, lower of two readings; now ${now.reading[0]} bar` : 'gauge, lower of two readings; present pressure unknown');
  text('lower', known && now.tyre ? `${now.tyre[0]} bar (${now.tyre[1]} psi)` : '–');
  at('stale').hidden = !(isLate() || (state && state.line === 'lost'));
  page.classList.toggle('air-on', Boolean(airNow() && known));
  text('held', known && trial && trial.running && trial.at >= 0 && ['leak-watch', 'seat-pause'].includes(trial.state) ? heldWords(trial) : '–');
  text('highest', result ? `${bar} bar (${psi} psi)` : highest(trial));
  showLease();
  const old = isOld();
  page.dataset.old = old ? 'yes' : 'no';
  if (old !== wasOld) {
    wasOld = old;
    if (state) showState();
  }
}

// How long the lower reading has been at the level without a break.
function heldWords(trial) {
  const level = trial.levels[trial.at];
  const least = level.pa / 1e5 - 0.001;
  let from = held.tick.length;
  while (from > 0 && held.tick[from - 1] >= trial.since_tick && held.tyre[from - 1] !== null && held.tyre[from - 1] >= least) from -= 1;
  const seconds = from < held.tick.length ? (held.tick[held.tick.length - 1] - held.tick[from]) * TICK_S : 0;
  return `${Math.floor(seconds)} of ${level.hold_s} s`;
}

// Once a test is over the large figure is what it reached; the specimen is vented by then.
function resultNow() {
  const trial = trialNow();
  return trial && !trial.running ? trial.result : null;
}
const figures = (words_) => words_.match(/[\d.]+/g).slice(0, 2);

let top = { tick: -1, bar: 0, at: 0 };
function highest(trial) {
  if (!trial || !trial.begun_tick) return '–';
  if (top.tick !== trial.begun_tick) top = { tick: trial.begun_tick, bar: 0, at: Math.max(0, held.next - held.tick.length) };
  const first = held.next - held.tick.length;
  for (let i = Math.max(0, top.at - first); i < held.tick.length; i += 1) {
    if (held.tick[i] >= trial.begun_tick && held.tyre[i] !== null) top.bar = Math.max(top.bar, held.tyre[i]);
  }
  top.at = held.next;
  return `${top.bar.toFixed(2)} bar (${(top.bar * 14.503773773020923).toFixed(1)} psi)`;
}

// Words, when they change

const PHASES = { sent: 'sending', confirm: 'confirm at the bench', hold: 'ready', 'let-go': 'ended, vented', ended: 'ended', refused: 'not done' };
const STATES = { filling: 'rising', 'leak-watch': 'holding', 'seat-pause': 'look at both beads' };
const SIGNS = { filling: '▲', 'leak-watch': '❚❚', 'seat-pause': '?', ended: '■', refused: '✕', 'let-go': '■' };
const LINES = {
  none: ['no bench', 'Plug the bench in, or look for it below.'],
  looking: ['looking', 'Check the cable and the port.'],
  lost: ['line lost', 'Without news there is no beat: the bench stops and vents by itself. Plug the cable in; its record comes home.'],
};

function words() {
  const { state } = line;
  const trial = state.trial;
  if (line.gone) return ['page not connected', `Without this page there is no beat: the bench stops and vents by itself. ${line.gone}`];
  if (state.line !== 'on') return LINES[state.line] || ['starting', ''];
  if (isOld()) return ['no news', 'Without news there is no beat: the bench stops and vents by itself. Stay behind the screen.'];
  if (!state.about.bench) return ['no proof bench', 'What is connected is an ordinary inflator. Connect the bench.'];
  if (!trial) return ['no test', 'Enter the specimen, read the plan, take the bench and send the test.'];
  if (resultNow()) return [resultNow().ended.replace(/\.$/, ''), trial.next];
  const phase = trial.phase === 'run' ? STATES[trial.state] || trial.state : PHASES[trial.phase];
  return [phase, trial.refused ? `${trial.refused}` : trial.next];
}

let before = null;
function showState() {
  const { state } = line;
  const trial = state.trial;
  const s = state.status;
  page.dataset.line = state.line;
  page.dataset.phase = trial ? trial.phase : 'none';
  page.dataset.state = s ? s.state : '';
  const [now, next] = words();
  const level = trial && trial.at >= 0 ? trial.levels[trial.at] : null;
  text('state', now);
  text('sign', trial ? (trial.phase === 'run' ? SIGNS[trial.state] : SIGNS[trial.phase]) || '●' : '–');
  text('next', next);
  text('level', trial && trial.running && level ? level.gauge : 'none');
  text('banner-says', state.about && state.about.bench ? `${state.about.device} is a bench: it raises a specimen past its limit on purpose. No person in the plane of the wheel.` : 'A bench raises a specimen past its limit on purpose, until it blows off if it must.');
  const stopped = trial && ['let-go', 'ended'].includes(trial.phase) && s && s.cause !== 'none' && s.cause !== 'target-reached';
  const latched = Boolean(s && s.latched);
  at('cause-box').hidden = !(stopped || latched);
  page.classList.toggle('latched', latched);
  if (stopped || latched) {
    text('cause', s.cause.replaceAll('-', ' '));
    text('reason', s.reason);
  }
  showLevels(trial);
  showEvents(trial);
  showResult(trial);
  hold();
  showLine();
  at('call-off').hidden = !running() || ['let-go', 'saving'].includes(trial.phase);
  const event = trial && trial.events.length ? ` Event: ${trial.events[trial.events.length - 1].text}.` : '';
  announce(`${state.about && state.about.bench ? 'Proof bench. ' : ''}${now}${level && trial.phase === 'run' ? `, level ${level.name}, ${level.gauge}` : ''}.${event} Next: ${next}`);
  const running_ = running();
  if (before !== null && running_ !== before) arrive(running_);
  before = running_;
  if (wasOld !== null) showNumbers();
}

// A test has begun: move its live part to the top. It is over: its record is in the list.
async function arrive(begun) {
  if (begun) {
    scrollTo(0, 0);
    if (line.mine) at('says-head').focus({ preventScroll: true });
    return;
  }
  const answer = await fetch('/bench/tests');
  if (answer.ok) at('tests').innerHTML = (await answer.json()).html;
}

let levelsShown = '';
function showLevels(trial) {
  const key = trial ? `${trial.begun}|${trial.at}|${trial.phase}|${trial.running}|${trial.levels.length}` : '';
  if (key === levelsShown) return;
  levelsShown = key;
  if (!trial) return;
  at('levels').replaceChildren(...trial.levels.map((level, i) => {
    const row = document.createElement('li');
    const over = i < trial.at || (i === trial.at && trial.phase === 'ended' && trial.result && trial.result.all_held);
    const here = i === trial.at && !over;
    row.className = over ? 'over' : here ? 'here' : '';
    if (here && trial.running) row.setAttribute('aria-current', 'step');
    const sign = document.createElement('span');
    sign.className = 'sign';
    sign.textContent = over ? '✓' : here ? (trial.running ? '▶' : '■') : '○';
    sign.setAttribute('aria-hidden', 'true');
    const name = document.createElement('span');
    name.textContent = `${level.name}${over ? ' (held)' : here ? (trial.running ? ' (now)' : ' (ended here)') : ''}`;
    const gauge = document.createElement('b');
    gauge.textContent = level.gauge;
    const hold = document.createElement('span');
    hold.textContent = `${level.hold_s} s`;
    row.append(sign, name, gauge, hold);
    return row;
  }));
  const here = at('levels').querySelector('.here');
  if (here) at('levels').scrollTop = Math.max(0, here.offsetTop - at('levels').offsetTop - 90);
}

function showEvents(trial) {
  const events = trial ? trial.events : [];
  if (at('events').dataset.count === String(events.length)) return;
  at('events').dataset.count = events.length;
  const rows = events.map((event) => `${event.t_s.toFixed(2)} s  ${event.text}`);
  at('events').replaceChildren(...(rows.length ? rows : ['None so far.']).map((words_) => {
    const row = document.createElement('li');
    row.textContent = words_;
    if (!rows.length) row.className = 'none';
    return row;
  }));
}

function showResult(trial) {
  const r = trial && trial.result;
  at('result').hidden = !r;
  if (!r || at('result').dataset.name === r.name) return;
  at('result').dataset.name = r.name;
  const facts = [['Ended', `${r.ended} (${r.cause})`], ['110 % for 5 minutes', r.retention], ['Highest', r.highest], ['Limit', r.limit], ['Margin', `${r.margin}${r.censored ? `. ${r.censored}` : ''}`], ['Held', r.held]];
  if (r.note) facts.push(['Note', r.note]);
  const list = document.createElement('dl');
  list.className = 'facts';
  for (const [name, value] of facts) {
    const dt = document.createElement('dt');
    const dd = document.createElement('dd');
    dt.textContent = name;
    dd.textContent = value;
    list.append(dt, dd);
  }
  const links = document.createElement('p');
  links.className = 'row';
  for (const [kind, name] of [['csv', 'Row (CSV)'], ['rws', 'Session']]) {
    const a = document.createElement('a');
    a.className = 'button';
    a.href = `/bench/${r.name}/file.${kind}`;
    a.textContent = name;
    links.append(a);
  }
  at('result').replaceChildren(list, links);
}

function hold() {
  page.dataset.hold = showHold('bench');
  const bench = line.state && line.state.about && line.state.about.bench;
  at('begin').disabled = !line.mine || !bench || running() || !at('read').checked;
  at('give').disabled = running();
  at('enrol').disabled = !bench || running() || (line.state.hold.held && !line.mine);
  text('enrol-says', bench && !line.state.about.key_enrolled ? 'This bench has no key yet: give it the bench’s key first.' : '');
}

// The plan, and the orders

async function showPlan() {
  const needed = ['label', 'rim', 'rim_max', 'tyre', 'tyre_max'];
  if (needed.some((name) => !form.elements[name].value.trim())) return;
  const made = await post('/bench/plan', new FormData(form));
  if (!made) return;
  at('plan').innerHTML = made.html;
  announce('The plan is shown.');
}
form.addEventListener('input', (event) => { if (event.target.id !== 'read' && event.target.id !== 'who') at('read').checked = false; hold(); });
form.addEventListener('input', settled(showPlan, 400));
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const all = new FormData(form);
  all.set('hold', line.mine);
  const sent = await post('/bench/begin', all);
  if (sent) { at('read').checked = false; hold(); }
});
at('enrol').addEventListener('click', async () => {
  if (!(await ensureHold('bench'))) return;
  const given = await post('/fill/enrol', { hold: line.mine });
  if (given) announce('The bench has its key.');
});
at('call-off').addEventListener('click', () => post('/bench/call-off', {}));
at('tests').addEventListener('click', async (event) => {
  const name = event.target.closest('[data-finish]')?.dataset.finish;
  if (!name) return;
  const made = await post(`/bench/${name}/finish`, {});
  if (made) at('tests').innerHTML = made.html;
});
addEventListener('beforeunload', (event) => { if (running() && line.mine) event.preventDefault(); });

// The trace: the whole test as far as this page has it

let airs = [];
let windowS = 30;
const drawn = plot(at('plot'), {
  series: [lines.reading, lines.tyre, lines.target, lines.ceiling], air: () => airs, height: innerWidth >= 1100 ? 340 : 240, xWord: 'seconds before now', x: { range: () => [-windowS, 0] },
});
function showTrace() {
  if (!held.tick.length) return;
  const { from, last, seconds } = recent(WINDOW_S);
  const every = Math.max(1, Math.ceil((held.tick.length - from) / 6000));
  const take = (column) => (every === 1 ? column.slice(from) : column.slice(from).filter((_, i) => i % every === 0));
  windowS = seconds;
  airs = take(held.air);
  const trial = trialNow();
  const limit = trial ? trial.limit_pa / 1e5 : null;
  const ticks = take(held.tick);
  const states = take(held.state);
  const levels = take(held.target).map((level, i) => (IN_TEST.includes(states[i]) ? level : null));
  drawn.setData([ticks.map((tick) => (tick - last) * TICK_S), take(held.reading), take(held.tyre), levels, ticks.map(() => limit)]);
}

wireHold('bench');
setInterval(giveBeat, BEAT_MS);
setInterval(showNumbers, 100);
setInterval(() => { if (!document.hidden) showTrace(); }, still.matches ? 1000 : 250);
join(page, showState, hold);
showPlan();
