// The view of boards: lists them, asks one everything, and puts the plan on it.
'use strict';

let current = '';

async function search() {
  const list = await get('/send/boards');
  byId('found').replaceChildren(...list.map((b) => {
    const button = element('button', '', 'Ask');
    button.type = 'button';
    button.dataset.board = b.id;
    button.setAttribute('aria-label', 'Ask ' + b.name);
    return element('li', '', button, ' ', element('strong', '', b.name), ' ', element('span', 'note', b.note));
  }));
}

const wait = ['upload', 'serve', 'clock', 'search'];

function busy(on) {
  for (const id of wait) byId(id).disabled = on;
  document.body.setAttribute('aria-busy', String(on));
}

// act does something with a board and shows what the board says then.
async function act(what, id, done) {
  busy(true);
  tell('');
  let timer = 0;
  if (what === 'upload') timer = setInterval(progress, 150);
  try {
    const b = await post('send/' + what, {id});
    const first = current !== id;
    current = id;
    show(b);
    tell(done, true);
    if (first) byId('board-h').focus();
  } catch (e) {
    tell(String(e.message || e));
  }
  clearInterval(timer);
  if (what === 'upload') await progress();
  busy(false);
  refuse();
}

let refused = '';
function refuse() { byId('upload').disabled = Boolean(refused); }

async function progress() {
  const p = await get('/send/progress');
  byId('progress').max = p.total || 1;
  byId('progress').value = p.done;
  byId('step').textContent = p.step ? p.step : 'Not begun';
}

function show(b) {
  byId('panel').hidden = false;
  byId('board-h').textContent = b.id === 'emulated' ? 'The emulated feeder' : 'The feeder on ' + b.name;
  const facts = [['Board', `${b.board}, firmware ${b.firmware}`], ['Holds', b.table], ['Clock', b.clock], ['Supply', b.supply]];
  if (b.setTo) facts.push(['Set to', b.setTo]);
  byId('facts').replaceChildren(...facts.map(([k, v]) => element('div', '', element('dt', '', k), element('dd', '', v))));
  fill(byId('faults'), b.faults.map((f) => element('li', 'issue error', f)), element('li', '', 'No faults.'));
  refused = b.same ? 'same' : b.refused;
  fill(byId('changes'), b.refused ? [element('li', 'issue error', b.refused)] : b.changes, b.same ? 'Nothing: the feeder holds this plan.' : 'Nothing that a feeder would notice.');
  const due = (n) => element('li', '', element('span', 'date', n.Day + ' ' + n.Time), ' ', [n.What, n.Pockets].filter(Boolean).join(', '));
  fill(byId('next'), b.next.map(due), 'None.');
  fill(byId('journal'), b.journal.map(due), 'Empty.');
}

document.addEventListener('click', (e) => {
  const b = e.target.closest('button');
  if (!b) return;
  if (b.dataset.board) act('look', b.dataset.board, '');
  else if (b.id === 'search') search().catch((x) => tell(x.message));
  else if (b.id === 'upload') act('upload', current, 'The plan is on the feeder.');
  else if (b.id === 'serve') act('serve', current, 'The wheel turns.');
  else if (b.id === 'clock') act('clock', current, 'The clock is set.');
});

search().catch((e) => tell(e.message));
