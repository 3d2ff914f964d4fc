// Selecting and reserving the inflator: the same on every page that sends to it.
import { announce, at, post, refuse } from './rimward.js';
import { PAGE, keepHold, line } from './live.js';

export function text(id, value) {
  const box = typeof id === 'string' ? at(id) : id;
  if (box.textContent !== value) box.textContent = value;
}

// Show who holds it; return mine, other or free.
export function showHold(thing) {
  const hold = line.state ? line.state.hold : { held: false, who: '' };
  const mine = Boolean(line.mine);
  at('take').hidden = mine;
  at('give').hidden = !mine;
  at('take').disabled = hold.held && !mine;
  const other = hold.held && !mine ? `Another page holds the ${thing}${hold.who ? ` (${hold.who})` : ''}. This one watches.` : '';
  text('hold-says', mine ? `This page holds the ${thing}.` : other || `Only one page at a time sends things to the ${thing}. Any number may watch.`);
  return mine ? 'mine' : hold.held ? 'other' : 'free';
}

export function showLine() {
  const { state } = line;
  const a = state.about;
  const on = state.line === 'on' && a;
  const bad = line.gone;
  const words = bad ? 'This page is not connected.' : on ? `Inflator ${a.device} on ${state.port}, ${a.board}, firmware ${a.firmware}, ${a.key_enrolled ? 'has a key' : 'no key yet'}${a.simulated ? ' (virtual)' : ''}${a.bench ? ' (PROOF BENCH)' : ''}.` : state.why || 'Not connected.';
  text('line', words);
}

// Take the hold if it is free; otherwise show the reason and return false.
export async function ensureHold(thing) {
  if (line.mine) return true;
  const got = await post('/fill/take', { page: PAGE, who: at('who').value });
  if (!got) return false;
  localStorage.setItem('rimward-who', at('who').value);
  keepHold(got.hold);
  announce(`This page holds the ${thing}.`);
  return true;
}

export function wireHold(thing) {
  at('take').addEventListener('click', () => ensureHold(thing));
  at('give').addEventListener('click', async () => {
    await post('/fill/give', { hold: line.mine });
    keepHold('');
  });
  at('look').addEventListener('click', async () => {
    const answer = await fetch('/fill/look');
    if (!answer.ok) { refuse('The search failed.'); return; }
    const found = (await answer.json()).inflators.filter((row) => row.inflator);
    at('ports').replaceChildren(...found.map((row) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.textContent = `Use ${row.device} on ${row.port}`;
      button.addEventListener('click', async () => { await post('/fill/use', { port: row.port, hold: line.mine }); });
      return button;
    }));
    announce(found.length === 1 ? 'One inflator is here.' : `${found.length} inflators are here.`);
  });
  at('who').value = localStorage.getItem('rimward-who') || '';
}
