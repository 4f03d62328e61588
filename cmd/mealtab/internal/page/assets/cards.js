// The cards: shows the plan as the program has it. A card is made when its meal comes and goes when it goes; between that it is changed in
// place, and the field in which someone is typing is left alone.
'use strict';

let shown = {fields: {}}; // the newest state

// show brings the page up to date. all: also the field that has the cursor, because what was typed there is not in the plan. own is the key of
// the change that this answers: what the program made of half a word is no word to go on typing at.
function show(s, all, own) {
  if (s.revision < revision) return;
  const before = shown;
  shown = s;
  revision = s.revision;
  arrangeCards(s);
  byId('title').textContent = s.title;
  document.title = s.title + ' · mealtab';
  for (const input of document.querySelectorAll('[data-field]')) showField(input, s, before, all, own);
  for (const m of s.meals) showMeal(m, s, all);
  const source = byId('source');
  if (!pending('text') && source.value !== s.source && (all || source !== document.activeElement || s.source !== before.source)) source.value = s.source;
  list(byId('general'), s.general);
  byId('summary-long').textContent = s.summary;
  byId('summary-brief').textContent = s.brief;
  byId('summary').className = 'status ' + s.verdict;
  if (s.week !== before.week) byId('week').innerHTML = s.week;
  buttons();
}

// showField puts a value into its field, unless it is being typed there. A field that has the cursor but has been changed by others meanwhile
// is shown as it is now: the next key would write the old value again.
function showField(input, s, before, all, own) {
  const id = input.dataset.field, value = s.fields[id] || '';
  const typing = input === document.activeElement && (own === id || (before.fields[id] || '') === value);
  if (!pending(id) && input.value !== value && (all || !typing)) input.value = value;
  issues(id, input, s.issues[id] || []);
}

// arrangeCards makes the cards those of the plan's meals, in their order.
function arrangeCards(s) {
  byId('calendar').hidden = !s.calendar;
  byId('nocards').hidden = s.calendar || !s.noCards;
  byId('nocards-why').textContent = s.noCards;
  byId('bycard').hidden = Boolean(s.noCards);
  byId('bytext').hidden = s.calendar;
  if (s.noCards) { byId('bytext').open = true; return; }
  const box = byId('cards'), ids = s.meals.map((m) => String(m.id));
  for (const card of [...box.children]) if (!ids.includes(card.dataset.meal)) remove(card);
  ids.forEach((id, n) => {
    let card = cardOf(id);
    if (!card) card = makeCard(id);
    if (box.children[n] !== card) box.insertBefore(card, box.children[n] || null);
  });
}

// remove takes a card away; the cursor, if it was in it, goes to the next button that makes one.
function remove(card) {
  const held = card.contains(document.activeElement);
  card.remove();
  if (held) document.querySelector('[data-action="add"]').focus();
}

const cardOf = (id) => document.querySelector(`[data-meal="${id}"]`);

function makeCard(id) {
  const box = document.createElement('template');
  box.innerHTML = byId('card').innerHTML.replaceAll('meal.NEW', 'meal.' + id).replaceAll('data-meal="NEW"', `data-meal="${id}"`);
  return box.content.querySelector('[data-meal]');
}

function showMeal(m, s, all) {
  const card = cardOf(m.id);
  if (!card) return;
  const name = s.fields[`meal.${m.id}.name`];
  card.querySelector('[data-name]').textContent = name;
  card.querySelector('[data-words]').textContent = m.words;
  card.querySelector('circle').setAttribute('class', 'f-meal' + m.color);
  for (const b of card.querySelectorAll('[data-action]')) b.setAttribute('aria-label', `${b.textContent} ${name}`);
  for (const part of ['', '.days', '.interval', '.monthdays']) issues(`meal.${m.id}${part}`, byId(`meal.${m.id}${part}`), s.issues[`meal.${m.id}${part}`] || []);
  if (!pending('choice' + m.id)) showChoice(card, m.choice, all);
  if (s.issues[`meal.${m.id}.rrule`]) card.querySelector('[data-typed]').open = true;
}

function buttons() {
  byId('undo').disabled = !shown.canUndo && !typed();
  byId('redo').disabled = !shown.canRedo;
  byId('save').disabled = byId('save').dataset.never === 'true' || !(shown.dirty || typed());
}

// typed reports whether there are changes that the program has not answered yet.
function typed() { return Boolean(sending) || waiting.length > 0; }

function issues(id, input, found) {
  const box = byId(id + '-issues');
  if (box) list(box, found);
  if (input && input.tagName === 'INPUT') input.setAttribute('aria-invalid', String(found.some((i) => i.severity === 'error')));
}

// list shows issues, and leaves alone what it shows already: a reader of the screen says what is new.
function list(box, found) {
  const text = JSON.stringify(found);
  if (box.dataset.found === text) return;
  box.dataset.found = text;
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

// showChoice shows how a meal repeats.
function showChoice(card, c, all) {
  const set = (name, value) => {
    const e = card.querySelector(`[data-choice="${name}"]`);
    if ((all || e !== document.activeElement) && e.value !== String(value)) e.value = value;
  };
  set('kind', c.kind);
  set('interval', c.interval || '');
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

// arrange shows what belongs to a kind of repetition.
function arrange(card, kind, interval) {
  for (const part of card.querySelectorAll('[data-for]')) part.hidden = !part.dataset.for.split(' ').includes(kind);
  card.querySelector('[data-unit]').textContent = (units[kind] || '') + (Number(interval) === 1 ? '' : 's');
  if (kind === 'typed') card.querySelector('[data-typed]').open = true;
}

// chosen collects a card's choice. What is empty stays empty: the program says what is missing.
function chosen(card) {
  const value = (name) => card.querySelector(`[data-choice="${name}"]`).value;
  const checked = (name) => [...card.querySelectorAll(`[data-choice="${name}"]:checked`)].map((e) => Number(e.value));
  const whole = (name) => Math.min(1e6, Math.max(0, Math.trunc(Number(value(name))) || 0));
  return {
    kind: value('kind'), interval: whole('interval'), days: checked('days'),
    monthDays: value('monthDays'), nth: Number(value('nth')), weekday: Number(value('weekday')), months: checked('months'),
    until: value('until'), count: whole('count'),
  };
}
