// The view of boards: lists them, asks one everything, shows what the plan would change on it, and puts it there when told to.
'use strict';

let current = ''; // the feeder that is shown
let proposed = null; // what has been shown of a change; nothing else is put in force

async function search() {
  const list = await get('send/boards');
  byId('found').replaceChildren(...list.map((b) => {
    const button = element('button', '', 'Ask');
    button.type = 'button';
    button.dataset.board = b.id;
    button.setAttribute('aria-label', 'Ask ' + b.name);
    return element('li', '', button, ' ', element('strong', '', b.name), ' ', element('span', 'note', b.note));
  }));
}

const revision = Number(byId('panel').dataset.revision);
let refused = '';

function busy(on) {
  for (const b of document.querySelectorAll('main button')) b.disabled = on;
  document.body.setAttribute('aria-busy', String(on));
  if (!on) byId('upload').disabled = !proposed || proposed.same || Boolean(refused);
}

// act does something with a board and shows what the board says then; true if it went well.
async function act(what, body, done) {
  busy(true);
  tell('');
  let well = true;
  const timer = setInterval(() => steps().catch(() => {}), 150);
  try {
    const b = await post('send/' + what, body);
    const first = current !== b.id;
    current = b.id;
    show(b);
    tell(b.said || done, true);
    if (first) byId('board-h').focus();
  } catch (e) {
    tell(String(e.message || e));
    well = false;
  }
  clearInterval(timer);
  await steps().catch(() => {});
  busy(false);
  return well;
}

// look asks a feeder everything, and what the plan would change on it.
async function look(id) {
  forget();
  if (!await act('look', {id}, '') || refused) return;
  await propose();
}

function forget() {
  proposed = null;
  byId('question').hidden = true;
  byId('difference').hidden = true;
}

async function propose() {
  forget();
  busy(true);
  try {
    proposed = await post('send/propose', {id: current, revision});
    showProposal(proposed);
  } catch (e) {
    fill(byId('changes'), [element('li', 'issue error', String(e.message || e))], '');
  }
  await steps().catch(() => {});
  busy(false);
  watchRehearsal();
}

// watchRehearsal shows the steps until the rehearsal has come to its end.
async function watchRehearsal() {
  const list = await steps().catch(() => []);
  if (list.some((s) => s.name.startsWith('Rehearse') && s.state === 'goes on')) setTimeout(watchRehearsal, 400);
}

async function steps() {
  const list = await get('send/progress');
  const signs = {waits: '○', 'goes on': '◐', done: '●', failed: '✕'};
  fill(byId('steps'), list.map((s) => element('li', s.state === 'failed' ? 'bad' : '', element('span', 'sign', signs[s.state]), ` ${s.name}: `,
    element('strong', '', s.state), s.note ? ' – ' + s.note : '')), 'Not begun.');
  return list;
}

function showProposal(p) {
  fill(byId('changes'), p.changes.map((c) => element('li', '', c)), p.same ? 'Nothing: the feeder holds this plan.' : 'Nothing that a feeder would notice.');
  byId('difference').hidden = p.same;
  byId('food').textContent = p.food;
  byId('apart').textContent = p.clock;
  fill(byId('before'), (p.before || []).map((x) => element('li', '', x)), 'None.');
  fill(byId('after'), (p.after || []).map((x) => element('li', '', x)), 'None.');
  byId('setclock').checked = false;
  byId('askclock').hidden = !p.askClock;
}

function show(b) {
  byId('panel').hidden = false;
  byId('board-h').textContent = b.id === 'emulated' ? 'The emulated feeder' : 'The feeder on ' + b.name;
  const facts = [['Board', `${b.board}, firmware ${b.firmware}`], ['Holds', b.table], ['Clock', b.clock], ['Supply', b.supply]];
  if (b.called) facts.unshift(['Name', b.called]);
  if (b.setTo) facts.push(['Set to', b.setTo]);
  byId('facts').replaceChildren(...facts.map(([k, v]) => element('div', '', element('dt', '', k), element('dd', '', v))));
  fill(byId('faults'), b.faults.map((f) => element('li', 'issue error', f)), element('li', '', 'No faults.'));
  refused = b.refused;
  if (refused) fill(byId('changes'), [element('li', 'issue error', refused)], '');
  byId('clock').dataset.apart = b.apart ? b.clock : '';
  const due = (n) => element('li', '', element('span', 'date', n.Day + ' ' + n.Time), ' ', [n.What, n.Pockets].filter(Boolean).join(', '));
  fill(byId('next'), b.next.map(due), 'None.');
  fill(byId('journal'), b.journal.map(due), 'Empty.');
}

// question asks before something is done that cannot be taken back; then is what is done after a yes.
let then = null;
function question(text, yes, f) {
  then = f;
  byId('question-text').textContent = text;
  byId('yes').textContent = yes;
  byId('question').hidden = false;
  byId('yes').focus();
}

async function put() {
  const body = {id: current, revision, key: proposed.key, setClock: byId('setclock').checked};
  const well = await act('upload', body, 'The plan is on the feeder.');
  if (!well) { forget(); return; }
  proposed = {...proposed, same: true};
  showProposal({...proposed, changes: []});
  busy(false);
}

document.addEventListener('click', (e) => {
  const b = e.target.closest('button');
  if (!b) return;
  if (b.id !== 'yes') byId('question').hidden = true;
  if (b.dataset.board) look(b.dataset.board);
  else if (b.id === 'search') search().catch((x) => tell(x.message));
  else if (b.id === 'upload') question('This plan takes the place of the one on the feeder, from the next minute on.', 'Yes, put it on', put);
  else if (b.id === 'serve') act('serve', {id: current}, 'The wheel turns.');
  else if (b.id === 'clock' && b.dataset.apart) question(`The feeder's clock is ${b.dataset.apart}. Either may be the wrong one.`, 'Yes, set it', () => setClock(true));
  else if (b.id === 'clock') setClock(false);
  else if (b.id === 'yes') { byId('question').hidden = true; then(); }
});

function setClock(wanted) { act('clock', {id: current, wanted}, 'The clock is set.'); }

search().catch((e) => tell(e.message));
