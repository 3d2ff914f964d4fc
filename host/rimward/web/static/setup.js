// The set-up page: five steps, the first one not done is marked; they may be done in any order.
import { announce, at, post, showErrors } from './rimward.js';
import { isOn, join, line } from './live.js';
import { ensureHold, showHold, showLine, text, wireHold } from './hold.js';

const page = document.querySelector('.setup-page');
const done = { name: false, source: false };
let read = '';

function steps() {
  const about = line.state && line.state.about;
  const on = isOn() && about;
  return {
    key: at('make-key').dataset.made === 'yes', inflator: Boolean(on), enrol: Boolean(on && about.key_enrolled), name: done.name, source: done.source,
  };
}

function showSteps() {
  const now = steps();
  const first = Object.keys(now).find((name) => !now[name]);
  for (const [name, is] of Object.entries(now)) {
    const box = at(`step-${name}`);
    box.querySelector('.mark-done').hidden = !is;
    box.classList.toggle('now-step', name === first);
  }
  const about = line.state && line.state.about;
  const free = isOn() && (line.mine || !line.state.hold.held);
  const why = !isOn() ? 'Connect the inflator first.' : free ? '' : 'Another page holds the inflator: give it back there.';
  at('enrol').disabled = Boolean(why);
  text('enrol-says', why || (about.key_enrolled ? 'It has a key. Giving it this workshop’s again does no harm.' : about.bench ? 'A proof bench: it is given the bench’s key.' : ''));
  for (const id of ['put', 'put-source']) at(id).disabled = Boolean(why);
}

function changed() {
  const { state } = line;
  page.dataset.line = state.line;
  showHold('inflator');
  showLine();
  showSteps();
  const device = isOn() && state.about ? state.about.device : '';
  if (device && device !== read) fetchSettings(device);
}

async function fetchSettings(device) {
  read = device;
  const answer = await fetch('/setup/settings');
  if (answer.ok) fill(await answer.json());
  else read = '';
}

function fill(told) {
  const { settings, source } = document.forms;
  settings.elements.label.value = told.label;
  settings.elements.unit.value = told.unit;
  settings.elements.buzzer.value = told.buzzer ? 'on' : 'off';
  done.name = Boolean(told.label);
  if (told.source) {
    done.source = true;
    source.elements.kind.value = told.source.kind;
    for (const name of ['flow_0', 'supply']) source.elements[name].value = told.source[name] || '';
  }
  showSteps();
}

at('make-key').addEventListener('click', async () => {
  const made = await post('/setup/key', { purpose: 'workshop' });
  if (!made) return;
  text('key-workshop', `Key ${made.key_id}, made ${made.made}, kept in ${made.kept_in}.`);
  at('make-key').dataset.made = 'yes';
  at('make-key').hidden = true;
  showSteps();
  announce('The workshop key is made.');
});
at('enrol').addEventListener('click', async () => {
  if (!(await ensureHold('inflator'))) return;
  const given = await post('/fill/enrol', { hold: line.mine });
  if (given) announce(given.purpose === 'bench' ? 'The bench has its key.' : 'The inflator has this workshop’s key.');
});

async function send(event, address, says) {
  event.preventDefault();
  if (!(await ensureHold('inflator'))) return;
  const all = new FormData(event.target);
  all.set('hold', line.mine);
  text(says, 'Sending …');
  const told = await post(address, all);
  text(says, told ? (told.waiting ? 'Confirm it at the inflator.' : 'Set.') : 'Not set.');
  if (!told) return;
  showErrors({}, false, event.target);
  fill(told);
}
document.forms.settings.addEventListener('submit', (event) => send(event, '/setup/settings', 'put-says'));
document.forms.source.addEventListener('submit', (event) => send(event, '/setup/source', 'source-says'));

wireHold('inflator');
join(page, changed, () => { if (line.state) changed(); });
