// Follows the rows that the page shows, and begins in the view of that name. The function that it returns ends it.
function follow(begin) {
"use strict";
const byId = (id) => document.getElementById(id);
const root = document.documentElement, work = byId("rows");
// What listens beyond the rows themselves, and is to stop when other rows are shown.
const listening = [];
function listen(target, kind, heard) {
  target.addEventListener(kind, heard);
  listening.push(() => target.removeEventListener(kind, heard));
}
const total = Number(work.dataset.rows);
// Where earlier rows are knitted already the page begins with a later one; they count as done.
const firstRow = Number(work.dataset.first), doneBefore = firstRow - 1;
// Of each size, as everything that is counted in moves.
const numbers = (text) => text.split(" ").map(Number);
const totalMoves = numbers(work.dataset.moves);
const grouped = (count) => count.toLocaleString("en-US");
// The first figure and those of the other sizes in brackets, as in the words of the rows.
function several(counts) {
  const [first, ...others] = counts;
  return others.some((count) => count !== first) ? grouped(first) + " [" + others.map(grouped).join(", ") + "]" : grouped(first);
}
const lines = Array.from(byId("rows").querySelectorAll("tbody > tr"));
const key = "stitchc-sheet:" + work.dataset.key;

// The stops in order: what is done before the first row, every pass and everything done by hand, the end.
function kindOf(step) { return /^(ladder|cross|lead)$/.test(step.className) ? step.className : "pass"; }
// Letters that the smallest screen shows beside a row's number and state. A longer row is moved for in several stops.
const REACH = 180;
function inReach(step) {
  const text = step.textContent.trim();
  if (text.length <= REACH) return [step];
  const full = text.lastIndexOf(". ", REACH);
  if (full > 0) {  // whole sentences first
    return [text.slice(0, full + 1), text.slice(full + 2)].flatMap((words) => {
      const part = step.cloneNode(false);
      part.textContent = words;
      return inReach(part);
    });
  }
  const parts = [];
  // What is done is told with each part of the needles.
  let again = text.slice(0, Math.max(0, text.search(/\b[LR]\d/)));
  if (again.length > 60) again = again.slice(again.lastIndexOf(", ", again.length - 3) + 2);
  for (let rest = text; rest;) {
    const most = parts.length ? REACH - again.length : REACH;
    // The needles left of 0 by themselves where that is about half of them.
    const right = rest.search(/, R\d/), comma = rest.lastIndexOf(", ", most);
    const end = rest.length <= most ? -1 : right > most / 3 && right < most ? right : comma;
    const part = step.cloneNode(false);
    part.textContent = (parts.length ? "… " + again : "") + (end < 0 ? rest : rest.slice(0, end) + " …");
    parts.push(part);
    rest = end < 0 ? "" : rest.slice(end + 2);
  }
  return parts;
}
function reaches(steps) {
  const groups = [[]];
  let letters = 0;
  for (const step of steps.flatMap(inReach)) {
    if (letters && letters + step.textContent.length > REACH) { groups.push([]); letters = 0; }
    groups[groups.length - 1].push(step);
    letters += step.textContent.length;
  }
  return groups;
}
const stops = [{ kind: "before" }];
let part = "", details = [], done = 0, moved = totalMoves.map(() => 0);
for (const line of lines) {
  if (line.className === "part") {
    part = line.firstElementChild.firstChild.textContent.trim();
    details = Array.from(line.querySelectorAll("span"), (detail) => detail.textContent.trim());
    continue;
  }
  const row = line.id ? Number(line.id.slice(4)) : 0;
  const steps = Array.from(line.querySelectorAll(".do > p:not(.note)"));
  if (!row) { stops.push({ kind: "do", line, row, part, steps, details: [], done, moved }); continue; }
  // What is done ahead of the pass, and the lift after it, are stops of their own: a step is what a hand does at once.
  for (const kind of ["ladder", "cross", "pass", "lead"]) {
    const its = steps.filter((step) => kindOf(step) === kind);
    if (!its.length && kind !== "pass") continue;
    const groups = reaches(its);
    groups.forEach((group, at) => {
      const passes = kind === "pass" && at === groups.length - 1;
      const own = kind === "pass" && !passes ? "move" : kind;
      stops.push({ kind: own, line, row: passes ? row : 0, of: row, at, part, steps: group, details, done, moved });
      details = [];  // what a part asks for is shown once
      if (passes) { const these = numbers(line.dataset.m); done += 1; moved = moved.map((count, size) => count + these[size]); }
    });
  }
}
stops.push({ kind: "end", part: "", done, moved });
// Several that are knitted one after the other have the same stops, each from the very beginning.
const make = Number(work.dataset.make), once = stops.length;
for (let more = 1; more < make; more += 1) stops.push(...stops.slice(0, once));
const last = stops.length - 1;
// What stands before each stop, in a number: a sheet that was made again is the same as far as these are.
const before = [0, 0];
for (let at = 1; at < last; at += 1) {
  let sum = before[at];
  for (const letter of stops[at].line ? stops[at].line.textContent : "") sum = (sum * 31 + letter.codePointAt(0)) % 4294967291;
  before.push(sum);
}
const colours = new Map(JSON.parse(work.dataset.colours));
// The stop that the one at hand begins with, and where a row of it begins: with what is done ahead of its pass.
function outset() { return state.at - state.at % once; }
function beginning(row) { return stops.findIndex((stop, at) => at >= outset() && stop.of === row); }

// What is remembered on this device: the place, the places before it, notes, switches.
let state = { at: 0, past: [], notes: {}, voice: false, awake: true, fewer: false, every: null };
let keeps = true, changed = null;
function remember() {
  if (changed !== null) return;  // until it is said where to go on
  state.seen = before[state.at];
  try { localStorage.setItem(key, JSON.stringify(state)); } catch (refused) { keeps = false; }
  try { history.replaceState(null, "", "#" + nameOf(state.at)); } catch (refused) { /* a browser that forbids it */ }
}
function recall() {
  let kept = null;
  try { kept = JSON.parse(localStorage.getItem(key)); } catch (refused) { keeps = false; }
  changed = null;
  if (kept && Number.isInteger(kept.at) && kept.at >= 0) {
    if (kept.at <= last && (kept.seen === undefined || kept.seen === before[kept.at])) state.at = kept.at;
    else changed = Math.min(kept.at, last);
    if (Array.isArray(kept.past)) state.past = kept.past.filter((at) => Number.isInteger(at) && at >= 0 && at <= last);
    if (kept.notes && typeof kept.notes === "object") state.notes = kept.notes;
    state.voice = kept.voice === true;
    state.awake = kept.awake !== false;
    state.fewer = kept.fewer === true;
    state.every = typeof kept.every === "boolean" ? kept.every : null;
  } else {
    const at = placeOf(location.hash.slice(1));
    if (at !== null) state.at = at;
  }
}
function nameOf(at) {
  const stop = stops[at], which = at < once ? "" : Math.floor(at / once) + 1 + "-";
  if (stop.of && !stop.row) return which + stop.kind + "-" + stop.of + (stop.at ? "-" + stop.at : "");
  return which + (stop.kind === "pass" ? "row-" + stop.row : stop.kind === "do" ? "step-" + at % once : stop.kind);
}
function placeOf(name) {
  const at = stops.findIndex((_, place) => nameOf(place) === name);
  return at < 0 ? null : at;
}
const noteKey = (at) => nameOf(at);

// -- showing ---------------------------------------------------------------------------------------------------
function plain(count, one, many) { return grouped(count) + " " + (count === 1 ? one : many); }
function heading(stop) {
  if (/^(ladder|cross|move)$/.test(stop.kind)) return "Before row " + stop.of;
  return { before: "Before row " + firstRow, do: "To do", lead: "After row " + stop.of, end: "Done" }[stop.kind] || "Row " + stop.row;
}
function stepsOf(stop) {
  if (stop.kind === "before") return Array.from(byId("before").children, (item) => item.textContent.trim());
  if (stop.kind === "end") return ["All " + plain(doneBefore + total, "row is", "rows are") + " knitted."];
  return stop.steps.map((step) => step.textContent.trim());
}
function wayOf(stop) { return stop.kind === "pass" ? stop.line.querySelector(".way").textContent : ""; }
function sentence(stop) {
  const way = wayOf(stop);
  const begins = stop.details && stop.details.length ? [stop.part + ".", ...stop.details, ""].join(" ") : "";
  return begins + heading(stop) + (way ? ", " + way : "") + ". " + stepsOf(stop).join(" ");
}
// How everything stands before a row, always in sight: whoever comes back to the machine sees it.
function standing(stop) {
  const which = make > 1 ? [whichOf(state.at)] : [];
  if (!stop.of || stop.kind === "lead") return which;
  const words = /^(pass|move)$/.test(stop.kind) && stop.line.dataset.t || stop.line.dataset.s;
  return words ? [...which, ...words.split(" · ")] : which;
}
function whichOf(at) {
  return "piece " + (Math.floor(at / once) + 1) + " of " + make;
}
function stateItem(words) {
  const item = document.createElement("li");
  const colour = colours.get(words.replace(/ threaded.*/, ""));
  if (colour) {
    const patch = document.createElement("i");
    patch.style.background = colour;
    item.append(patch);
  }
  item.append(words);
  return item;
}
function aloud(text) {
  return text.replace(/\bL(\d+)/g, "left $1").replace(/\bR(\d+)/g, "right $1").replace(/\(|\)/g, ", ");
}
function show(say, back) {
  const stop = stops[state.at];
  const stands = standing(stop);
  byId("state").replaceChildren(...stands.map(stateItem));
  byId("state").hidden = !stands.length;
  byId("number").textContent = heading(stop);
  const way = byId("way");
  way.textContent = wayOf(stop);
  way.className = stop.kind === "pass" ? stop.line.querySelector(".way").className : "";
  byId("part").replaceChildren(stop.part || "", ...(stop.details || []).map((detail) => {
    const line = document.createElement("span");
    line.textContent = detail;
    return line;
  }));
  byId("part").hidden = !stop.part;
  const steps = byId("steps");
  steps.replaceChildren();
  if (stop.kind === "before") {
    const list = byId("before").cloneNode(true);
    list.removeAttribute("id");
    steps.append(list);
    const first = document.createElement("p");
    first.className = "see";
    first.textContent = "Cautions and instructions are under " + byId("about").getAttribute("aria-label") + ".";
    steps.append(first);
  } else if (stop.line) {
    steps.append(...stop.steps.map((step) => step.cloneNode(true)));
  } else {
    const ready = document.createElement("p");
    ready.textContent = stepsOf(stop)[0];
    steps.append(ready);
  }
  const strip = stop.line && stop.kind !== "cross" && stop.line.querySelector(stop.kind === "ladder" ? "svg.first" : "svg.bed:not(.first)");
  byId("strip").replaceChildren(...(strip ? [strip.cloneNode(true)] : []));
  const following = stops[state.at + 1];
  byId("next").textContent = following ? "Next: " + sentence(following).replace(heading(stops[0]) + ". ", "") : "";
  fit();
  const rowsDone = stop.done || 0;
  byId("bar").value = doneBefore + rowsDone;
  let words = plain(doneBefore + rowsDone, "row", "rows") + " done, " + grouped(total - rowsDone) + " left";
  if (totalMoves.some(Boolean)) words += "; " + several(stop.moved || totalMoves.map(() => 0)) + " of " + several(totalMoves) + " needles moved";
  byId("done").textContent = words;
  byId("back").disabled = state.at === 0;
  byId("on").disabled = state.at === last;
  if (stop.kind === "end" && following) byId("on").textContent = "Begin " + whichOf(state.at + 1);
  else byId("on").textContent = stop.kind !== "before" ? "Done, next" : following && following.kind === "do" ? "Ready, begin" : "Ready, row " + firstRow;
  byId("undo").disabled = !state.past.length;
  byId("note-label").textContent = "Note: " + heading(stop).toLowerCase();
  byId("note").value = state.notes[noteKey(state.at)] || "";
  if (root.dataset.view === "rows") tick();
  if (say) {
    const spoken = (back && stands.length ? "Before this row: " + stands.join("; ") + ". " : "") + sentence(stop);
    byId("say").textContent = spoken;
    if (state.voice) speak(aloud(spoken));
  }
}
// What is higher than the screen is set smaller, down to what is read at arm's length.
function fit() {
  const stage = byId("stage");
  stage.className = "";
  for (const size of ["close", "close bare"]) if (below() > 0) stage.className = size;
}
function tick() {
  const current = stops[state.at].line;
  let before = true;
  const from = outset();
  for (const stop of stops.slice(0, once)) {
    if (!stop.line) continue;
    if (stop.line === current) before = false;
    stop.line.classList.toggle("ticked", before && state.at !== from);
    stop.line.classList.toggle("current", stop.line === current);
  }
  stops.slice(0, once).forEach((stop, at) => {
    if (!stop.line || stop.of && !stop.row) return;
    const text = state.notes[noteKey(from + at)];
    let note = stop.line.querySelector(".note");
    if (!text) { if (note) note.remove(); return; }
    if (!note) {
      note = document.createElement("p");
      note.className = "note";
      stop.line.querySelector(".do").append(note);
    }
    note.textContent = "Note: " + text;
  });
  tickPaper();
}
// The rows as they are printed: boxes of a block, or rows of their own.
function tickPaper() {
  const printed = byId("paper");
  if (!printed) return;
  printed.querySelectorAll(".note").forEach((note) => note.remove());
  const done = stops[state.at].done || 0;
  printed.querySelectorAll("[data-r]").forEach((box) => box.classList.toggle("ticked", Number(box.dataset.r) <= doneBefore + done));
  stops.slice(0, once).forEach((stop, at) => {
    const text = stop.row && state.notes[noteKey(outset() + at)];
    const box = text && printed.querySelector(`[data-r="${stop.row}"]`);
    if (!box) return;
    const note = document.createElement("p");
    note.className = "note";
    note.textContent = "Note, row " + stop.row + ": " + text;
    const line = box.closest("tr");
    (line.querySelector(".do") || line.previousElementSibling.querySelector(".do")).append(note);
  });
}

// -- moving ----------------------------------------------------------------------------------------------------
// A second step forward sooner than this is the first one's echo (a finger that trembles, a switch that bounces, a
// double click, for which systems allow up to half a second): no pass of a carriage is that quick, and a row counted
// twice spoils the work. Steps back, jumps and undo are never held up, and what comes after them is no echo.
const SAME_TAP_MS = 400;
let wentOnAt = -Infinity;
function goOn(event) {
  if (event.timeStamp - wentOnAt < SAME_TAP_MS) return;
  go(state.at + 1);
  wentOnAt = event.timeStamp;
  if (!lock) wake();
}
function go(at) {
  at = Math.max(0, Math.min(last, at));
  if (at === state.at) return;
  wentOnAt = -Infinity;
  state.past.push(state.at);
  if (state.past.length > 500) state.past.shift();
  const back = at !== state.at + 1;
  state.at = at;
  remember();
  window.scrollTo(0, 0);
  show(true, back);
}
function undo() {
  if (!state.past.length) return;
  state.at = state.past.pop();
  wentOnAt = -Infinity;
  remember();
  show(true, true);
}
function view(name, focus) {
  root.dataset.view = name;
  if (name === "rows") tick();
  if (!focus) return;
  byId(name === "follow" ? "stage" : name).focus({ preventScroll: name === "follow" });
  const current = name === "rows" && stops[state.at].line;
  if (current) current.scrollIntoView({ block: "center" }); else window.scrollTo(0, 0);
}

byId("on").addEventListener("click", goOn);
byId("back").addEventListener("click", () => go(state.at - 1));
byId("undo").addEventListener("click", undo);
byId("jump").addEventListener("submit", (event) => {
  event.preventDefault();
  const at = beginning(Number(byId("jump-row").value));
  if (at > 0) go(at);
  byId("jump-row").value = "";
  byId("stage").focus();
});
byId("note").addEventListener("input", (event) => {
  const text = event.target.value;
  if (text.trim()) state.notes[noteKey(state.at)] = text; else delete state.notes[noteKey(state.at)];
  remember();
});
listen(document, "click", (event) => {
  const link = event.target.closest("a[href^='#']");
  if (link) {
    event.preventDefault();
    const name = link.getAttribute("href").slice(1);
    const at = placeOf(name);
    if (at !== null) { view("follow", true); go(stops[at].row ? beginning(stops[at].row) : at); return; }
    // The browser's own Back leads to the rows again, not out of the page.
    if (name !== "follow") history.pushState(null, "", "#" + name);
    else if (/^#(rows|about)$/.test(location.hash)) { history.back(); return; }
    view(name, true);
    return;
  }
  // A finger leaves the focus on what it touched; a pedal's next space must go on, not press that again.
  const button = event.target.closest("button");
  if (button && event.detail > 0) byId("stage").focus({ preventScroll: true });
});
listen(window, "hashchange", () => {
  const at = placeOf(location.hash.slice(1));
  if (at !== null) { view("follow", false); go(at); }
});

// How much of the step is hidden under the buttons.
function below() { return byId("stage").getBoundingClientRect().bottom - byId("go").getBoundingClientRect().top; }
const forward = new Set([" ", "ArrowRight", "ArrowDown", "PageDown", "Enter"]);
const backward = new Set(["ArrowLeft", "ArrowUp", "PageUp"]);
listen(document, "keydown", (event) => {
  if (root.dataset.view !== "follow" || event.altKey) return;
  const target = event.target;
  if (target.closest("input, textarea")) return;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") { event.preventDefault(); undo(); return; }
  if (event.ctrlKey || event.metaKey) return;
  if (target.closest("button, a") && (event.key === " " || event.key === "Enter")) {
    if (event.repeat) event.preventDefault();  // held down on a button it would press that over and over
    return;
  }
  const on = forward.has(event.key) && !(event.key === " " && event.shiftKey);
  if (!on && !backward.has(event.key) && event.key !== " ") return;
  event.preventDefault();
  if (event.repeat) return;
  if ((event.key === "PageDown" || event.key === "ArrowDown") && below() > 0) {
    window.scrollBy(0, Math.min(below() + 8, window.innerHeight / 2));
    return;
  }
  if (on) goOn(event); else go(state.at - 1);
});

// -- paper -----------------------------------------------------------------------------------------------------
function paper() {
  root.classList.toggle("fewer", state.fewer);
  if (byId("fewer")) byId("fewer").setAttribute("aria-pressed", String(state.fewer));
  if (!byId("every")) return;
  if (state.every !== null) root.classList.toggle("every", state.every);
  byId("every").setAttribute("aria-pressed", String(root.classList.contains("every")));
}
if (byId("every")) byId("every").addEventListener("click", () => { state.every = !root.classList.contains("every"); remember(); paper(); });
if (byId("fewer")) byId("fewer").addEventListener("click", () => { state.fewer = !state.fewer; remember(); paper(); });

let touch = null;
byId("stage").addEventListener("touchstart", (event) => {
  touch = event.touches.length === 1 ? { x: event.touches[0].clientX, y: event.touches[0].clientY } : null;
}, { passive: true });
byId("stage").addEventListener("touchend", (event) => {
  if (!touch || event.changedTouches.length !== 1) return;
  const right = event.changedTouches[0].clientX - touch.x, down = event.changedTouches[0].clientY - touch.y;
  touch = null;
  if (Math.abs(right) > 60 && Math.abs(right) > 2 * Math.abs(down)) { if (right < 0) goOn(event); else go(state.at - 1); }
}, { passive: true });

// -- voice and a screen that stays on, where the browser has them -------------------------------------------------
const canSpeak = "speechSynthesis" in window;
function speak(text) {
  if (!canSpeak) return;
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(text);
  words.lang = "en";
  speechSynthesis.speak(words);
}
byId("voice").hidden = !canSpeak;
byId("voice").addEventListener("click", () => {
  state.voice = !state.voice;
  byId("voice").setAttribute("aria-pressed", String(state.voice));
  remember();
  if (state.voice) speak(aloud(sentence(stops[state.at]))); else if (canSpeak) speechSynthesis.cancel();
});
function warn(sentence) {
  const place = byId("trouble");
  if (!place.textContent.includes(sentence)) place.textContent = `${place.textContent} ${sentence}`.trim();
}
let lock = null;
const canWake = "wakeLock" in navigator;
async function wake() {
  if (!canWake || !state.awake || document.visibilityState !== "visible") return;
  try { lock = await navigator.wakeLock.request("screen"); } catch (refused) {
    state.awake = false;
    byId("awake").setAttribute("aria-pressed", "false");
    warn("This browser does not let the page keep the screen on; set it in the device's display settings.");
  }
}
byId("awake").hidden = !canWake;
byId("awake").addEventListener("click", () => {
  state.awake = !state.awake;
  byId("awake").setAttribute("aria-pressed", String(state.awake));
  remember();
  if (state.awake) wake(); else if (lock) { lock.release(); lock = null; }
});
listen(document, "visibilitychange", wake);
listen(window, "beforeprint", tick);
listen(window, "resize", fit);
// Two windows of one sheet follow each other.
listen(window, "storage", (event) => {
  if (event.key !== key || !event.newValue) return;
  recall();
  ask();
  show(false, true);
});
function ask() {
  byId("changed").hidden = changed === null;
  if (changed !== null) byId("changed").firstElementChild.textContent = "This sheet was made again, and its rows are not the same as those you knitted. You were at: " + heading(stops[changed]) + ".";
}
for (const [id, place] of [["resume", () => changed], ["restart", () => 0]]) byId(id).addEventListener("click", () => {
  const at = place();
  changed = null;
  ask();
  if (at === state.at) remember(); else go(at);
});

// -- begin -----------------------------------------------------------------------------------------------------
recall();
ask();
byId("follow").hidden = false;
byId("voice").setAttribute("aria-pressed", String(state.voice));
byId("awake").setAttribute("aria-pressed", String(state.awake));
paper();
view(begin, false);
show(false, state.at > 1);
if (begin === "follow") {
  remember();
  wake();
  byId("stage").focus({ preventScroll: true });
}
if (!keeps) warn("This browser does not keep your place when the page is closed. Its address does: bookmark it.");
return () => {
  listening.forEach((stop) => stop());
  if (lock) lock.release();
};
}
