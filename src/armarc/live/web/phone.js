"use strict";
const $ = id => document.getElementById(id);
const OFFLINE = location.protocol !== "https:" && location.protocol !== "http:";
const WIDTH = 7, KEPT = 180000, BATCH_MS = 50, MOST = 300, ANSWER_MS = 5000;
// What its wearer is told before and while it streams, by what it is wanted for.
const { task, places } = document.querySelector("main").dataset;
const PLACES = OFFLINE || !places ? [""] : places.split(",");
const BUTTON = { "": "Start", wrist: "On the wrist", left: "On the left wrist", right: "On the right wrist", chest: "On the chest" };
const WEAR = "Tap, strap the phone to the wrist, and hang the arm.";
const TASK = OFFLINE ? [WEAR] : {
  "": [WEAR],
  record: [WEAR, "Recording", "Hold still for a moment with the arm hanging, then lift. The computer ends it."],
  check: ["Tap, and lay the phone on a steady table.", "Listening", "Touch neither it nor the table."],
  calibrate: ["Tap, then turn the phone as the computer says.", "Recording", "Turn it as the computer says. The computer ends it."],
  mount: ["Tap, strap the phone on as always, and make the move the computer shows.", "Recording",
    "Hang the arm and stand still, then twist and raise. The computer ends it."],
}[task || ""];
const CHEST = "On the breastbone, screen forward: in a chest pocket or under a strap. Stand still for a moment.";
const hex = bytes => Array.from(crypto.getRandomValues(new Uint8Array(bytes)), b => b.toString(16).padStart(2, "0")).join("");
function remembered(store, key) {
  // A browser that keeps nothing is a new phone every time.
  try { const had = store().getItem(key); if (/^[0-9a-f]{8,32}$/.test(had || "")) return had; } catch (error) { }
  const made = hex(8);
  try { store().setItem(key, made); } catch (error) { }
  return made;
}
const PHONE = remembered(() => localStorage, "armarc-phone");
const TAB = remembered(() => sessionStorage, "armarc-tab");
const SESSION = hex(8);

// The last half hour at 100 events a second; offline it grows with the recording.
let kept = new Float64Array(WIDTH * (OFFLINE ? 6000 : KEPT)), size = kept.length / WIDTH;
let first = 0, next = 0, sent = 0, acked = 0, answeredAt = 0;
let interval = null, upright = [0, 0], up = null, battery = null;
let place = "", running = false, stopped = false, refused = false, startedAt = null, lastEvent = 0, lastBatch = 0;
let socket = null, greeted = false, busy = "", over = false, news = {}, wait = 250, slept = 0;
const wallOffset = Date.now() - performance.now();

function grow() {
  if (OFFLINE && next === size) {
    const larger = new Float64Array(2 * kept.length);
    larger.set(kept); kept = larger; size *= 2;
  } else if (next - first === size) first++;
}

// Time since the page was loaded, ms; a clock that stopped while the phone slept is put right by the wall clock.
function stamp(event) {
  const now = performance.now();
  let t = event.timeStamp;
  if (!(Math.abs(now - t) < 1000)) t = now;
  const behind = Date.now() - now - wallOffset - slept;
  if (behind > 1000) slept += behind;
  return t + slept;
}

function onMotion(event) {
  const a = event.accelerationIncludingGravity, r = event.rotationRate;
  if (!a || !r || [a.x, a.y, a.z, r.alpha, r.beta, r.gamma].some(v => typeof v !== "number" || !isFinite(v))) return;
  let t = stamp(event);
  grow();
  const at = WIDTH * (next % size);
  if (next > first) t = Math.max(t, kept[WIDTH * ((next - 1) % size)]);
  kept.set([t, a.x, a.y, a.z, r.alpha, r.beta, r.gamma], at);
  next++;
  if (startedAt === null) startedAt = new Date();
  if (typeof event.interval === "number" && event.interval > 0 && event.interval < 1e9) interval = event.interval;
  const length = Math.hypot(a.x, a.y, a.z);
  if (up && length > 0.1) { upright[0] += (a.x * up[0] + a.y * up[1] + a.z * up[2]) / length; upright[1]++; }
  lastEvent = performance.now();
  if (lastEvent - lastBatch >= BATCH_MS) send();
}

// Which way is up in the phone, from the orientation angles: third row of R = Z(alpha) X(beta) Y(gamma), W3C.
function onOrientation(event) {
  if (event.beta === null || event.gamma === null) return;
  const b = event.beta * Math.PI / 180, c = event.gamma * Math.PI / 180;
  up = [-Math.cos(b) * Math.sin(c), Math.sin(b), Math.cos(b) * Math.cos(c)];
}

function rows(from, to) {
  const out = [];
  for (let k = from; k < to; k++) out.push(Array.from(kept.subarray(WIDTH * (k % size), WIDTH * (k % size) + WIDTH)));
  return out;
}

function send() {
  lastBatch = performance.now();
  if (OFFLINE || !socket || socket.readyState !== 1 || !greeted) return;
  while (sent < next && socket.bufferedAmount < 200000) {
    const to = Math.min(next, sent + MOST);
    socket.send(JSON.stringify({
      from: sent, frames: rows(sent, to), interval, upright: upright[1] ? upright : null, battery,
    }));
    sent = to;
  }
}

function connect() {
  if (OFFLINE || over || busy || stopped) return;
  const link = socket = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host +
    "/phone/stream" + location.search);
  greeted = false;
  answeredAt = performance.now();
  link.onopen = () => {
    wait = 250;
    answeredAt = performance.now();
    link.send(JSON.stringify({ hello: 1, phone: PHONE, tab: TAB, session: SESSION, first, next, place }));
  };
  link.onmessage = message => {
    if (link !== socket) return;
    answeredAt = performance.now();
    const got = JSON.parse(message.data);
    if (got.busy) { busy = got.busy; link.close(); }
    if (got.next !== undefined) { greeted = true; sent = acked = Math.max(first, got.next); send(); }
    if (got.ack !== undefined) acked = Math.max(acked, got.ack);
    if (got.over) { over = true; halt(); }
    if (got.ready !== undefined) news = got;
    draw();
  };
  link.onclose = () => {
    if (link !== socket) return;
    greeted = false;
    draw();
    setTimeout(connect, wait);
    wait = Math.min(2 * wait, 2000);
  };
}

// A connection that takes frames and answers nothing is dead, whatever the browser thinks.
function look() {
  if (running && socket && socket.readyState < 2 && sent > acked && performance.now() - answeredAt > ANSWER_MS) {
    const dead = socket;
    socket = null;
    dead.close();
    connect();
  }
  if (running && sent < next) send();
  draw();
}

function text(id, value) { if ($(id).textContent !== value) $(id).textContent = value; }

function draw() {
  let say = "", more = "", alarm = false;
  const silent = running && performance.now() - lastEvent > 1500;
  if (!isSecureContext) { say = "This page must come encrypted"; more = "Browsers give motion only to pages with https in their address."; alarm = true; }
  else if (refused) {
    say = "Motion was not allowed"; alarm = true;
    more = "Allow it in the browser's settings for this site, load the page again and tap Start.";
  }
  else if (!running) {
    say = stopped ? "Recorded" : OFFLINE ? "Record without a network" : "This phone is the sensor";
    more = stopped ? "Save it, and measure it with: armarc process FILE" :
      PLACES.length > 1 ? "Where does this phone sit? Tap that, then strap it on." :
      PLACES[0] === "chest" ? "Tap, then put it in a chest pocket or under a strap: on the breastbone, screen forward." : TASK[0];
  }
  else if (busy) { say = "Not this one"; more = busy + (PLACES.length > 1 ? ". Close that one, or load this page again and tap another place." :
      ". Close that one, then load this page again."); alarm = true; }
  else if (over) { say = "The session is over"; more = "For the next one scan the code again."; }
  else if (next === 0 && silent) { say = "No motion comes"; more = "This browser gives no rotation rates, or they are switched off in its settings for this site."; alarm = true; }
  else if (OFFLINE) { say = "Recording"; more = "Strapped on? Hold still for a moment, then lift. Keep this page in front."; }
  else if (!greeted) { say = "No connection"; more = "Go on lifting: what is recorded now is sent as soon as it is back."; alarm = true; }
  else if (silent) { say = "No motion comes"; more = "Keep this page in front and the screen on."; alarm = true; }
  else if (TASK[1]) { say = TASK[1]; more = TASK[2]; }
  else if (news.ready) { say = news.rep ? "" : "Ready. Lift."; }
  else { say = "Strapped on? Hold still"; more = "Hang the arm and stand still for a moment."; }
  if (place === "chest" && more && !alarm && !over) more = CHEST;
  text("say", say); text("more", more);
  $("say").className = alarm ? "alarm" : "";
  const count = running && !OFFLINE && greeted && news.ready && news.rep > 0 && !alarm && !over;
  $("count").hidden = !count;
  if (count) text("count", String(news.rep));
  $("places").hidden = (running && !OFFLINE) || !isSecureContext || stopped;
  if (OFFLINE) text("start", running ? "Stop" : "Start");
  $("facts").hidden = !running && !stopped;
  $("csv").hidden = next === 0 || (OFFLINE && running);
  $("keep").hidden = running || OFFLINE;
  text("samples", String(next));
  text("waiting", OFFLINE ? "kept here" : String(next - acked) + (first > acked ? ", oldest dropped" : ""));
  text("battery", battery === null ? "not told" : Math.round(100 * battery) + " %");
}

async function start(where) {
  if (running) { stop(); return; }
  place = where;
  // Some platforms ask their owner, and only in answer to a tap.
  for (const kind of [window.DeviceMotionEvent, window.DeviceOrientationEvent]) {
    if (!kind || typeof kind.requestPermission !== "function") continue;
    let answer = "denied";
    try { answer = await kind.requestPermission(); } catch (error) { answer = String(error); }
    if (answer !== "granted" && kind === window.DeviceMotionEvent) {
      refused = true;
      draw();
      return;
    }
  }
  running = true;
  refused = false;
  lastEvent = performance.now();
  addEventListener("devicemotion", onMotion);
  addEventListener("deviceorientation", onOrientation);
  stayAwake();
  connect();
  draw();
}

function halt() {
  removeEventListener("devicemotion", onMotion);
  removeEventListener("deviceorientation", onOrientation);
  if (lock) lock.release();
}

function stop() {
  running = false;
  stopped = true;
  halt();
  draw();
}

let lock = null;
async function stayAwake() {
  try { if (running && !over && document.visibilityState === "visible") lock = await navigator.wakeLock.request("screen"); }
  catch (error) { lock = null; }
}

// The project's own recording format. Signs and units as the specification has them; the reader checks by gravity
// which axes alpha, beta and gamma are.
function csv() {
  const sign = upright[1] >= 10 && upright[0] / upright[1] < -0.5 ? -1 : 1, began = kept[WIDTH * (first % size)];
  const lines = [], spans = [], sizes = [];
  for (let k = first; k < next; k++) {
    const v = kept.subarray(WIDTH * (k % size), WIDTH * (k % size) + WIDTH);
    if (k > first && spans.length < 2000) spans.push(v[0] - kept[WIDTH * ((k - 1) % size)]);
    if (sizes.length < 2000) sizes.push(Math.hypot(v[1], v[2], v[3]));
    lines.push(v);
  }
  const middle = list => list.sort((p, q) => p - q)[list.length >> 1], size9 = middle(sizes);
  const g = size9 > 0.5 && size9 < 2.5 ? 9.80665 : 1;
  const head = {
    sensor: "phone-" + PHONE.slice(0, 4), sensor_serial: PHONE, sensor_profile: "phone page 1, recorded on the phone",
    clock_of: PHONE,
    started_at: startedAt.toISOString(), rate_hz: Math.round(1e5 / middle(spans)) / 100,
    sensor_habits: ["gravity " + (upright[1] < 10 ? "taken as the reaction" : sign < 0 ? "turned round" : "told as the reaction"),
      "the browser's interval " + interval],
  };
  const roundA = rounding(lines, 1, g), roundG = rounding(lines, 4, Math.PI / 180);
  if (roundA) head.sensor_rounding_m_s2 = roundA;
  if (roundG) head.sensor_rounding_rad_s = roundG;
  return "# armarc recording 1\n# " + JSON.stringify(head) +
    "\ntime_s,ax_m_s2,ay_m_s2,az_m_s2,rotation_rate_alpha_deg_s,rotation_rate_beta_deg_s,rotation_rate_gamma_deg_s\n" + lines.map(v =>
      ((v[0] - began) / 1000).toFixed(6) + "," + [1, 2, 3].map(i => (sign * g * v[i]).toFixed(5)).join(",") + "," +
      [4, 5, 6].map(i => v[i].toFixed(4)).join(",")).join("\n") + "\n";
}

function rounding(lines, from, scale) {
  for (const step of [1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01])
    if (lines.every(v => [0, 1, 2].every(i => Math.abs(v[from + i] / step - Math.round(v[from + i] / step)) < 1e-6)))
      return step * scale;
  return null;
}

async function hand(name, content, kind) {
  const file = new File([content], name, { type: kind });
  if (navigator.canShare && navigator.canShare({ files: [file] })) {
    try { await navigator.share({ files: [file] }); return; }
    catch (error) { if (error.name === "AbortError") return; }
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

PLACES.forEach((where, k) => {
  const button = k ? $("places").appendChild(document.createElement("button")) : $("start");
  button.textContent = BUTTON[where];
  button.onclick = () => start(where);
  button.disabled = false;  // a tap before this script has run would be lost without a word
});
$("csv").onclick = () => hand("phone-" + startedAt.toISOString().slice(0, 19).replace(/[:T]/g, "-") + ".csv", csv(), "text/csv");
$("keep").onclick = async () => hand("armarc-phone.html", await (await fetch(location.href)).text(), "text/html");
document.addEventListener("visibilitychange", stayAwake);
if (navigator.getBattery) navigator.getBattery().then(b => {
  const take = () => { battery = b.level; draw(); };
  b.addEventListener("levelchange", take);
  take();
}).catch(() => {});
setInterval(look, 500);
draw();
