// The live line: every sample once, in columns that stay within KEPT; the newest state; and whether this page holds the inflator.

export const PAGE = crypto.randomUUID();
const KEPT = 32000;
const COLUMNS = ['tick', 'reading', 'tyre', 'air', 'state', 'ceiling', 'stop', 'target'];
const memory = sessionStorage;

// Samples are numbered by the server without a gap; pressures in bar, null where there is none.
export const held = { run: memory.getItem('rimward-run') || '', next: -1, gone: 0, count: 0, ...Object.fromEntries(COLUMNS.map((name) => [name, []])) };
export const line = { state: null, now: null, heard: 0, mine: memory.getItem('rimward-hold') || '' };

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

// Says something on the line; false where there is none.
export function say(message) {
  if (!socket || socket.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(message));
  return true;
}

export const isOn = () => Boolean(line.state && line.state.line === 'on');
export const isLate = () => isOn() && performance.now() - line.heard > 1500;

function connect() {
  socket = new WebSocket(`ws://${location.host}/live`);
  socket.onopen = () => say({ page: PAGE, since: held.next, run: held.run, hold: line.mine });
  socket.onmessage = (event) => hear(JSON.parse(event.data));
  socket.onclose = () => {
    line.heard = 0;
    setTimeout(connect, retry);
    retry = Math.min(retry * 2, 3000);
  };
}

function hear(said) {
  line.heard = performance.now();
  retry = 200;
  if (said.run !== undefined) begin(said);
  if (said.rows) take(said);
  if (said.state) {
    line.state = said.state;
    tell.changed();
  }
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

// Whether air was on since the last look: a pulse between two looks, or one that came late in a batch, shows too.
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
