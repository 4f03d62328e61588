// The view of changes: what the owner does becomes changes in the queue, and answers become words. The program holds the plan; this
// script holds nothing but what is being typed.
'use strict';

let group = 0; // what is typed without leaving a field is undone together

function tell(text, kind) {
  const m = byId('message');
  m.textContent = text;
  m.className = 'message ' + (kind || '');
}

// said tells what a change has done.
function said(c, a) {
  if (c.kind === 'save') {
    const faults = [count(a.errors, 'error'), count(a.warnings, 'warning')].filter(Boolean).join(' and ');
    if (a.errors) tell(`Saved, with ${faults}: no feeder takes the plan as it is.`, 'look');
    else if (a.warnings) tell(`Saved, with ${faults}.`, 'look');
    else tell('Saved.', 'fine');
  } else {
    tell(a.said || '', a.left ? 'look' : 'fine');
  }
}

function count(n, word) { return n ? `${n} ${word}${n === 1 ? '' : 's'}` : ''; }

function leftOut(lines) {
  byId('left').replaceChildren(...lines.map((l) => {
    const e = document.createElement('li');
    e.className = 'issue warning';
    const word = document.createElement('strong');
    word.textContent = 'Left out: ';
    e.append(word, l);
    return e;
  }));
}

// losing says that the program does not answer, for as long as it does not.
function losing(is) {
  if (lost === is) return;
  lost = is;
  if (is) {
    const text = 'The page has lost the program: is it still running? What you change now is kept only here.';
    byId('summary-long').textContent = text;
    byId('summary-brief').textContent = 'The program does not answer';
    byId('summary').className = 'status bad';
  } else {
    byId('summary-long').textContent = shown.summary;
    byId('summary-brief').textContent = shown.brief;
    byId('summary').className = 'status ' + shown.verdict;
  }
}

// act asks for something that is done to the plan as a whole, after all that was typed before.
function act(kind, body) { enqueue({kind, body: body || {}, act: true}); }

function edit(input) {
  const id = input.dataset.field;
  enqueue({kind: 'edit', key: id, what: input.value, body: {field: id, value: input.value, group: `${id}#${group}`}});
}

document.addEventListener('focusin', () => { group++; });

document.addEventListener('focusout', (e) => {
  const id = e.target.dataset && e.target.dataset.field; // what the program made of what was typed
  if (id && !pending(id) && e.target.value !== (shown.fields[id] || '')) e.target.value = shown.fields[id] || '';
});

document.addEventListener('input', (e) => {
  const t = e.target;
  if (t.dataset.field) {
    edit(t);
  } else if (t.id === 'source') {
    enqueue({kind: 'text', key: 'text', what: 'the plan as text', body: {text: t.value, group: `text#${group}`}});
  } else if (t.dataset.choice) {
    choose(t);
  }
});

// choose sends how a meal repeats. Every day is all days of the week; nothing else is chosen in the owner's place.
function choose(t) {
  const card = t.closest('[data-meal]'), id = Number(card.dataset.meal);
  const c = chosen(card);
  const was = (shown.meals.find((m) => m.id === id) || {}).choice;
  if (t.dataset.choice === 'kind' && c.kind === 'weekly' && c.days.length === 0 && was && was.kind === 'daily' && was.interval === 1) c.days = [0, 1, 2, 3, 4, 5, 6];
  if (t.dataset.choice === 'until') c.count = 0;
  if (t.dataset.choice === 'count' && c.count > 0) c.until = '';
  arrange(card, c.kind, c.interval);
  enqueue({kind: 'choose', key: 'choice' + id, what: 'how ' + card.querySelector('[data-name]').textContent + ' repeats', body: {meal: id, group: `choice${id}#${group}`, choice: c}});
}

document.addEventListener('change', (e) => {
  const t = e.target;
  if (t.dataset.append && t.value) {
    append(t);
  } else if (t.id === 'import' && t.files.length) {
    bring(t.files[0]);
    t.value = '';
  }
});

// append adds a day to a list of dates, with the meal's time where the list has times.
function append(t) {
  const field = byId(t.dataset.append), id = t.closest('[data-meal]').dataset.meal;
  const time = [byId(`meal.${id}.times`).value, field.value].map((v) => (v.match(/\b\d\d:\d\d\b/) || [''])[0]).find(Boolean);
  field.value = [field.value, t.value + ('timed' in t.dataset && time ? ' ' + time : '')].filter(Boolean).join(', ');
  t.value = '';
  group++;
  edit(field);
}

document.addEventListener('click', (e) => {
  const link = e.target.closest('a[href]');
  if (link && !e.ctrlKey && !e.metaKey && !e.shiftKey && e.button === 0 && !link.getAttribute('href').startsWith('#')) {
    if (!typed()) return;
    e.preventDefault();
    flushed().then(() => { location.href = link.href; });
    return;
  }
  const b = e.target.closest('button');
  if (!b) return;
  const card = b.closest('[data-meal]');
  if (b.dataset.action) act('meal', {action: b.dataset.action, meal: card ? Number(card.dataset.meal) : 0});
  else if (b.id === 'undo' || b.id === 'redo') act(b.id);
  else if (b.id === 'save') act('save', {replace: false});
  else if (b.id === 'replace') act('save', {replace: true});
  else if (b.id === 'reload') act('reload');
});

document.addEventListener('keydown', (e) => {
  if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
  const key = e.key.toLowerCase(), typing = e.target.matches('input:not([type=checkbox]), textarea');
  if (key === 's') {
    e.preventDefault();
    if (!byId('save').disabled) act('save', {replace: false});
  } else if (!typing && (key === 'z' || key === 'y')) {
    e.preventDefault();
    act(key === 'y' || e.shiftKey ? 'redo' : 'undo');
  }
});

async function bring(file) {
  if (file.size > 2e6) { tell(`${file.name} is too long for a plan or a calendar of meals.`); return; }
  act('import', {name: file.name, text: await file.text()});
}

for (const kind of ['dragenter', 'dragover']) {
  document.addEventListener(kind, (e) => { e.preventDefault(); document.documentElement.classList.add('drop'); });
}
for (const kind of ['dragleave', 'drop']) {
  document.addEventListener(kind, () => document.documentElement.classList.remove('drop'));
}
document.addEventListener('drop', (e) => {
  e.preventDefault();
  if (e.dataTransfer.files.length) bring(e.dataTransfer.files[0]);
});

for (const e of ['beforeunload', 'pagehide']) addEventListener(e, leaving);

byId('save').dataset.never = String(byId('save').disabled);
renew().then(watch, watch);
