// The page's only script. It draws nothing that the bench did not say, and greys
// out what is old.
const $ = (id) => document.getElementById(id);
const all = (query) => document.querySelectorAll(query);
const client = (sessionStorage.client ||= crypto.randomUUID ? crypto.randomUUID() : String(Math.random()).slice(2) + Date.now());
const look = Object.assign({ depth: 'm', pressure: 'bar', light: 'auto', language: (navigator.language || 'en').slice(0, 2) === 'de' ? 'de' : 'en', sound: true, name: '' },
  JSON.parse(localStorage.look || '{}'));
let texts = {}, english = {}, me = { role: 'stranger' }, state = { what: 'idle', holder: {} }, ladder = null, now = null, nowAt = 0, heard = 0, events = [], end = null, choices = null;

// Texts
const t = (key, values = {}) => (texts[key] ?? english[key] ?? key).replace(/\{(\w+)\}/g, (_, k) => values[k] ?? '');
const said = (kind, text) => texts[kind + '.' + text] ?? english[kind + '.' + text] ?? text;
async function speak(language) {
  const get = async (l) => (await fetch('/texts/' + l + '.json')).json();
  english = await get('en');
  texts = language === 'en' ? english : await get(language);
  document.documentElement.lang = language;
  for (const e of all('[data-t]')) e.textContent = t(e.dataset.t);
  for (const e of all('[data-ta]')) e.setAttribute('aria-label', t(e.dataset.ta));
  put($('kind'), ['pressure', 'leak', 'humidity', 'inside'].map((k) => [k, t('kind.' + k)]));
}
function put(select, pairs) {
  const was = select.value;
  select.replaceChildren(...pairs.map(([v, text]) => Object.assign(document.createElement('option'), { value: v, textContent: text })));
  if (pairs.some(([v]) => v === was)) select.value = was;
}
const el = (tag, text, props = {}) => Object.assign(document.createElement(tag), { textContent: text ?? '' }, props);

// Figures
const fixed = (v, n) => { const s = v.toFixed(n); return (+s === 0 ? (0).toFixed(n) : s).replace('-', '−'); };
const metres = (m) => look.depth === 'ft' ? [fixed(m / 0.3048, 1), 'ft'] : [fixed(m, Math.abs(m) < 100 ? 2 : 1), 'm'];
const perPa = { bar: 1e-5, kPa: 1e-3, psi: 1 / 6894.757293168362 };
const pressed = (pa) => [fixed(pa * perPa[look.pressure], look.pressure === 'bar' ? 3 : look.pressure === 'kPa' ? 1 : 2), look.pressure];
const depthText = (m) => metres(m).join(' ');
const pressureText = (pa) => pressed(pa).join(' ');
function span(s) {
  s = Math.max(0, Math.round(s));
  const two = (n) => String(n).padStart(2, '0');
  return s >= 3600 ? Math.floor(s / 3600) + ':' + two(Math.floor(s / 60) % 60) + ':' + two(s % 60) : Math.floor(s / 60) + ':' + two(s % 60);
}
const clock = (ms) => new Date(ms).toLocaleTimeString(look.language, { hour: '2-digit', minute: '2-digit' });
const energy = (j) => j >= 1000 ? fixed(j / 1000, 1) + ' kJ' : fixed(j, j < 10 ? 1 : 0) + ' J';

// Sound
let audio;
function beep(times, pitch) {
  if (!look.sound || !audio) return;
  for (let i = 0; i < times; i++) {
    const o = audio.createOscillator(), g = audio.createGain(), at = audio.currentTime + i * 0.28;
    o.frequency.value = pitch; g.gain.setValueAtTime(0.3, at); g.gain.exponentialRampToValueAtTime(0.001, at + 0.22);
    o.connect(g).connect(audio.destination); o.start(at); o.stop(at + 0.24);
  }
}
addEventListener('pointerdown', () => { audio ||= new AudioContext(); audio.resume(); });
addEventListener('keydown', () => { audio ||= new AudioContext(); audio.resume(); });

// Asking
async function ask(path, body, raw) {
  const r = await fetch(path, { method: 'POST', headers: Object.assign({ 'X-Client': client }, raw ? {} : { 'Content-Type': 'application/json' }), body: raw ?? JSON.stringify(body ?? {}) });
  const out = await r.json().catch(() => ({ error: r.statusText }));
  if (!r.ok) throw new Error(out.error || r.statusText);
  return out;
}
async function get(path) {
  const r = await fetch(path);
  const out = await r.json();
  if (!r.ok) throw new Error(out.error || r.statusText);
  return out;
}
const complain = (id) => (e) => { $(id).textContent = e.message || e; };

// Link
function linked() {
  const quiet = (performance.now() - heard) / 1000;
  const link = !heard || quiet > 12 ? 'none' : (state.what === 'running' && now && !now.done && (performance.now() - nowAt) / 1000 > 2.5) ? 'late' : 'live';
  document.body.dataset.link = link;
  const words = t('link.' + link, { s: Math.round(link === 'late' ? (performance.now() - nowAt) / 1000 : quiet) });
  if ($('linktext').textContent !== words) $('linktext').textContent = words;
  aged();
}
let source;
function listen() {
  source = new EventSource('/api/news?client=' + encodeURIComponent(client));
  const on = (kind, do_) => source.addEventListener(kind, (e) => { heard = performance.now(); do_(JSON.parse(e.data)); });
  on('alive', () => {});
  on('state', (s) => { state = s; drawState(); });
  on('ladder', (l) => { if (JSON.stringify(l) !== JSON.stringify(ladder)) now = null; ladder = l; end = null; zooms(); drawLadder(); drawEnd(); });
  on('checks', drawChecks);
  on('now', (n) => { const was = now; now = n; nowAt = performance.now(); drawNow(was); if (nowAt - drawnAt > 5000) { drawnAt = nowAt; picture(); } });
  on('event', (e) => { events = e || []; drawEvents(); });
  on('end', (o) => { end = o; drawEnd(); beep(o.verdict === 'pass' ? 2 : 5, o.verdict === 'pass' ? 880 : 330); if (view === 'records') records(); });
  source.onerror = () => { if (source.readyState === EventSource.CLOSED) setTimeout(listen, 2000); };
}

// Now
function drawState() {
  document.body.dataset.what = state.what;
  const mine = state.holder.client === client;
  $('holder').textContent = (mine ? t('holder.me') : state.holder.client ? t('holder.other', { name: state.holder.name }) : t('holder.none')) + (state.viewers > 1 ? ' · ' + t('viewers', { n: state.viewers }) : '');
  $('take').hidden = me.role !== 'operator';
  $('take').textContent = mine ? t('take.off') : state.holder.client ? t('take.over') : t('take.on');
  $('abort').hidden = state.what === 'idle';
  for (const e of all('#noteform input, #noteform button, #skip, #pause, #wishdone')) e.disabled = !mine || state.what !== 'running';
  for (const e of [$('start'), $('preflight')]) e.disabled = !mine || state.what !== 'idle';
  if (state.what === 'idle' && !now) idleNow();
}
function idleNow() {
  $('safetytext').textContent = t('safety.idle'); $('energy').textContent = '';
  $('safety').className = 'safety'; $('phase').textContent = t('phase.idle'); $('left').textContent = ''; $('ends').textContent = '';
}
function drawNow(was) {
  const n = now, rung = ladder && ladder.Rungs[n.leg];
  $('bench').textContent = ladder.Bench; $('unit').textContent = ladder.Unit + (ladder.Variant ? ', ' + ladder.Variant : '');
  const gauge = n.pa === undefined ? undefined : n.pa - n.room_pa;
  const pressure = gauge === undefined ? ['–', look.pressure] : pressed(gauge), depth = n.depth_m === undefined ? ['–', look.depth] : metres(n.depth_m);
  $('pressure').textContent = pressure[0]; $('pressureunit').textContent = pressure[1] + ' ' + t('gauge');
  $('depth').textContent = depth[0]; $('depthunit').textContent = depth[1];
  const open = n.may_open;
  $('safety').className = 'safety' + (open ? '' : ' shut');
  $('safetytext').textContent = open ? t('safety.open') : n.done ? t('safety.unknown') : t('safety.shut');
  $('energy').textContent = !open && n.energy_j > 1 ? t('energy', { j: energy(n.energy_j) }) : '';
  $('phase').textContent = t('phase.' + n.phase) + (rung && n.phase !== 'vent' && n.phase !== 'done' ? ': ' + rung.Name + ', ' + depthText(rung.DepthM) : '') + (n.paused ? ' · ' + t('paused') : '');
  $('left').textContent = n.left_s === undefined ? '' : t('left', { time: span(n.left_s) });
  const next = ladder.Rungs[n.leg + 1];
  $('ends').textContent = (n.ends_s === undefined ? '' : t('ends', { at: clock(Date.parse(n.wall) + n.ends_s * 1000), time: span(n.ends_s) })) + (next && n.phase !== 'vent' && n.phase !== 'done' ? ' · ' + t('next', { name: next.Name, depth: depthText(next.DepthM) }) : '');
  if (n.stopped) $('ends').textContent = said('stop', n.stopped);
  $('pause').textContent = t(n.paused ? 'pause.off' : 'pause.on');
  drawWish(was && was.prompt); drawLeak(); drawInside(); drawSensors();
  if (!was || was.leg !== n.leg || was.phase !== n.phase) drawLadder();
  if (was && !was.stopped && n.stopped) beep(6, 300);
  aged();
}
function aged() {
  const blind = !now && state.what === 'running' && heard && performance.now() - heard > 3000, since = now ? (performance.now() - nowAt) / 1000 : 0, age = now && now.pa_age_s !== undefined ? now.pa_age_s + (now.done ? 0 : since) : undefined;
  const old = blind || now && !now.done && (age === undefined || now.stale || age > 3);
  document.querySelector('.gauge').classList.toggle('old', !!old);
  $('age').textContent = blind ? t('age.old', { s: Math.round((performance.now() - heard) / 1000) }) : !now ? t('age.none') : now.done ? t('age.ended') : age === undefined && since < 3 ? t('age.none') : old ? t('age.old', { s: Math.round(age ?? since) }) : t('age.fresh');
}
function drawWish(was) {
  const w = now.prompt, stop = w && /STOP/.test(w.text);
  $('wish').hidden = !w;
  if (!w) return;
  $('wish').classList.toggle('stop', stop);
  const words = said('prompt', w.text);
  if ($('wishtext').textContent !== words) { $('wishtext').textContent = words; beep(stop ? 6 : 2, stop ? 300 : 660); }
  const pa = w.target_pa - now.room_pa;
  $('wishfigures').textContent = w.target_pa > 0 && pa > -1e3 ? t('wish.figures', { pressure: pressureText(Math.max(0, pa)), depth: depthText(w.depth_m), now: now.pa === undefined ? '–' : pressureText(now.pa - now.room_pa) }) : '';
  if (w.kind === 1 || w.kind === 2) $('wishfigures').textContent += ' · ' + t('wish.watch', { pressure: pressureText(Math.max(0, pa)), clock: new Date(now.wall).toLocaleTimeString(look.language) });
  $('wishdone').hidden = !w.answer;
}
const svgNS = 'http://www.w3.org/2000/svg';
const draw = (tag, attrs, text) => { const e = document.createElementNS(svgNS, tag); for (const k in attrs) e.setAttribute(k, attrs[k]); if (text) e.textContent = text; return e; };
function drawLeak() {
  const bar = $('leakbar'), l = now.leak, limit = ladder.LeakLimit;
  bar.replaceChildren();
  if (!l) { $('leaktext').textContent = now.phase === 'settle' || now.phase === 'hold' ? t('leak.wait') : t('leak.none'); return; }
  const words = { e: fixed(l.estimate, 2), low: fixed(l.low, 2), high: fixed(l.high, 2), limit: limit ? fixed(limit, 2) : '–', d: now.detection === undefined ? '–' : fixed(now.detection, 2) };
  const verdict = !limit ? '' : l.high < limit ? t('leak.below') : l.low > limit ? t('leak.above') : t('leak.open');
  $('leaktext').textContent = t('leak.text', words) + ' ' + verdict;
  const most = Math.max(2 * limit, Math.min(Math.abs(l.estimate) * 1.5, 50 * (limit || 1)), limit ? 0 : Math.abs(l.high)), x = (v) => 10 + 280 * Math.min(1, Math.max(0, (v + most / 2) / (1.5 * most)));
  bar.append(draw('rect', { x: x(l.low), y: 12, width: Math.max(2, x(l.high) - x(l.low)), height: 14, fill: l.low > limit && limit ? 'var(--warn)' : 'var(--deep)', opacity: .45 }),
    draw('line', { x1: x(-most), x2: x(2 * most), y1: 19, y2: 19, stroke: 'var(--line)' }),
    draw('line', { x1: x(0), x2: x(0), y1: 8, y2: 30, stroke: 'var(--soft)' }), draw('text', { x: x(0), y: 41, 'text-anchor': 'middle' }, '0'),
    draw('circle', { cx: x(l.estimate), cy: 19, r: 5, fill: 'var(--ink)' }));
  if (limit) bar.append(draw('line', { x1: x(limit), x2: x(limit), y1: 4, y2: 30, stroke: 'var(--warn)', 'stroke-width': 3, 'stroke-dasharray': '6 2' }), draw('text', { x: x(limit), y: 41, 'text-anchor': 'middle' }, t('leak.limit') + ' ' + fixed(limit, 2)));
  if (now.detection !== undefined) bar.append(draw('path', { d: `M${x(now.detection) - 4} 4h8l-4 7z`, fill: 'var(--soft)' }));
}
function drawInside() {
  const rows = [];
  if (now.inside_rh !== undefined) rows.push([t('inside.rh'), fixed(now.inside_rh, 1) + ' %']);
  if (now.inside_c !== undefined) rows.push([t('inside.c'), fixed(now.inside_c, 1) + ' °C']);
  if (now.margin_k !== undefined) rows.push([t('inside.margin'), fixed(now.margin_k, 1) + ' K' + (now.margin_k < 1 ? ' – ' + t('inside.fogs') : '')]);
  if (now.inside_pa !== undefined) rows.push([t('inside.pa'), fixed(now.inside_pa / 100, 2) + ' mbar']);
  $('insidepanel').hidden = !rows.length;
  $('inside').replaceChildren(...rows.flatMap(([a, b]) => [el('dt', a), el('dd', b)]));
}
function value(s) {
  if (s.value === undefined) return '–';
  if (s.two) return t('two.' + s.quantity + '.' + (s.value ? 1 : 0));
  if (s.unit === 'Pa') return pressureText(s.value) + ' ' + t('absolute');
  return fixed(s.value, 2) + (s.unit ? ' ' + s.unit : '');
}
function drawSensors() {
  const rows = (now.sensors || []).map((s) => [s.sensor, said('quantity', s.quantity), value(s), s.fault ? said('fault', s.fault) : fixed(s.age_s, s.age_s < 10 ? 1 : 0) + ' s' + (s.stale ? ' – ' + t('stale') : ''), s.fault || s.stale]);
  if (now.valves) for (const v of ['fill', 'vent']) rows.push([t('valve.' + v), '', t(now[v] ? 'valve.open' : 'valve.shut'), '', false]);
  if (now.unsynced_ms !== undefined && !now.done) rows.push([t('record'), '', t(now.unsynced_ms > 1000 ? 'record.late' : 'record.safe', { ms: now.unsynced_ms }), '', now.unsynced_ms > 1000]);
  const body = $('sensors');
  while (body.rows.length > rows.length) body.deleteRow(-1);
  rows.forEach((r, i) => {
    const row = body.rows[i] || body.insertRow();
    row.className = r[4] ? 'ill' : '';
    for (let c = 0; c < 4; c++) { const cell = row.cells[c] || row.insertCell(); if (cell.textContent !== r[c]) cell.textContent = r[c]; }
  });
}
function drawLadder() {
  if (!ladder) return;
  $('ladder').replaceChildren(...ladder.Rungs.map((r, i) => {
    const li = el('li');
    const over = now && (now.phase === 'vent' || now.done), past = now && (i < now.leg || over && !now.stopped);
    if (past) li.className = 'past'; else if (over) li.className = 'not'; else if (now && i === now.leg) li.setAttribute('aria-current', 'step');
    li.append(el('span', r.Name), el('span', depthText(r.DepthM) + ' · ' + span(r.HoldS), { className: 'right' }));
    return li;
  }));
}
function drawEvents() {
  $('events').replaceChildren(...events.slice().reverse().map((e) => el('li', span(e.t) + '  ' + (e.kind === 'fault' ? t('fault') + ': ' : '') + e.text, { className: 'of-' + e.kind })));
}
function drawEnd() {
  $('endpanel').hidden = !end;
  if (!end) return;
  const pass = end.verdict === 'pass';
  $('endpanel').className = 'panel wide' + (pass ? '' : ' no');
  $('endword').textContent = end.verdict ? t('verdict.' + end.verdict, { depth: depthText(end.rated_m || 0) }) : t('verdict.none');
  $('endtext').textContent = [end.stopped && said('stop', end.stopped), ...(end.reasons || []), end.error].filter(Boolean).join('; ');
  $('endlinks').replaceChildren(...(end.record ? papers(end.record) : []));
  picture();
}
const papers = (name) => ['certificate.html', 'certificate.pdf'].flatMap((f) => [el('a', t('paper.' + f), { href: '/records/' + encodeURIComponent(name) + '/' + f, target: '_blank', rel: 'noopener' }), document.createTextNode(' ')]);

// Pictures
let shown = null, asked = 0, drawnAt = 0;
function zooms() { put($('zoom'), [['', t('zoom.all')], ['stage', t('zoom.stage')], ['10', t('zoom.minutes', { n: 10 })], ...(shown && shown.stages || []).map((s, i) => ['s' + i, said('stagekind', s.kind) + ' ' + s.name]).filter((_, i) => shown.stages[i].kind === 'hold')]); }
async function picture() {
  if (view !== 'now' || document.hidden || (!now && !end)) return;
  const at = ++asked, box = $('picture'), z = $('zoom').value, q = new URLSearchParams({ kind: $('kind').value, depth: look.depth, pressure: look.pressure, width: Math.round(box.clientWidth * 0.7) });
  if (end && end.record && state.what === 'idle') q.set('record', end.record);
  const stages = shown && shown.stages || [];
  let from, to;
  if (z === 'stage' && stages.length) { from = stages[stages.length - 1].from_s; to = from + 86400; } else if (z === '10') { to = Date.parse(now.wall) / 1000 + 1; from = to - 600; } else if (z[0] === 's' && stages[+z.slice(1)]) { from = stages[+z.slice(1)].from_s - 30; to = stages[+z.slice(1)].to_s + 30; }
  if (from) { q.set('from', from); q.set('to', to); }
  try {
    const p = await get('/api/picture?' + q);
    if (at !== asked) return;
    const known = from && shown ? shown.stages : p.stages;
    shown = Object.assign(p, { stages: known });
    if (!from) zooms();
    box.innerHTML = p.svg;
  } catch (e) { if (at === asked && !shown) box.replaceChildren(el('p', e.message)); }
}
function point(x) {
  if (!shown || !shown.points.length) return;
  const share = Math.min(1, Math.max(0, (x - shown.left) / (shown.right - shown.left))), s = share * shown.span_s;
  const p = shown.points.reduce((a, b) => Math.abs(b[0] - s) < Math.abs(a[0] - s) ? b : a);
  const cross = $('picture').querySelector('.cross') || $('picture').appendChild(el('div', '', { className: 'cross' }));
  cross.style.left = (shown.left + (shown.right - shown.left) * p[0] / shown.span_s) * 100 + '%';
  const reading = shown.unit === 'Pa' ? pressureText(p[1]) + ' ' + t('absolute') : fixed(p[1], 2) + ' ' + shown.unit;
  $('pointed').textContent = span(shown.start_s + p[0] - (shown.zero_s || shown.start_s)) + '  ' + reading;
  pointed = share;
}
let pointed = 1;
$('picture').addEventListener('pointermove', (e) => { const r = $('picture').getBoundingClientRect(); point((e.clientX - r.left) / r.width); });
$('picture').addEventListener('keydown', (e) => { if (e.key === 'ArrowLeft' || e.key === 'ArrowRight') { e.preventDefault(); const s = Math.min(1, Math.max(0, pointed + (e.key === 'ArrowLeft' ? -.01 : .01))); point(shown.left + (shown.right - shown.left) * s); } });
$('kind').addEventListener('change', picture); $('zoom').addEventListener('change', picture);

// Test
async function choose() {
  choices ||= await get('/api/choices');
  $('bench').textContent = choices.bench;
  put($('choiceunit'), choices.units.map((u) => [u, u])); put($('choiceprofile'), choices.profiles.map((p) => [p.name, p.name]));
  if (!$('choiceprofile').dataset.set) { $('choiceprofile').dataset.set = 1; if (choices.profiles.some((p) => p.name === 'proof-30m-sea')) $('choiceprofile').value = 'proof-30m-sea'; }
  await foresee();
}
async function foresee() {
  $('testwrong').textContent = '';
  const p = choices.profiles.find((p) => p.name === $('choiceprofile').value);
  $('profiletext').textContent = p ? p.text : '';
  try {
    const plan = await get('/api/plan?' + new URLSearchParams({ unit: $('choiceunit').value, profile: $('choiceprofile').value }));
    $('planword').textContent = plan.refused ? t('plan.refused', { why: plan.refused }) : plan.can_prove ? t('plan.can') : t('plan.cannot');
    $('planword').className = plan.refused || !plan.can_prove ? 'wrong' : '';
    $('plansvg').replaceChildren(el('img', '', { src: 'data:image/svg+xml;charset=utf-8,' + encodeURIComponent(plan.svg), alt: t('test.planpicture') })); $('plantext').textContent = plan.text; $('cautions').textContent = plan.cautions;
    $('acceptline').hidden = plan.can_prove || !!plan.refused; $('accept').checked = false;
  } catch (e) { $('planword').textContent = e.message; $('planword').className = 'wrong'; $('plansvg').replaceChildren(); $('plantext').textContent = ''; }
}
const choice = () => ({ unit: $('choiceunit').value, profile: $('choiceprofile').value, acknowledged: $('acknowledged').checked, accept_inconclusive: $('accept').checked });
function drawChecks(list) {
  $('checks').replaceChildren(...(list || []).map((c) => { const s = { ticked: 'ok', failed: 'no', waiting: '', 'not-applicable': 'na' }[c.state] ?? ''; return el('li', c.text + (c.why ? ': ' + c.why : '') + ' – ' + t('check.' + c.state), { className: s }); }));
}

// Records
let picked = [];
async function records() {
  const list = await get('/api/records') || [], want = $('filter').value.toLowerCase();
  $('records').replaceChildren(...list.filter((r) => JSON.stringify(r).toLowerCase().includes(want)).map((r) => {
    const row = el('tr'), tick = el('input', '', { type: 'checkbox', checked: picked.includes(r.name) });
    tick.setAttribute('aria-label', r.name);
    tick.addEventListener('change', () => { picked = tick.checked ? [...picked, r.name].slice(-2) : picked.filter((n) => n !== r.name); records(); });
    const verdict = r.verdict ? t('word.' + r.verdict) + (r.verdict === 'pass' ? ', ' + depthText(r.rated_m || 0) : r.mode ? ': ' + r.mode + ', ' + depthText(r.failed_m || 0) : '') : t('word.none');
    const again = el('button', t('records.again'), { type: 'button' });
    again.addEventListener('click', async () => { again.disabled = true; try { await ask('/api/analyse', { record: r.name }); await records(); } catch (e) { again.textContent = e.message; } });
    const links = el('td');
    if (r.cut_off && state.what === 'idle') {
      const on = el('button', t('records.resume'), { type: 'button' });
      on.addEventListener('click', () => confirm(t('records.sure')) && ask('/api/resume', { record: r.name, acknowledged: true }).then(() => turn('now')).catch((e) => { on.textContent = e.message; }));
      links.append(el('strong', t('records.cut') + ' '), on);
    } else links.append(...papers(r.name), again);
    const pick = el('td'); pick.append(tick);
    row.append(pick, el('td', new Date(r.started).toLocaleString(look.language)), el('td', r.unit + (r.variant ? ', ' + r.variant : '') + ' · ' + (r.profile || '')), el('td', verdict), links);
    return row;
  }));
  $('compare').disabled = picked.length !== 2;
  const fresh = await get('/api/choices').catch(() => ({}));
  $('calibrations').replaceChildren(...((fresh.calibrations || []).map((c) => el('li', c.sensor + ': ' + (c.date ? t('calibration.line', { date: c.date, due: c.due }) : t('calibration.none')) + (c.doubts || []).map((d) => '; ' + d).join(''), { className: c.date && !(c.doubts || []).length ? 'ok' : 'no' }))));
  if (!(fresh.calibrations || []).length) $('calibrations').append(el('li', t('calibration.simulated'), { className: 'na' }));
  const units = await get('/api/units').catch(() => []);
  $('units').replaceChildren(...(units || []).map((u) => el('li', u.unit + ': ' + u.standing, { className: u.valid ? 'ok' : 'no' })));
}
$('compare').addEventListener('click', async () => {
  const p = await get('/api/picture?' + new URLSearchParams({ record: picked[0], with: picked[1], depth: look.depth, pressure: look.pressure, width: Math.round(($('pairpicture').clientWidth || 800) * 0.7) })).catch((e) => ({ svg: '', error: e.message }));
  $('pairpicture').innerHTML = p.svg; if (p.error) $('pairpicture').textContent = p.error;
});
$('filter').addEventListener('input', records);

// Commands
$('abort').addEventListener('click', () => ask('/api/abort').catch(() => {}));
$('take').addEventListener('click', () => (state.holder.client === client ? ask('/api/give') : ask('/api/take', { name: look.name || t('somebody'), over: !!state.holder.client })).catch(complain('holder')));
$('wishdone').addEventListener('click', () => ask('/api/ready').catch(complain('wishfigures')));
$('skip').addEventListener('click', () => ask('/api/skip').catch(complain('pointed')));
$('pause').addEventListener('click', () => ask(now && now.paused ? '/api/go' : '/api/pause').catch(complain('pointed')));
$('noteform').addEventListener('submit', (e) => { e.preventDefault(); ask('/api/note', { text: $('note').value }).then(() => { $('note').value = ''; }).catch(complain('pointed')); });
$('photo').addEventListener('change', () => { const f = $('photo').files[0]; if (f) ask('/api/photo?' + new URLSearchParams({ text: $('note').value }), null, f).then(() => { $('photo').value = ''; }).catch(complain('pointed')); });
$('preflight').addEventListener('click', () => { $('testwrong').textContent = ''; ask('/api/preflight', choice()).catch(complain('testwrong')); });
$('testform').addEventListener('submit', (e) => { e.preventDefault(); $('testwrong').textContent = ''; ask('/api/start', choice()).then(() => turn('now')).catch(complain('testwrong')); });
for (const id of ['choiceunit', 'choiceprofile']) $(id).addEventListener('change', foresee);

// Views
let view = 'now';
function turn(to) {
  view = to;
  scrollTo(0, 0);
  for (const e of all('[data-part]')) e.hidden = e.dataset.part !== to;
  for (const e of all('.tab')) if (e.dataset.view === to) e.setAttribute('aria-current', 'page'); else e.removeAttribute('aria-current');
  if (to === 'test') choose().catch(complain('testwrong'));
  if (to === 'records') records().catch(() => {});
  if (to === 'now') picture();
}
for (const e of all('.tab')) e.addEventListener('click', () => turn(e.dataset.view));

// Settings
function apply() {
  localStorage.look = JSON.stringify(look);
  document.documentElement.dataset.light = look.light;
  if (now) drawNow(now); drawLadder(); drawState(); drawEnd(); picture();
}
for (const [id, key] of [['lookdepth', 'depth'], ['lookpressure', 'pressure'], ['looklight', 'light'], ['looklanguage', 'language'], ['lookname', 'name']]) {
  $(id).value = look[key];
  $(id).addEventListener('change', async () => { look[key] = $(id).value; if (key === 'language') { await speak(look.language); zooms(); drawEvents(); } apply(); });
}
$('looksound').checked = look.sound;
$('looksound').addEventListener('change', () => { look.sound = $('looksound').checked; apply(); });
$('lookform').addEventListener('submit', (e) => e.preventDefault());
$('pairform').addEventListener('submit', (e) => { e.preventDefault(); $('pairwrong').textContent = ''; ask('/api/pair', { code: $('code').value }).then(begin).catch(complain('pairwrong')); });

async function begin() {
  me = await get('/api/me');
  $('pairing').hidden = me.role !== 'stranger';
  for (const id of ['views', 'foot']) $(id).hidden = me.role === 'stranger';
  if (me.role === 'stranger') { $('code').focus(); return; }
  $('notepanel').hidden = me.role !== 'operator';
  listen(); drawState(); linked();
  if (!choices) get('/api/choices').then((c) => { choices = c; if (!ladder) $('bench').textContent = c.bench; }).catch(() => {});
}
document.documentElement.dataset.light = look.light;
await speak(look.language);
setInterval(linked, 500);
await begin();
