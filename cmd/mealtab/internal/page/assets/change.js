// The view of changes: sends what is typed, shows what comes back. The server holds the plan; this script holds nothing but
// what is being typed.
'use strict';

const byId = (id) => document.getElementById(id);
let version = 0, structure = null, group = 0;
let queue = Promise.resolve();
const waiting = new Map(); // field -> timer

// post sends a change after those before it.
function post(path, body) {
  queue = queue.then(() => send(path, body)).catch((e) => tell(String(e.message || e)));
  return queue;
}

async function send(path, body) {
  const r = await fetch('/api/' + path, {
    method: 'POST', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(body || {}),
  });
  const answer = await r.json();
  byId('conflict').hidden = r.status !== 409;
  if (!r.ok) { tell(answer.error); return; }
  tell(path === 'save' ? 'Saved.' : '', true);
  await show(answer);
}

function tell(text, fine) {
  const m = byId('message');
  m.textContent = text.charAt(0).toUpperCase() + text.slice(1);
  m.classList.toggle('fine', Boolean(fine));
}

// show brings the page up to date, but leaves the field alone in which someone is typing.
async function show(s) {
  if (s.version < version) return;
  version = s.version;
  if (structure !== null && s.structure !== structure) await rebuild();
  structure = s.structure;
  byId('title').textContent = s.title;
  document.title = s.title + ' · mealtab';
  for (const input of document.querySelectorAll('[data-field]')) {
    const id = input.dataset.field;
    if (input !== document.activeElement && !waiting.has(id)) input.value = s.fields[id] || '';
    issues(id, input, s.issues[id] || []);
  }
  s.meals.forEach((m, n) => {
    const card = document.querySelector(`[data-meal="${n}"]`);
    if (!card) return;
    card.querySelector('[data-name]').textContent = s.fields[`meal.${n}.name`];
    card.querySelector('[data-words]').textContent = m.words;
    issues(`meal.${n}`, null, s.issues[`meal.${n}`] || []);
    choice(card, m.choice);
    if (s.issues[`meal.${n}.rrule`]) card.querySelector('[data-typed]').open = true;
  });
  const source = byId('source');
  if (source && source !== document.activeElement) source.value = s.source;
  list(byId('general'), s.general);
  byId('summary-long').textContent = s.summary;
  byId('summary-brief').textContent = s.brief;
  byId('summary').className = 'status ' + (s.errors ? 'bad' : 'good');
  byId('week').innerHTML = s.week;
  buttons(s);
}

function buttons(s) {
  byId('undo').disabled = !s.canUndo;
  byId('redo').disabled = !s.canRedo;
  const save = byId('save');
  save.disabled = save.dataset.never === 'true' || !s.dirty;
}

function issues(id, input, found) {
  const box = byId(id + '-issues');
  if (box) list(box, found);
  if (input) input.setAttribute('aria-invalid', String(found.some((i) => i.severity === 'error')));
}

function list(box, found) {
  const item = box.tagName === 'UL' ? 'li' : 'span';
  box.replaceChildren(...found.map((i) => {
    const e = document.createElement(item);
    e.className = 'issue ' + i.severity;
    const word = document.createElement('strong');
    word.textContent = i.severity === 'error' ? 'Wrong: ' : 'Look: ';
    e.append(word, i.message);
    if (i.hint) {
      const hint = document.createElement('span');
      hint.className = 'hint';
      hint.textContent = i.hint;
      e.append(hint);
    }
    return e;
  }));
}

const units = {daily: 'day', weekly: 'week', monthdays: 'month', nth: 'month', hours: 'hour', minutes: 'minute'};

// choice shows how a meal repeats.
function choice(card, c) {
  const set = (name, value) => {
    const e = card.querySelector(`[data-choice="${name}"]`);
    if (e !== document.activeElement) e.value = value;
  };
  set('kind', c.kind);
  set('interval', c.interval);
  set('monthDays', c.monthDays);
  set('nth', c.nth);
  set('weekday', c.weekday);
  set('until', c.until);
  set('count', c.count || '');
  for (const name of ['days', 'months']) {
    for (const e of card.querySelectorAll(`[data-choice="${name}"]`)) e.checked = (c[name] || []).includes(Number(e.value));
  }
  arrange(card, c.kind, c.interval);
}

function arrange(card, kind, interval) {
  for (const part of card.querySelectorAll('[data-for]')) part.hidden = !part.dataset.for.split(' ').includes(kind);
  card.querySelector('[data-unit]').textContent = (units[kind] || '') + (Number(interval) === 1 ? '' : 's');
  if (kind === 'typed') card.querySelector('[data-typed]').open = true;
}

// chosen collects a card's choice.
function chosen(card) {
  const value = (name) => card.querySelector(`[data-choice="${name}"]`).value;
  const checked = (name) => [...card.querySelectorAll(`[data-choice="${name}"]:checked`)].map((e) => Number(e.value));
  return {
    kind: value('kind'), interval: Math.max(1, Math.trunc(Number(value('interval'))) || 1), days: checked('days'),
    monthDays: value('monthDays'), nth: Number(value('nth')), weekday: Number(value('weekday')), months: checked('months'),
    until: value('until'), count: Math.max(0, Math.trunc(Number(value('count'))) || 0),
  };
}

// later sends after a pause in typing.
function later(id, send) {
  clearTimeout(waiting.get(id));
  waiting.set(id, setTimeout(() => { waiting.delete(id); send(); }, 180));
}

async function rebuild() {
  const held = document.activeElement && document.activeElement.id;
  const r = await fetch('/change/cards');
  if (!r.ok) return;
  byId('cards').innerHTML = await r.text();
  const again = held && byId(held);
  if (again) again.focus();
}

document.addEventListener('focusin', () => { group++; });

document.addEventListener('input', (e) => {
  const t = e.target;
  if (t.dataset.field) {
    const id = t.dataset.field, g = `${id}#${group}`;
    later(id, () => post('edit', {field: id, value: t.value, group: g}));
  } else if (t.id === 'source') {
    const g = `text#${group}`;
    later('text', () => post('text', {text: t.value, group: g}));
  } else if (t.dataset.choice) {
    const card = t.closest('[data-meal]');
    const c = chosen(card), g = `choice#${card.dataset.meal}#${group}`;
    if (c.kind === 'weekly' && c.days.length === 0 && t.dataset.choice === 'kind') c.days = [0, 1, 2, 3, 4];
    if (c.kind === 'monthdays' && !c.monthDays) c.monthDays = '1';
    if (t.dataset.choice === 'until') c.count = 0;
    if (t.dataset.choice === 'count' && c.count > 0) c.until = '';
    arrange(card, c.kind, c.interval);
    later(`choice${card.dataset.meal}`, () => post('choose', {meal: Number(card.dataset.meal), group: g, choice: c}));
  }
});

document.addEventListener('change', (e) => {
  const t = e.target;
  if (t.dataset.append && t.value) {
    const field = byId(t.dataset.append), n = t.closest('[data-meal]').dataset.meal;
    const time = (byId(`meal.${n}.times`).value.match(/\d\d:\d\d/) || ['12:00'])[0];
    field.value = [field.value, t.value + ('timed' in t.dataset ? ' ' + time : '')].filter(Boolean).join(', ');
    t.value = '';
    post('edit', {field: field.dataset.field, value: field.value, group: ''});
  } else if (t.id === 'import' && t.files.length) {
    take(t.files[0]);
    t.value = '';
  }
});

document.addEventListener('click', (e) => {
  const b = e.target.closest('button');
  if (!b) return;
  const card = b.closest('[data-meal]');
  if (b.dataset.action) post('meal', {action: b.dataset.action, meal: card ? Number(card.dataset.meal) : 0});
  else if (b.id === 'undo' || b.id === 'redo') post(b.id);
  else if (b.id === 'save') post('save', {replace: false});
  else if (b.id === 'replace') post('save', {replace: true});
  else if (b.id === 'reload') post('reload');
});

document.addEventListener('keydown', (e) => {
  if (!(e.ctrlKey || e.metaKey) || e.altKey) return;
  const key = e.key.toLowerCase(), typing = e.target.matches('input:not([type=checkbox]), textarea');
  if (key === 's') {
    e.preventDefault();
    if (!byId('save').disabled) post('save', {replace: false});
  } else if (!typing && (key === 'z' || key === 'y')) {
    e.preventDefault();
    post(key === 'y' || e.shiftKey ? 'redo' : 'undo');
  }
});

async function take(file) {
  if (file.size > 2e6) { tell(file.name + ' is too long for a plan or a calendar of meals.'); return; }
  post('import', {name: file.name, text: await file.text()});
}

for (const kind of ['dragenter', 'dragover']) {
  document.addEventListener(kind, (e) => { e.preventDefault(); document.documentElement.classList.add('drop'); });
}
for (const kind of ['dragleave', 'drop']) {
  document.addEventListener(kind, () => document.documentElement.classList.remove('drop'));
}
document.addEventListener('drop', (e) => {
  e.preventDefault();
  if (e.dataTransfer.files.length) take(e.dataTransfer.files[0]);
});

byId('save').dataset.never = String(byId('save').disabled);
post('state');
