// What the views of boards share.
'use strict';

const byId = (id) => document.getElementById(id);

async function get(path) {
  const r = await fetch(path);
  if (!r.ok) throw new Error(await r.text());
  return r.json();
}

async function post(path, body) {
  const r = await fetch('api/' + path, {
    method: 'POST', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(body || {}),
  });
  const answer = await r.json();
  if (!r.ok) throw new Error(answer.error);
  return answer;
}

// element makes one with texts and elements in it.
function element(name, className, ...parts) {
  const e = document.createElement(name);
  if (className) e.className = className;
  e.append(...parts);
  return e;
}

function tell(text, fine) {
  const m = byId('message');
  m.textContent = text.charAt(0).toUpperCase() + text.slice(1);
  m.classList.toggle('fine', Boolean(fine));
}

// fill puts items into a list, and says so when there are none.
function fill(list, items, none) {
  const all = items.length ? items : [none];
  const text = all.map((i) => i.textContent || i).join('\n');
  if (list.dataset.text === text) return;
  list.dataset.text = text;
  list.replaceChildren(...all.map((i) => (typeof i === 'string' ? element('li', '', i) : i)));
}
