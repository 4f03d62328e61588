// The queue of changes. Each is sent after the one before it has been answered, and names the revision of the plan that the page shows.
// What is being typed waits for a pause, but nothing overtakes it: whatever is asked for next first sends what was typed before.
'use strict';

const byId = (id) => document.getElementById(id);

const pause = 150; // ms without a key, after which what was typed is sent
const tab = Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => b.toString(16).padStart(2, '0')).join('');
let revision = 0; // of the plan as the page shows it
let numbered = 0; // changes of this tab so far
let sending = null; // the change on its way
const waiting = []; // those after it, in order
let idle = []; // called when nothing is left to do
let timer = 0;
let lost = false; // the program does not answer

// enqueue adds a change: kind and body, key if later values of the same thing take its place, what as the owner calls what is changed. Save and
// Undo are on from now: they are about this change too, and may be asked for before it has been answered.
function enqueue(c) {
  const last = waiting[waiting.length - 1];
  if (c.key && last && last.key === c.key && !last.number && last.body.group === c.body.group) {
    last.body = c.body;
    last.at = performance.now();
    last.what = c.what;
  } else {
    waiting.push({...c, at: c.key ? performance.now() : 0});
  }
  pump();
  buttons();
}

// pending reports whether a change with a key has not been answered yet.
function pending(key) {
  return Boolean(sending && sending.key === key) || waiting.some((c) => c.key === key);
}

// flushed sends all there is, and resolves when it has been answered.
function flushed() {
  for (const c of waiting) c.at = 0;
  const done = new Promise((resolve) => idle.push(resolve));
  pump();
  return done;
}

function pump() {
  clearTimeout(timer);
  if (sending) return;
  if (waiting.length === 0) {
    const done = idle;
    idle = [];
    for (const f of done) f();
    return;
  }
  const left = waiting.length > 1 ? 0 : waiting[0].at + pause - performance.now();
  if (left > 0 && waiting[0].at) { timer = setTimeout(pump, left); return; }
  sending = waiting.shift();
  if (!sending.number) sending.number = ++numbered;
  deliver(sending);
}

// deliver sends a change until it is answered: a program that was too busy, or stopped for a moment, gets it later, and only once.
async function deliver(c) {
  let answer = null, status = 0;
  for (let wait = 250; !answer; wait = Math.min(2 * wait, 4000)) {
    try {
      const r = await fetch('api/' + c.kind, {
        method: 'POST', headers: {'Content-Type': 'application/json'},
        body: JSON.stringify({tab, number: c.number, revision, change: c.body}),
      });
      answer = await r.json();
      status = r.status;
    } catch (e) {
      losing(true);
      await new Promise((resolve) => setTimeout(resolve, wait));
    }
  }
  losing(false);
  sending = null;
  take(c, status, answer);
  pump();
}

// take shows an answer. If a change was refused, what was asked for on top of it is not done: nothing is saved or sent that its owner
// believes to be another.
function take(c, status, a) {
  if (a.revision === undefined) { tell(a.error || 'The program does not understand this page: load it anew.'); return; }
  if (a.stale) {
    const newest = new Map(); // of one field only what was typed last
    for (const x of [c, ...waiting.splice(0)]) if (x.what) newest.set(x.key, `“${x.what}”`);
    const dropped = [...newest.values()];
    show(a, true);
    tell(`${sentence(a.error)} ${dropped.length ? `Not taken over: ${dropped.join(', ')}.` : ''}`);
    if (c.key) byId('message').focus(); // the rest of the word goes nowhere, least of all into what is shown now
    return;
  }
  if (status !== 200) {
    for (let i = waiting.length - 1; i >= 0; i--) if (waiting[i].act) waiting.splice(i, 1);
  }
  byId('conflict').hidden = !a.file;
  show(a, status !== 200 && !a.file, c.key);
  if (status !== 200) tell(sentence(a.error));
  else said(c, a);
  if (a.left || c.kind === 'import') leftOut(a.left || []);
}

function sentence(text) {
  const s = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?]$/.test(s) ? s : s + '.';
}

// leaving sends what is left when the page goes: the browser carries it on after the page has gone.
function leaving() {
  const changes = [sending, ...waiting].filter(Boolean);
  if (changes.length === 0) return;
  for (const c of waiting) if (!c.number) c.number = ++numbered;
  const body = JSON.stringify({tab, revision, changes: changes.map((c) => ({kind: c.kind, number: c.number, change: c.body}))});
  fetch('api/leave', {
    method: 'POST', headers: {'Content-Type': 'application/json'}, body, keepalive: body.length < 60000,
  }).catch(() => {});
}

// watch asks now and then whether another tab has changed the plan, and whether the program is still there.
let watching = true;
const beat = 2000; // ms
async function watch() {
  if (watching && !document.hidden && !sending && waiting.length === 0) {
    try {
      const p = await (await fetch('change/pulse')).json();
      losing(false);
      if (watching && !sending && waiting.length === 0 && (p.revision !== revision || p.dirty !== shown.dirty)) await renew();
    } catch (e) {
      losing(true);
    }
  }
  setTimeout(watch, beat);
}

// renew shows the plan as it is now.
async function renew() {
  const r = await fetch('api/state', {method: 'POST', headers: {'Content-Type': 'application/json'}, body: '{}'});
  const s = await r.json();
  if (!sending && waiting.length === 0) show(s, false);
}
