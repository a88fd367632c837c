// The chart as a grid that can be drawn on: row 1 at the bottom, needle 1 at the left, as you face the bed.

import {find, make, button, count, tell, renew, withCode} from "./dom.js";

const WORDS = {K: "knit", T: "tuck", S: "slip", "-": "out of work"};
const EMPTY = "It stands empty, so nothing can be drawn on it. To bring it into work, change the `out` line in the text.";
const holder = find("grid");
const note = find("chart-note");
const under = find("cell");
let chart = null;
let cells = new Map();
let size = "";
let here = {row: 1, column: 1};
let wantFocus = false;
let marked = [];
let painting = false;
let on = {};

const key = (row, column) => `${row},${column}`;
const letterAt = (row, column) => chart.rows[row - chart.first_row]?.[column - chart.first_column];
const lastRow = () => chart.first_row + chart.rows.length - 1;
const lastColumn = () => chart.first_column + chart.rows[0].length - 1;

function label(row, column, letter) {
  return `row ${row}, needle ${column}: ${WORDS[letter]}`;
}

// The table: made anew when its size changes, else only the cells that differ are.
export function show(next, colours) {
  const before = chart;
  chart = next;
  if (!chart) return;
  const shape = JSON.stringify([chart.name, chart.first_row, chart.first_column, chart.rows.length, chart.rows[0].replace(/[KTS]/g, " "), chart.width, chart.height]);
  here = {row: Math.min(Math.max(here.row, chart.first_row), lastRow()), column: Math.min(Math.max(here.column, chart.first_column), lastColumn())};
  if (shape !== size) {
    size = shape;
    if (before?.name !== chart.name) here = {row: chart.first_row, column: chart.first_column};
    build();
  } else {
    for (let r = 0; r < chart.rows.length; r++) {
      if (before.rows[r] === chart.rows[r]) continue;
      for (let c = 0; c < chart.rows[r].length; c++) {
        if (before.rows[r][c] !== chart.rows[r][c]) letter(chart.first_row + r, chart.first_column + c);
      }
    }
  }
  yarns(colours);
  const part = chart.rows.length < chart.height || chart.rows[0].length < chart.width;
  note.replaceChildren(
    `${chart.name}: ${count(chart.width, "needle")} by ${count(chart.height, "row")}. Row 1 is at the bottom; the purl side faces you.`,
    part ? ` Shown: rows ${chart.first_row} to ${lastRow()}, needles ${chart.first_column} to ${lastColumn()}; the arrow keys go on.` : "");
  for (const pen of document.querySelectorAll("#pens input")) if (pen.value) pen.disabled = !chart.written_here;
  if (!chart.written_here && pen()) document.querySelector("#pens input").checked = true;
  describe();
}

export function clear() {
  chart = null;
  size = "";
  runs = [];
  for (const part of [holder, note, under]) part.replaceChildren();
}

function build() {
  const had = wantFocus || holder.contains(document.activeElement);
  cells = new Map();
  marked = [];
  const table = make("table", {
    role: "grid", "aria-label": `Chart of ${chart.name}`, "aria-rowcount": chart.height + 1, "aria-colcount": chart.width + 1,
  });
  const body = make("tbody");
  for (let row = lastRow(); row >= chart.first_row; row--) {
    const line = make("tr", {"aria-rowindex": chart.height - row + 1});
    line.append(make("th", {scope: "row", "aria-colindex": 1, "aria-label": `row ${row}`}, String(row)));
    for (let column = chart.first_column; column <= lastColumn(); column++) {
      const cell = make("td", {role: "gridcell", tabindex: -1, "aria-colindex": column + 1, "data-row": row, "data-column": column});
      cells.set(key(row, column), cell);
      line.append(cell);
    }
    body.append(line);
  }
  const foot = make("tr", {"aria-rowindex": chart.height + 1}, make("td", {class: "corner", "aria-hidden": "true"}));
  for (let column = chart.first_column; column <= lastColumn(); column++) {
    foot.append(make("th", {scope: "col", "aria-colindex": column + 1, "aria-label": `needle ${column}${letterAt(chart.first_row, column) === "-" ? ", out of work" : ""}`}, String(column)));
  }
  body.append(foot);
  table.append(body);
  const wide = chart.rows[0].length;
  table.className = wide > 40 ? "small" : wide > 20 ? "middle" : "large";
  for (let row = chart.first_row; row <= lastRow(); row++) {
    for (let column = chart.first_column; column <= lastColumn(); column++) letter(row, column);
  }
  holder.replaceChildren(table);
  const cell = cells.get(key(here.row, here.column));
  cell.tabIndex = 0;
  if (had) cell.focus();
  wantFocus = false;
}

function letter(row, column) {
  const cell = cells.get(key(row, column));
  const is = letterAt(row, column);
  cell.setAttribute("aria-label", label(row, column, is));
  cell.className = is === "-" ? "out" : is.toLowerCase() + (cell.classList.contains("run") ? " run" : "");
}

function yarns(colours) {
  const heads = holder.querySelectorAll("th[scope=row]");
  heads.forEach((head, index) => {
    const row = lastRow() - index;
    const yarn = chart.yarns[row - chart.first_row];
    const name = yarn ? `row ${row}, in ${yarn}` : `row ${row}`;
    if (head.getAttribute("aria-label") === name && head.dataset.colour === (colours[yarn] || "")) return;
    head.setAttribute("aria-label", name);
    head.title = yarn ? `in ${yarn}` : "";
    head.dataset.colour = colours[yarn] || "";
    head.style.borderInlineEnd = yarn ? `.4em solid ${colours[yarn] || "GrayText"}` : "";
  });
}

// -- where one is ------------------------------------------------------------------------------------------------------

function move(row, column, focus = true) {
  const before = cells.get(key(here.row, here.column));
  if (before) before.tabIndex = -1;
  here = {row: Math.min(Math.max(row, 1), chart.height), column: Math.min(Math.max(column, 1), chart.width)};
  const cell = cells.get(key(here.row, here.column));
  if (!cell) {  // it lies beyond the part that is shown
    wantFocus = focus;
    on.part(here);
    return;
  }
  cell.tabIndex = 0;
  if (focus) cell.focus();
  describe();
}

// The line below the chart: what the cell is, and for a built stitch where it comes from.
async function describe() {
  const {row, column} = here;
  const is = letterAt(row, column);
  if (!is) return;
  const words = `Row ${row}, needle ${column}: ${WORDS[is]}.`;
  if (is === "-") renew(under, words, " ", withCode(EMPTY));
  else if (chart.written_here) renew(under, words, " ", button("Show it in the text", () => on.text(row, column)));
  else if (!chart.built) renew(under, words, " ", withCode(`\`${chart.name}\` is written in \`${chart.file}\`.`));
  else {
    const asked = chart;
    const source = await on.source(row, column);
    if (here.row !== row || here.column !== column || asked !== chart) return;
    if (!source) renew(under, words, source === null ? withCode(" It comes from `plain`.") : "");
    else renew(under, words, withCode(` It comes from \`${source.stitch}\`, row ${source.row}, needle ${source.column}. `), button("Go there", () => on.there(source)));
  }
}

export function goTo(row, column, focus = true) {
  if (chart) move(row, column, focus);
}

export const place = () => here;

// The cells of a run of the text: [{rows, cells}] or nothing.
export function markRun(run) {
  for (const cell of marked) cell.classList.remove("run");
  marked = [];
  if (!run) return;
  for (const row of run.rows) {
    for (const column of run.cells) {
      const cell = cells.get(key(row, column));
      if (cell) marked.push(cell);
    }
  }
  for (const cell of marked) cell.classList.add("run");
}

let runs = [];

export function setRuns(next) {
  runs = next;
}

export function runAtCell(row, column) {
  return runs.find((run) => run.rows.includes(row) && run.cells.includes(column));
}

export function runInText(line, column) {
  return runs.find((run) => run.line === line && run.column <= column && column <= run.column + run.length);
}

// -- drawing -------------------------------------------------------------------------------------------------------------

const pen = () => document.querySelector("#pens input:checked").value;

function draw(row, column, to) {
  if (!chart.written_here) {
    tell("This stitch can't be drawn on: it is built from others. Go to the stitch that the cell comes from.");
    return;
  }
  if (letterAt(row, column) === "-") tell(`Needle ${column} is out of work. ${EMPTY}`);
  else on.draw(row, column, to);
}

const STEPS = {ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1], PageUp: [10, 0], PageDown: [-10, 0]};

function pressed(event) {
  if (!event.target.closest("td[role=gridcell]")) return;
  const step = STEPS[event.key];
  if (step && !event.altKey && !event.metaKey) move(here.row + step[0], here.column + step[1]);
  else if (event.key === "Home") move(event.ctrlKey ? 1 : here.row, 1);
  else if (event.key === "End") move(event.ctrlKey ? chart.height : here.row, chart.width);
  else if (event.key === "Enter") under.querySelector("button")?.click();
  else if (!event.ctrlKey && !event.metaKey && !event.altKey && "ktsKTS".includes(event.key)) draw(here.row, here.column, event.key.toUpperCase());
  else return;
  event.preventDefault();
}

function cellOf(event) {
  const cell = event.target.closest("td[role=gridcell]");
  return cell && {row: Number(cell.dataset.row), column: Number(cell.dataset.column)};
}

export function wire(handlers) {
  on = handlers;
  holder.addEventListener("keydown", pressed);
  holder.addEventListener("pointerdown", (event) => {
    const at = cellOf(event);
    if (!at || event.button) return;
    move(at.row, at.column);
    if (pen()) {
      painting = true;
      if (event.target.hasPointerCapture?.(event.pointerId)) event.target.releasePointerCapture(event.pointerId);
      draw(at.row, at.column, pen());
    }
  });
  holder.addEventListener("pointerover", (event) => {
    const at = cellOf(event);
    if (!at) return;
    if (painting) {
      move(at.row, at.column);
      draw(at.row, at.column, pen());
    }
    on.hover(at);
  });
  holder.addEventListener("pointerleave", () => on.hover(null));
  addEventListener("pointerup", () => (painting = false));
  holder.addEventListener("focusin", () => on.hover(null));
}
