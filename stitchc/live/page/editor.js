// The text area with line numbers and coloured words, and its history: every change, typed or made by a button or on
// the chart, can be undone.

import {find} from "./dom.js";

const KEYWORDS = new Set(
  ("pattern note yarn include stitch over in out then beside across up shifted left right mirrored reversed with for plain by gauge " +
    "stitches rows stitch row st sts per mm cm inch inches sure piece width plus needles edge carriage do knit exactly at make sizes " +
    "colour color tex weight ball difficulty notion photo").split(" "));
const QUOTES = {'"': '"', "“": "”", "„": "“”", "«": "»"};
const LONGEST = 2000;

const area = find("text");
const layer = find("colours");
const numbers = find("numbers");
let painted = [];
let marks = new Map();
let history = [];
let future = [];
let last = {text: "", start: 0, end: 0, at: 0, kind: ""};
let onChange = () => {};
let onMove = () => {};

// Class of every character of a line: w a keyword, q quoted, c comment, n number, t and s cells that tuck and slip.
function classes(line) {
  const kinds = new Array(line.length).fill("");
  const fill = (from, to, kind) => kinds.fill(kind, from, to);
  let at = 0;
  const row = /^\s*[0-9][0-9\s,–-]*(?:in\s+\S+?\s*)?:/i.exec(line);
  const cells = row ? row[0].length : Infinity;
  while (at < line.length) {
    const here = line[at];
    if (here === "#") {
      fill(at, line.length, "c");
      break;
    }
    if (QUOTES[here]) {
      let end = at + 1;
      while (end < line.length && !QUOTES[here].includes(line[end])) end++;
      fill(at, Math.min(end + 1, line.length), "q");
      at = end + 1;
      continue;
    }
    const word = /^[\p{L}][\p{L}\p{M}\p{N}_-]*/u.exec(line.slice(at, at + 80));
    if (at >= cells) {
      const letter = /^([KTSkts])[0-9]*/.exec(line.slice(at));
      if (letter) fill(at, at + letter[0].length, letter[1].toLowerCase());
      at += letter ? letter[0].length : 1;
    } else if (word) {
      if (KEYWORDS.has(word[0].toLowerCase())) fill(at, at + word[0].length, "w");
      at += word[0].length;
    } else {
      if (/[0-9]/.test(here)) kinds[at] = "n";
      at++;
    }
  }
  return kinds;
}

function paintLine(element, line, own) {
  element.replaceChildren();
  if (line.length > LONGEST) {
    element.append(line);
    return;
  }
  const kinds = classes(line);
  for (const {from, to, kind} of own) for (let i = from; i < Math.min(to, line.length); i++) kinds[i] += ` ${kind}`;
  let start = 0;
  for (let i = 1; i <= line.length; i++) {
    if (i < line.length && kinds[i] === kinds[start]) continue;
    if (kinds[start]) {
      const span = document.createElement("span");
      span.className = kinds[start];
      span.textContent = line.slice(start, i);
      element.append(span);
    } else element.append(line.slice(start, i));
    start = i;
  }
  element.append("\n");
}

const NONE = [];
function paint() {
  const lines = area.value.split("\n");
  // What stands before and after a change stays; only the lines between are made anew.
  let before = 0;
  while (before < lines.length && before < painted.length && painted[before].line === lines[before]) before++;
  let after = 0;
  const most = Math.min(lines.length, painted.length) - before;
  while (after < most && painted[painted.length - 1 - after].line === lines[lines.length - 1 - after]) after++;
  for (const {element} of painted.slice(before, painted.length - after)) element.remove();
  const next = painted[painted.length - after]?.element ?? null;
  const fresh = lines.slice(before, lines.length - after).map((line) => ({line, own: null, element: document.createElement("div")}));
  for (const {element} of fresh) layer.insertBefore(element, next);
  painted.splice(before, painted.length - after - before, ...fresh);
  painted.forEach((each, index) => {
    const own = marks.get(index + 1) || NONE;
    if (each.own === own) return;
    paintLine(each.element, each.line, own);
    each.own = own;
  });
  while (numbers.childElementCount > lines.length) numbers.lastChild.remove();
  while (numbers.childElementCount < lines.length) {
    const number = document.createElement("div");
    number.textContent = numbers.childElementCount + 1;
    numbers.append(number);
  }
  follow();
}

function follow() {
  layer.style.transform = `translate(${-area.scrollLeft}px, ${-area.scrollTop}px)`;
  numbers.style.transform = `translateY(${-area.scrollTop}px)`;
}

// -- marks: of messages, of runs ---------------------------------------------------------------------------------------

const layers = {};
// kind "messages" or "run": [{line, column, length, kind}], columns from 1 in characters.
export function mark(name, list) {
  const flat = JSON.stringify(list);
  if (layers[name]?.flat === flat) return;
  layers[name] = {flat, list};
  const lines = area.value.split("\n");
  const found = new Map();
  for (const {list: each} of Object.values(layers)) {
    for (const {line, column, length, kind} of each) {
      if (!found.has(line)) found.set(line, []);
      const text = lines[line - 1] ?? "";
      found.get(line).push({from: units(text, column - 1), to: units(text, column - 1 + Math.max(1, length)), kind});
    }
  }
  for (const [line, own] of found) {
    const before = marks.get(line);
    if (before && JSON.stringify(before) === JSON.stringify(own)) found.set(line, before);
  }
  marks = found;
  for (let i = 0; i < numbers.childElementCount; i++) {
    const worst = (marks.get(i + 1) || NONE).map((each) => each.kind);
    numbers.children[i].className = worst.includes("error") ? "error" : worst.includes("warning") ? "warning" : "";
  }
  paint();
}

// Characters as the notation counts them, as units of a JavaScript string.
function units(text, characters) {
  return /[\ud800-\udbff]/.test(text) ? Array.from(text).slice(0, characters).join("").length : characters;
}

function characters(text, at) {
  return Array.from(text.slice(0, at)).length;
}

// -- places ----------------------------------------------------------------------------------------------------------

const startOf = (line) => area.value.split("\n").slice(0, line - 1).reduce((sum, each) => sum + each.length + 1, 0);

export function caret() {
  const before = area.value.slice(0, area.selectionStart);
  const line = before.split("\n").length;
  return {line, column: characters(before, before.length) - characters(before, before.lastIndexOf("\n") + 1) + 1};
}

export function goTo(line, column = 1, length = 0, focus = true) {
  const text = area.value.split("\n")[line - 1] ?? "";
  const start = startOf(line);
  area.setSelectionRange(start + units(text, column - 1), start + units(text, column - 1 + length));
  const high = parseFloat(getComputedStyle(area).lineHeight);
  const top = (line - 1) * high;
  if (top < area.scrollTop || top > area.scrollTop + area.clientHeight - 2 * high) area.scrollTop = Math.max(0, top - area.clientHeight / 3);
  if (focus) {
    area.focus({preventScroll: false});
  }
  remember();
  onMove();
}

// The place under the mouse, where the letters are all of one width.
export function placeAt(event) {
  const box = area.getBoundingClientRect();
  const style = getComputedStyle(area);
  const high = parseFloat(style.lineHeight);
  const wide = letterWidth(style.font);
  const line = Math.floor((event.clientY - box.top - area.clientTop - parseFloat(style.paddingTop) + area.scrollTop) / high) + 1;
  const column = Math.floor((event.clientX - box.left - area.clientLeft - parseFloat(style.paddingLeft) + area.scrollLeft) / wide) + 1;
  return {line, column};
}

let measured = {};
function letterWidth(font) {
  if (measured.font !== font) {
    const context = document.createElement("canvas").getContext("2d");
    context.font = font;
    measured = {font, width: context.measureText("KKKKKKKKKK").width / 10};
  }
  return measured.width;
}

// -- changes and their history ----------------------------------------------------------------------------------------

function remember() {
  last = {...last, text: area.value, start: area.selectionStart, end: area.selectionEnd};
}

function changed(kind) {
  if (area.value === last.text) return;
  const now = Date.now();
  const together = kind === "typed" && last.kind === "typed" && now - last.at < 700 && !area.value.slice(0, area.selectionStart).endsWith("\n");
  if (!together) history.push({text: last.text, start: last.start, end: last.end});
  if (history.length > 400) history.shift();
  let kept = 0;
  for (let i = history.length - 1; i >= 0; i--) {
    kept += history[i].text.length;
    if (kept > 30000000) {
      history = history.slice(i + 1);
      break;
    }
  }
  future = [];
  last = {kind, at: now};
  remember();
  paint();
  onChange();
}

// Another text, as one step that can be undone. The caret keeps its line unless a place is given.
export function replaceText(text, place = null) {
  const {line, column} = place || caret();
  const top = area.scrollTop;
  area.value = text;
  const lines = text.split("\n");
  const at = Math.min(line, lines.length);
  const start = lines.slice(0, at - 1).reduce((sum, each) => sum + each.length + 1, 0);
  const spot = start + Math.min(units(lines[at - 1], column - 1), lines[at - 1].length);
  area.setSelectionRange(spot, spot);
  area.scrollTop = top;
  changed("made");
}

// A fix as messages carry it: `length` characters from `column` of `line` become `text`.
export function applyFix({line, column, length, text}) {
  const lines = area.value.split("\n");
  const own = Array.from(lines[line - 1] ?? "");
  const rest = Array.from(lines.slice(line - 1).join("\n"));
  const after = [...rest.slice(0, column - 1), text, ...rest.slice(column - 1 + length)].join("");
  replaceText([...lines.slice(0, line - 1), after].join("\n"), {line, column: Math.min(column, own.length + 1)});
}

function step(from, to) {
  const entry = from.pop();
  if (!entry) return;
  to.push({text: area.value, start: area.selectionStart, end: area.selectionEnd});
  area.value = entry.text;
  area.setSelectionRange(entry.start, entry.end);
  last = {kind: "", at: 0};
  remember();
  paint();
  onChange();
}

export const undo = () => step(history, future);
export const redo = () => step(future, history);
export const canUndo = () => history.length > 0;
export const canRedo = () => future.length > 0;
export const text = () => area.value;

// A text of another file: nothing of the one before can be undone into it.
export function begin(text) {
  area.value = text;
  history = [];
  future = [];
  last = {kind: "", at: 0};
  area.setSelectionRange(0, 0);
  area.scrollTop = 0;
  remember();
  paint();
}

export function isUndo(event) {
  const held = event.ctrlKey || event.metaKey;
  const key = event.key.toLowerCase();
  if (held && !event.altKey && key === "z") return event.shiftKey ? "redo" : "undo";
  return held && key === "y" ? "redo" : null;
}

export function wire(change, move, hover) {
  onChange = change;
  onMove = move;
  area.addEventListener("input", () => changed("typed"));
  area.addEventListener("scroll", follow);
  area.addEventListener("beforeinput", (event) => {
    if (event.inputType === "historyUndo" || event.inputType === "historyRedo") {
      event.preventDefault();
      (event.inputType === "historyUndo" ? undo : redo)();
    }
  });
  area.addEventListener("keydown", (event) => {
    const which = isUndo(event);
    if (!which) return;
    event.preventDefault();
    (which === "undo" ? undo : redo)();
  });
  document.addEventListener("selectionchange", () => {
    if (document.activeElement !== area) return;
    if (area.value === last.text) remember();
    onMove();
  });
  area.addEventListener("mousemove", (event) => hover(placeAt(event)));
  area.addEventListener("mouseleave", () => hover(null));
  new ResizeObserver(follow).observe(area);
}
