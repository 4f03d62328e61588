// The view of the emulated feeder: asks for its state a few times a second, and does things to it.
'use strict';

const speeds = [0, 1, 10, 60, 600, 3600, 21600, 86400];
const words = ['standing still', 'as it is', '10 times', 'a minute a second', '10 minutes a second', 'an hour a second', '6 hours a second', 'a day a second'];
const pockets = 8;

(function draw() {
  const space = 'http://www.w3.org/2000/svg';
  for (let i = 0; i < pockets; i++) {
    const c = document.createElementNS(space, 'circle');
    const a = (i / pockets) * 2 * Math.PI - Math.PI / 2;
    c.setAttribute('cx', (31 * Math.cos(a)).toFixed(2));
    c.setAttribute('cy', (31 * Math.sin(a)).toFixed(2));
    c.setAttribute('r', '9');
    c.setAttribute('class', i === 0 ? 'pocket first' : 'pocket');
    byId('wheel').append(c);
  }
})();

function text(id, value) {
  const e = byId(id);
  if (e.textContent !== value) e.textContent = value;
}

function show(s) {
  byId('panel').hidden = !s.running;
  if (!s.running) return;
  text('note', s.note);
  text('day', s.day);
  text('clocktime', s.time);
  text('hurrying', s.hurrying ? 'running to ' + s.hurrying + ' …' : '');
  byId('halt').hidden = !s.hurrying;
  if (document.activeElement !== byId('speed')) byId('speed').value = speeds.indexOf(s.speed);
  text('speedword', words[Number(byId('speed').value)]);
  byId('speed').setAttribute('aria-valuetext', words[Number(byId('speed').value)]);
  byId('wheel').setAttribute('transform', `rotate(${((s.angle % pockets) * 360 / pockets).toFixed(1)})`);
  text('pockets', s.pockets === 1 ? '1 pocket so far' : s.pockets + ' pockets so far');
  text('bowl', s.bowl + ' fell into the bowl');
  text('alarm1', s.alarm1);
  text('alarm2', s.alarm2);
  text('int', (s.int ? 'low: it rings' : 'high: quiet') + (s.wire ? '' : ', but the wire is cut'));
  text('light', s.light ? 'on' : 'off');
  text('servo', s.servo ? 'has power' : 'off');
  text('supply', s.powered ? s.volts : 'none');
  text('hopper', s.hopper);
  text('dry', s.dry ? 'The hopper is empty: the wheel turns, and nothing falls into the bowl.' : '');
  toggle('power', s.powered, 'Cut the power', 'cut power', 'Give the power back', 'give power');
  toggle('jam', !s.jammed, 'Jam the wheel', 'jam', 'Free the wheel', 'unjam');
  toggle('wire', s.wire, 'Cut the INT wire', 'cut INT', 'Mend the INT wire', 'mend INT');
  fill(byId('log'), s.log.map((l) => element('li', '', element('span', 'date', l.at), ' ', l.text)), 'Nothing yet.');
  fill(byId('journal'), s.journal.map((l) => element('li', '', element('span', 'date', l.at), ' ' + l.text)), 'Empty.');
}

function toggle(id, first, word, act, otherWord, otherAct) {
  text(id, first ? word : otherWord);
  byId(id).dataset.do = first ? act : otherAct;
}

async function refresh() {
  try {
    if (!document.hidden) show(await get('try/state'));
  } catch (e) {
    tell('The page has lost the program: is it still running?');
  }
  setTimeout(refresh, 250);
}

async function act(path, body) {
  tell('');
  try {
    show(await post('try/' + path, body));
  } catch (e) {
    tell(String(e.message || e));
  }
}

byId('start').addEventListener('submit', (e) => {
  e.preventDefault();
  act('start', {date: byId('date').value, time: byId('time').value});
});
byId('speed').addEventListener('input', () => act('speed', {speed: speeds[Number(byId('speed').value)]}));
document.addEventListener('click', (e) => {
  const b = e.target.closest('button');
  if (!b) return;
  if (b.dataset.do) act('do', {what: b.dataset.do});
  else if (b.dataset.jump) act('jump', {to: b.dataset.jump});
});

refresh();
