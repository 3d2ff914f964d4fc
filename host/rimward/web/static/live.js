import { whyGone } from './rimward.js';

// The live line: every sample once, in columns that stay within KEPT; the newest state; and whether this page holds the inflator.

export const PAGE = crypto.randomUUID();
const KEPT = 32000;
const COLUMNS = ['tick', 'reading', 'tyre', 'air', 'state', 'ceiling', 'stop', 'target'];
const memory = sessionStorage;

// Samples are numbered by the server without a gap; pressures in bar, null where there is none.
export const held = { run: memory.getItem('rimward-run') || '', next: -1, gone: 0, count: 0, ...Object.fromEntries(COLUMNS.map((name) => [name, []])) };
export const line = { state: null, now: null, heard: 0, mine: memory.getItem('rimward-hold') || '', gone: '', hop: 0, sample: null, status: null };

let socket = null;
let retry = 200;
let box = null;
let tell = null;

// `page` gets the counts as data attributes; `changed` is called for every new state, `holding` when the hold is known.
export function join(page, changed, holding) {
  box = page;
  tell = { changed, holding };
  connect();
}

export function keepHold(token) {
  line.mine = token;
  if (token) memory.setItem('rimward-hold', token);
  else memory.removeItem('rimward-hold');
  tell.holding();
}

// Send a message; false without a line.
export function say(message) {
  if (!socket || socket.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(message));
  return true;
}

export const OLD_MS = 1000;
const DEAD_MS = 6000; // a silent line is opened again after this time: a laptop that slept, a changed network

// Milliseconds since `born`; a computer that slept does not count on the one clock, one whose time was set does not on the other.
const since = (born) => Math.max(performance.now() - born.mono, Date.now() - born.wall, 0);
const bornNow = (age) => ({ mono: performance.now() - age, wall: Date.now() - age });

export const isOn = () => Boolean(line.state && line.state.line === 'on');

// Age of the newest sample and of the shown state, milliseconds; Infinity where there is none.
export const sampleAge = () => (line.sample ? since(line.sample) : Infinity);
export const statusAge = () => (line.status ? since(line.status) : Infinity);
export const isLate = () => isOn() && sampleAge() > OLD_MS;
export const isOld = () => !isOn() || Math.max(sampleAge(), statusAge()) > OLD_MS || Boolean(line.gone);

let pinged = new Map();
let number = 0;
function ping() {
  number += 1;
  pinged.set(number, performance.now());
  if (pinged.size > 8) pinged.delete(pinged.keys().next().value);
  const unanswered = performance.now() - Math.min(...pinged.values());
  if (socket && socket.readyState === WebSocket.OPEN) {
    if (line.heard && unanswered > DEAD_MS && performance.now() - line.heard > DEAD_MS) socket.close();
    else say({ ping: number });
  }
}

function connect() {
  pinged = new Map();
  const mine = new WebSocket(`ws://${location.host}/live`);
  socket = mine;
  mine.onopen = () => say({ page: PAGE, since: held.next, run: held.run, hold: line.mine });
  mine.onmessage = (event) => { if (mine === socket) hear(JSON.parse(event.data)); };
  mine.onclose = async () => {
    if (mine !== socket) return;
    const why = await whyGone();
    if (line.gone !== why) { line.gone = why; if (line.state) tell.changed(); }
    setTimeout(connect, retry);
    retry = Math.min(retry * 2, 3000);
  };
}

// A closing handshake may never end on a dead line: continue without it.
function revive() {
  if (!socket || document.hidden || socket.readyState === WebSocket.CONNECTING) return;
  if (performance.now() - line.heard > DEAD_MS && line.heard) { line.heard = performance.now(); socket.onclose = null; socket.close(); connect(); }
}
document.addEventListener('visibilitychange', revive);
addEventListener('online', revive);
setInterval(() => { ping(); revive(); }, 1000);

function hear(said) {
  line.heard = performance.now();
  retry = 200;
  const was = line.gone;
  line.gone = '';
  if (said.pong !== undefined && pinged.has(said.pong)) {
    line.hop = performance.now() - pinged.get(said.pong);
    for (const n of [...pinged.keys()]) if (n <= said.pong) pinged.delete(n);
  }
  if (said.ages) {
    const [sample, status] = said.ages;
    if (sample !== null && (said.rows || !line.sample)) line.sample = bornNow(sample + line.hop);
    line.status = status === null ? null : bornNow(status + line.hop);
  }
  if (said.run !== undefined) begin(said);
  if (said.rows) take(said);
  if (said.state) {
    line.state = said.state;
    tell.changed();
  } else if (was && line.state) tell.changed();
}

function begin({ run, hold }) {
  if (run !== held.run) {
    for (const name of COLUMNS) held[name].length = 0;
    held.run = run;
    held.next = -1;
    memory.setItem('rimward-run', run);
  }
  if (!hold) keepHold('');
  else tell.holding();
}

const bar = (pa) => (pa ? pa / 1e5 : null);

function take({ first, gone, rows, now }) {
  if (held.next >= 0 && first !== held.next) held.gone += first - held.next - gone;
  held.gone += gone;
  for (const [tick, reading, tyre, air, state, ceiling, stop, target] of rows) {
    held.tick.push(tick);
    held.reading.push(reading / 1e5);
    held.tyre.push(tyre < 0 ? null : tyre / 1e5);
    held.air.push(air);
    held.state.push(state);
    held.ceiling.push(bar(ceiling));
    held.stop.push(bar(stop));
    held.target.push(bar(target));
  }
  held.next = first + rows.length;
  held.count += rows.length;
  if (held.tick.length > KEPT) for (const name of COLUMNS) held[name].splice(0, held[name].length - KEPT + 2000);
  if (now) line.now = { ...now, pa: rows[rows.length - 1] };
  box.dataset.samples = held.count;
  box.dataset.gone = held.gone;
  box.dataset.next = held.next;
}

let looked = -1;

// True if air was on since the last call: a pulse between two calls, or late in a batch, counts too.
export function airNow() {
  const fresh = looked < 0 ? 1 : Math.max(1, held.next - looked);
  looked = held.next;
  return held.air.slice(-fresh).some(Boolean);
}

// Where the newest `windowS` seconds begin in the columns, and how many seconds they are (in steps of ten, 30 at the least).
export function recent(windowS) {
  const n = held.tick.length;
  const last = held.tick[n - 1];
  let from = n;
  while (from > 0 && (last - held.tick[from - 1]) * 0.002 <= windowS && held.tick[from - 1] <= last) from -= 1;
  return { from, last, seconds: Math.min(windowS, Math.max(30, Math.ceil((last - held.tick[from]) / 5000) * 10)) };
}
