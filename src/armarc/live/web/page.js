"use strict";
const $ = id => document.getElementById(id);
const SHAPES = {
  below: '<path d="M8 14H92L50 92Z" fill="none" stroke="currentColor" stroke-width="11" stroke-linejoin="round"/>',
  inside: '<circle cx="50" cy="50" r="46" fill="currentColor"/>',
  above: '<path d="M8 88H92L50 8Z" fill="currentColor" stroke="currentColor" stroke-width="6" stroke-linejoin="round"/>',
};
// The arm's direction is known only from how it hung: near, not sure.
const HOLLOW = {
  below: SHAPES.below.replace('stroke-width="11"', 'stroke-width="11" stroke-dasharray="22 12"'),
  inside: '<circle cx="50" cy="50" r="41" fill="none" stroke="currentColor" stroke-width="11"/>',
  above: '<path d="M8 88H92L50 8Z" fill="none" stroke="currentColor" stroke-width="11" stroke-linejoin="round"/>',
};
const WORDS = { below: "below the band", inside: "inside the band", above: "above the band" };
let board = null, socket = null, wait = 250, over = false, lastHeard = 0;

function text(id, value) { if ($(id).textContent !== value) $(id).textContent = value; }
function html(id, value) { const e = $(id); if (e.dataset.is !== value) { e.innerHTML = value; e.dataset.is = value; } }
function escape(s) { return String(s).replace(/[&<>"']/g, c => "&#" + c.charCodeAt(0) + ";"); }

function draw() {
  const b = board;
  if (!b) return;
  const load = b.load ? " · " + escape(b.load).replace(/[\d.]+ kg/g, '<span class="whole">$&</span>') : "";
  const who = b.lifter ? escape(b.lifter) + " · " : "";
  html("what", who + "<b>" + escape(b.exercise) + "</b> · " + (b.other ? "both arms" : escape(b.side) + " arm") + load);
  $("what").disabled = !b.menu;
  $("what").className = b.menu ? "may" : "";
  let say = "", loud = false;
  if (over) say = "the session is over";
  else if (!socket || socket.readyState !== 1) { say = "connection lost, trying again …"; loud = true; }
  else if (b.stopping) { say = "stopping, set saved"; loud = true; }
  else if (b.sensor.length) { say = b.sensor.join(" · "); loud = true; }
  else if (!b.ready || b.other && !b.other.ready) say = "hang the arm, stand still for a moment";
  else if (!b.sets && !b.rep && !b.moving) { say = "ready"; loud = true; }
  else if (b.sets) say = b.sets + (b.sets === 1 ? " set done" : " sets done");
  text("say", say);
  $("say").className = loud ? "loud" : "";
  const resting = b.rest_s !== null;
  document.body.classList.toggle("resting", resting);
  const idle = resting || (!b.rep && !b.moving);
  const below = b.answer || b.caution || b.mark || (b.waiting ? "next set: " + b.waiting : "") ||
    (resting && b.today) || (idle && (b.last_time || "Pain means stop. Never chase the number.")) || "";
  text("below", below);
  $("below").className = b.answer || b.caution || b.mark ? "loud" : "";
  after(b, resting);
  sheet(b);
  const both = !!b.other;
  document.body.classList.toggle("both", both);
  $("two").hidden = !both;
  arm("", b, resting);
  strip("strip", b, both);
  if (both) {
    arm("2", b.other, resting);
    strip("strip2", b.other, both);
    $("right").className = b.side === "right" ? "second" : "";
  } else html("strip2", "");
  html("rom", b.rom === null ? "" : "range <b>" + b.rom + "°</b>");
  html("tempo", b.tempo ? "tempo <b>" + escape(b.tempo) + "</b>" : "");
  html("loss", b.loss === null ? "" : "velocity loss <b>" + b.loss + " %</b>");
  if (!both) fan(b);
}

// The figures of one arm.
function arm(n, b, resting) {
  text("count" + n, String(b.rep));
  $("count" + n).dataset.arm = b.side + " arm";
  const mark = $("mark" + n), speed = $("speed" + n), word = $("word" + n);
  if (resting) {
    const s = Math.floor(b.rest_s || 0), l = b.last_set;
    html("mark" + n, ""); mark.style.display = "none";
    html("speed" + n, Math.floor(s / 60) + ":" + String(s % 60).padStart(2, "0") + "<small> rest</small>");
    speed.className = word.className = "";
    let line = "";
    if (l) {
      line = "set " + l.number;
      if (l.in_band !== null) line += ": " + l.in_band + " of " + l.reps + " inside";
      if (!l.measured) line += " …";
    }
    text("word" + n, line);
    return;
  }
  mark.style.display = b.verdict ? "" : "none";
  html("mark" + n, b.verdict ? (b.provisional ? HOLLOW : SHAPES)[b.verdict] : "");
  mark.setAttribute("class", (b.verdict || "") + (b.fresh ? " fresh" : ""));
  html("speed" + n, b.speed === null ? "" : (b.provisional ? "≈" : "") + b.speed + "<small> °/s</small>");
  speed.className = word.className = b.verdict || "";
  text("word" + n, b.verdict ? (b.verdict === "inside" ? "" : b.off + " ") + WORDS[b.verdict] : b.moving ? "rising" : "");
}

// The last reps of one arm, each as its shape over its speed.
function strip(id, b, both) {
  const cell = Math.max(44, 0.086 * Math.min(innerWidth, innerHeight));
  const shown = b.strip.slice(-Math.max(3, Math.floor(innerWidth / cell) - (both ? 2 : 1)));
  html(id, (both ? "<div class=\"name\">" + b.side + "</div>" : "") + shown.map(([speed, verdict, near]) =>
    '<div class="' + (verdict || "") + '"><svg viewBox="0 0 100 100">' +
    ((near ? HOLLOW : SHAPES)[verdict] || '<rect x="16" y="16" width="68" height="68" fill="none" stroke="currentColor" stroke-width="10"/>') +
    "</svg>" + (speed === null ? "–" : (near ? "≈" : "") + speed) + "</div>").join(""));
}

// What may be said about the set that is done: one tap each, nothing required.
function order(what) { if (socket && socket.readyState === 1) socket.send(JSON.stringify(what)); }
function chip(label, what, pressed) {
  return '<button type="button" class="chip" data-order="' + escape(JSON.stringify(what)) + '" aria-pressed="' +
    (pressed ? "true" : "false") + '">' + escape(label) + "</button>";
}
function opener(label, id) { return '<button type="button" class="chip" data-open="' + id + '">' + label + "</button>"; }
function after(b, resting) {
  if (!resting || !b.logged || !b.last_set) { html("after", ""); return; }
  const set = b.last_set.number, say = (about, label, pressed) => chip(label, { say: about, set: set }, pressed);
  let s = "RIR";
  for (let n = 0; n <= 4; n++) s += say({ rir: n }, String(n), b.said.startsWith(n + " RIR"));
  html("after", s + opener("pain", "hurt") + opener("note", "noted") + (b.said ? "<span>" + escape(b.said) + "</span>" : ""));
  let p = "<p><span>Pain after set " + set + ", 0 none to 10 the worst</span>";
  for (let n = 0; n <= 10; n++) p += say({ pain: n }, String(n), new RegExp("pain " + n + "(,|$)").test(b.said));
  p += "</p><p><span>Where</span>";
  for (const place of ["front", "side", "back", "top of the shoulder", "neck", "elbow", "wrist"])
    p += say({ pain_place: place }, place);
  p += "</p><p><span>At which elevation</span>";
  for (const angle of [30, 60, 90, 120]) p += say({ pain_at_deg: angle }, angle + "°");
  html("hurt", p + "</p><p><span>Pain means stop. If it stays, see a licensed practitioner.</span>" + CLOSE + "</p>");
  html("noted", '<p><span>Note about set ' + set + '</span><textarea id="note" rows="3" maxlength="300"></textarea></p><p>' +
    '<button type="button" class="chip" data-note="' + set + '">keep</button>' + CLOSE + "</p>");
}

// Who lifts what next; a tap counts at once, during a set from the next one on.
const CLOSE = '<button type="button" class="chip" data-close="">close</button>';
function sheet(b) {
  const m = b.menu;
  if (!m || document.activeElement && /INPUT|SELECT/.test(document.activeElement.tagName)) return;
  let s = "<p><span>Lifter</span>";
  for (const name of m.lifters) s += chip(name, { switch: { lifter: name } }, name === m.lifter);
  s += '<input id="other" size="12" maxlength="60" placeholder="somebody else" aria-label="somebody else"></p><p><span>Exercise</span>' +
    '<select id="lift" aria-label="exercise">';
  for (const [key, name] of m.exercises)
    s += '<option value="' + escape(key) + '"' + (key === m.exercise ? " selected" : "") + ">" + escape(name) + "</option>";
  s += "</select></p>";
  if (!b.other) {
    s += "<p><span>Arm</span>";
    for (const side of ["left", "right"]) s += chip(side, { switch: { side: side } }, side === m.side);
    s += "</p>";
  }
  s += "<p><span>Load, kg</span>";
  if (m.load_kg !== null) {
    if (m.load_kg >= 1) s += chip("−1", { switch: { load_kg: round(m.load_kg - 1) } });
    s += chip("+1", { switch: { load_kg: round(m.load_kg + 1) } });
  }
  s += '<input id="load" type="number" min="0" max="500" step="any" inputmode="decimal" size="6" aria-label="load in kg" value="' +
    (m.load_kg === null ? "" : round(m.load_kg)) + '"></p><p>' + CLOSE + "</p>";
  html("sheet", s);
}
function round(kg) { return Math.round(kg * 100) / 100; }
document.addEventListener("click", e => {
  const button = e.target.closest("button");
  if (!button) return;
  if (button.id === "what") $("sheet").showModal();
  else if (button.dataset.open) $(button.dataset.open).showModal();
  else if (button.dataset.close !== undefined) button.closest("dialog").close();
  else if (button.dataset.order) order(JSON.parse(button.dataset.order));
  else if (button.dataset.note) {
    if ($("note").value.trim()) order({ say: { note: $("note").value.trim() }, set: Number(button.dataset.note) });
    $("noted").close();
  }
});
document.addEventListener("change", e => {
  const value = e.target.value.trim();
  if (!value) return;
  if (e.target.id === "other") order({ switch: { lifter: value } });
  else if (e.target.id === "lift") order({ switch: { exercise: value } });
  else if (e.target.id === "load" && isFinite(value)) order({ switch: { load_kg: Number(value) } });
  else return;
  e.target.blur();
});

// The arm as seen from behind: shoulder at the pivot, hanging down, swinging out; the gate is a sector.
function fan(b) {
  const box = $("fan").getBoundingClientRect(), w = box.width, h = box.height, flip = b.side === "left" ? -1 : 1;
  if (w < 10 || h < 10) return;
  const most = Math.max(120, b.arm_deg + 5, (b.top_deg || 0) + 5);
  // Room above the shoulder for the highest mark, below it for the hanging arm and its label.
  const above = Math.max(0.28, -Math.cos(most * Math.PI / 180)) * 1.12 + 0.06, under = 1.17;
  const r = Math.min(w * 0.8, h / (above + under));
  const cx = flip > 0 ? (w - 1.1 * r) / 2 : (w + 1.1 * r) / 2, cy = (h - (above + under) * r) / 2 + above * r;
  const at = (deg, k) => {
    const a = deg * Math.PI / 180;
    return (cx + flip * k * r * Math.sin(a)).toFixed(1) + " " + (cy + k * r * Math.cos(a)).toFixed(1);
  };
  const arc = (from, to, k, back) => "A" + k * r + " " + k * r + " 0 " + (Math.abs(to - from) > 180 ? 1 : 0) + " " +
    ((to > from) === (flip > 0) ? 0 : 1) + " " + at(to, k);
  const sector = (from, to, inner, outer) =>
    "M" + at(from, inner) + "L" + at(from, outer) + arc(from, to, outer) + "L" + at(to, inner) + arc(to, from, inner) + "Z";
  const line = (deg, from, to) => "M" + at(deg, from) + "L" + at(deg, to);
  let s = '<path d="M' + at(0, 1) + arc(0, most, 1) + '" fill="none" stroke="var(--rule)" stroke-width="3"/>';
  for (let d = 0; d <= most; d += 30)
    s += '<path d="' + line(d, 0.97, 1.03) + '" stroke="var(--faint)" stroke-width="2"/>' +
      '<text x="' + at(d, 1.1).split(" ")[0] + '" y="' + at(d, 1.1).split(" ")[1] + '" font-size="' + Math.max(13, r * 0.06) +
      '" fill="var(--faint)" text-anchor="middle" dominant-baseline="middle">' + d + "</text>";
  s += '<path d="' + sector(b.bottom_deg + b.gate[0], b.bottom_deg + b.gate[1], 0.72, 1) + '" fill="var(--arm)" opacity="0.75"/>' +
    '<text x="' + at(b.bottom_deg + (b.gate[0] + b.gate[1]) / 2, 0.86).replace(" ", '" y="') + '" font-size="' + Math.max(12, r * 0.05) +
    '" fill="var(--ink)" text-anchor="middle" dominant-baseline="middle">gate</text>';
  if (b.trail_deg.length > 1) {
    const low = Math.min(...b.trail_deg), high = Math.max(...b.trail_deg);
    if (high - low > 1) s += '<path d="' + sector(low, high, 0.2, 0.66) + '" fill="var(--arm)" opacity="0.45"/>';
  }
  if (b.top_deg !== null) s += '<path d="' + line(b.top_deg, 0.86, 1.0) + '" stroke="var(--ink)" stroke-width="4" stroke-dasharray="2 5"/>';
  s += '<path d="' + line(b.arm_deg, 0, 0.93) + '" stroke="var(--' + (b.verdict && !b.rest_s ? b.verdict : "ink") +
    ')" stroke-width="' + Math.max(8, r * 0.075) + '" stroke-linecap="round"/>' +
    '<circle cx="' + cx + '" cy="' + cy + '" r="' + Math.max(8, r * 0.06) + '" fill="var(--ink)"/>' +
    '<text x="' + (cx - flip * r * 0.12) + '" y="' + (cy - r * 0.12) + '" font-size="' + Math.max(18, r * 0.13) +
    '" font-weight="700" fill="var(--ink)" text-anchor="' + (flip > 0 ? "start" : "end") + '">' + Math.round(b.arm_deg) + "°</text>";
  $("fan").setAttribute("viewBox", "0 0 " + w + " " + h);
  $("fan").innerHTML = s;
}

function connect() {
  const url = (location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/live" + location.search;
  socket = new WebSocket(url);
  socket.onopen = () => { wait = 250; lastHeard = Date.now(); };
  socket.onmessage = m => {
    lastHeard = Date.now();
    const got = JSON.parse(m.data);
    if (got.over) over = true; else { over = false; board = got; }
    requestAnimationFrame(draw);
  };
  socket.onclose = () => {
    if (!board) text("say", "connection lost, trying again …");
    requestAnimationFrame(draw);
    setTimeout(connect, wait);
    wait = Math.min(2 * wait, 3000);
  };
}

let lock = null;
async function stayAwake() {
  try { if (document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen"); }
  catch (error) { lock = null; }
}
document.addEventListener("visibilitychange", () => {
  stayAwake();
  if (document.visibilityState === "visible" && socket && socket.readyState === 1 && Date.now() - lastHeard > 5000) socket.close();
});
document.addEventListener("pointerdown", stayAwake);
addEventListener("resize", () => requestAnimationFrame(draw));
if (navigator.wakeLock) stayAwake();
connect();
