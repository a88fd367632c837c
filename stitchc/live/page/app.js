// The page as a whole: which file, what is saved, and when what follows from the text is asked for.

import {find, make, button, count, withCode, saying, tell, renew, banner, dialog} from "./dom.js";
import {ask, get, send, listen, page, Refused} from "./server.js";
import * as editor from "./editor.js";
import * as chart from "./chart.js";
import * as views from "./views.js";

const doc = {file: "", base: "", savedText: "", onDisk: false, theirs: null};
const choice = {machine: "", stitch: "", line: 1, row: 1, column: 1};
let offers = {files: [], drafts: [], examples: [], machines: [], first: ""};
let pattern = null;
let current = "";
let ticket = 0;

const changed = () => editor.text() !== doc.savedText;
const context = () => ({text: editor.text(), file: doc.file, machine: choice.machine, units: find("units").value, settings: views.settings()});

async function guarded(work) {
  try {
    return await work();
  } catch (error) {
    if (error instanceof Refused) dialog("That did not work", (close) => [make("p", {}, withCode(error.message)), button("Close", close, {class: "main"})]);
    else if (!(error instanceof TypeError)) throw error;
    return null;
  }
}

// -- what follows from the text -----------------------------------------------------------------------------------------

let reading = null;
let again = false;
let later = 0;
let keeping = 0;
let readText = null;

// Ask for what follows; the promise is kept when the text as it stands then has been shown.
function follow() {
  again = true;
  reading ??= (async () => {
    while (again) {
      again = false;
      const asked = editor.text();
      try {
        const answer = await ask("read", {...context(), ...choice});
        if (asked !== editor.text()) continue;
        readText = asked;
        shown(answer);
      } catch (error) {
        if (error instanceof Refused) banner("refused", error.message, "bad");
        else if (!(error instanceof TypeError)) throw error;
      }
    }
  })().finally(() => (reading = null));
  return reading;
}

function textChanged() {
  status();
  choice.line = editor.caret().line;
  ticket++;
  follow();
  clearTimeout(keeping);
  keeping = setTimeout(keep, 250);
}

function shown(answer) {
  showMessages(answer.messages, answer.more_messages);
  editor.mark("messages", answer.messages.filter((each) => each.line).map((each) => ({line: each.line, column: each.column, length: each.length, kind: each.severity})));
  pattern = answer.pattern;
  find("grid").classList.toggle("old", !pattern && Boolean(current));
  views.waiting(!pattern?.whole);
  if (!pattern) {
    find("chart-note").textContent = current ? `There is a mistake in the text. This is ${current} as it was before.` : "The chart appears when the stitch has no mistake.";
    return;
  }
  const name = pattern.chart.name;
  const other = name !== current;
  current = name;
  listStitches(name);
  chart.show(pattern.chart, pattern.yarns);
  document.title = `${pattern.title || doc.file} – stitchc live`;
  if (other) ticket++;
  clearTimeout(later);
  if (pattern.whole) later = setTimeout(look, other ? 0 : 250);
  chart.setRuns([]);
  clearTimeout(runsLater);
  runsLater = setTimeout(learnRuns, 60);
}

// Which run gives which cells, once the chart is there: pointing can wait, typing can't.
let runsLater = 0;
async function learnRuns() {
  const asked = editor.text();
  if (!pattern?.chart.written_here) return;
  const {runs} = await ask("runs", {text: asked, file: doc.file, stitch: current, row: pattern.chart.first_row}).catch(() => ({runs: []}));
  if (asked !== editor.text()) return;
  chart.setRuns(runs);
  runOfCaret();
}

function listStitches(name) {
  if (!pattern.whole && find("stitch").options.length > pattern.stitches.length) return;
  const select = find("stitch");
  const names = pattern.stitches.map((each) => `${each.name}, ${each.width} by ${each.height}`);
  if (select.dataset.names !== names.join("\n")) {
    select.dataset.names = names.join("\n");
    select.replaceChildren(...pattern.stitches.map((each, index) => make("option", {value: each.name}, names[index])));
  }
  select.value = name;
}

function look() {
  if (!pattern?.whole || !doc.file) return;
  const reader = offers.machines.find((each) => each.name === choice.machine)?.reader;
  const names = views.wanted(ticket, reader);
  if (names.length) ask("look", {...context(), stitch: current, ticket, views: names}).catch(() => {});
}

// -- messages -----------------------------------------------------------------------------------------------------------

const SEVERITY = {error: "Mistake", warning: "Warning", info: "Remark"};
let listed = "";
let telling = 0;

function showMessages(messages, more) {
  const flat = JSON.stringify([messages, more]);
  if (flat === listed) return;
  listed = flat;
  messagesNow = messages;
  const fixable = messages.filter((each) => each.fix).length;
  renew(find("messages"),
    messages.length ? make("ol", {class: "messages"}, messages.map(messageItem)) : make("p", {class: "fine"}, "Nothing is wrong."),
    more ? make("p", {class: "note"}, `And ${more} more. Fix these first.`) : null);
  clearTimeout(telling);
  telling = setTimeout(() => {
    const errors = messages.filter((each) => each.severity === "error").length;
    const first = messages[0];
    tell(first ? `${count(messages.length, "message")}, ${count(errors, "mistake")}. ${first.line ? `Line ${first.line}: ` : ""}${first.text}${fixable ? ` ${count(fixable, "fix", "fixes")} can be made by a button.` : ""}` : "Nothing is wrong.");
  }, 900);
}

function messageItem(message) {
  const place = message.line ? button(`Line ${message.line}`, () => editor.goTo(message.line, message.column, message.length), {class: "place"}) : message.elsewhere ? make("span", {class: "place"}, message.elsewhere) : null;
  const actions = [];
  if (message.fix) {
    actions.push(button("Make this change", () => makeFix(message), {class: "main", "aria-label": `Make this change in line ${message.fix.line}: ${message.fix.text.trim()}`}));
  }
  if (message.letter && messagesNow.find((each) => each.letter === message.letter) === message) {
    for (const [letter, word] of [["K", "knit"], ["T", "tuck"], ["S", "slip"]]) actions.push(button(`${message.letter} is ${letter} (${word})`, () => writeFor(message.letter, letter)));
  }
  if (message.code) actions.push(button("What does this mean?", () => explain(message.code), {"aria-label": `What does ${message.code} mean?`}));
  return make("li", {class: message.severity},
    saying(message, [make("strong", {}, SEVERITY[message.severity]), " ", place, " "]),
    actions.length ? make("p", {class: "actions"}, actions) : null);
}

// A fix is for the text that its message is about: if that has changed, the same one among the new messages is made.
let messagesNow = [];
async function makeFix({code, line, fix}) {
  if (readText !== editor.text()) await follow();
  const alike = readText === editor.text() ? messagesNow.filter((each) => each.code === code && each.fix?.text === fix.text) : [];
  const same = alike.find((each) => each.line === line) ?? (alike.length === 1 && alike[0]);
  if (!same) {
    tell("The text has changed since this message. Nothing was done.");
    return;
  }
  editor.applyFix(same.fix);
  toast("The change is made.");
}

// A letter of the rows that the notation does not have, in every row as the one that the knitter chooses.
function writeFor(foreign, letter) {
  const lines = editor.text().split("\n").map((line) => {
    const row = /^(\s*[0-9][0-9\s,–-]*(?:in\s+\S+?\s*)?:)([^#]*)(.*)$/i.exec(line);
    return row ? row[1] + row[2].replaceAll(new RegExp(foreign, "gi"), letter) + row[3] : line;
  });
  editor.replaceText(lines.join("\n"));
  toast(`Every ${foreign} in the rows is now ${letter}.`);
}

async function explain(code) {
  const about = await guarded(() => ask("explain", {code}));
  if (about) dialog(`${code}: ${about.title}`, (close) => [...about.text.split(/\n\s*\n/).map((part) => make("p", {}, withCode(part.replace(/\n/g, " ")))), button("Close", close, {class: "main"})]);
}

// A change that was made for the knitter, and the way back.
function toast(words, more = null) {
  banner("made", [make("span", {}, words), more, button("Undo", () => {
    editor.undo();
    banner("made", null);
    editor.goTo(editor.caret().line, editor.caret().column);
    tell("Undone.");
  }), button("Close", () => banner("made", null), {"aria-label": "Close this note"})]);
}

// -- runs and cells ---------------------------------------------------------------------------------------------------

function markRun(run) {
  chart.markRun(run);
  editor.mark("run", run ? [{line: run.line, column: run.column, length: run.length, kind: "run"}] : []);
}

// What the mouse points at, in the text or on the chart; without it, where the caret or the chart's own place is.
let pointed = null;
function runOfCaret() {
  if (pointed) markRun(pointed.line ? chart.runInText(pointed.line, pointed.column) : chart.runAtCell(pointed.row, pointed.column));
  else if (document.activeElement === find("text")) {
    const {line, column} = editor.caret();
    markRun(chart.runInText(line, column));
  } else markRun(chart.runAtCell(chart.place().row, chart.place().column));
}

function point(place) {
  pointed = place;
  runOfCaret();
}

let moving = 0;
function caretMoved() {
  const {line} = editor.caret();
  runOfCaret();
  if (line === choice.line) return;
  choice.line = line;
  choice.stitch = "";
  clearTimeout(moving);
  moving = setTimeout(follow, 60);
}

// -- drawing -----------------------------------------------------------------------------------------------------------

// The answer that has a new text for the one on the page; if that was changed in between, it is asked for again.
async function rewritten(what, value) {
  for (;;) {
    const text = editor.text();
    const answer = await ask(what, {...value, text});
    if (text === editor.text()) return answer;
  }
}

let drawing = Promise.resolve();
function draw(row, column, letter) {
  const stitch = current;
  drawing = drawing.then(() => guarded(async () => {
    const drawn = await rewritten("draw", {file: doc.file, stitch, row, column, letter});
    choice.stitch = stitch;
    choice.line = drawn.line;
    editor.replaceText(drawn.text, {line: drawn.line, column: 1});
    tell(`Row ${row}, needle ${column}: ${{K: "knit", T: "tuck", S: "slip"}[letter]}.`);
  }));
}

async function source(row, column) {
  try {
    return (await ask("source", {text: editor.text(), file: doc.file, stitch: current, row, column})).source;
  } catch {
    return undefined;
  }
}

async function goToSource({stitch, row, column}) {
  choice.stitch = stitch;
  const line = pattern.stitches.find((each) => each.name === stitch)?.line;
  if (line) choice.line = line;
  choice.row = row;
  choice.column = column;
  await follow();
  if (line) editor.goTo(line, 1, 0, false);
  choice.line = line || choice.line;
  chart.goTo(row, column);
}

const HOW = [
  ["stitch wave", "A stitch and its name. Its rows follow, one repeat, in the order of knitting."],
  ["1: K3 T", "Row 1: 3 needles knit, 1 tucks. K knits, T tucks, S slips; left to right as you face the bed."],
  ["2, 4-6: K", "Rows 2, 4, 5 and 6 are alike. A short row repeats over the whole width."],
  ["3: (K T)x2", "What is in brackets, twice."],
  ["5 in foam: S2 K2", "Row 5 in the yarn called foam, which a line like the next one names."],
  ["yarn foam \"sea green\"", "A yarn, in your own words."],
  ["stitch wave over 8", "The repeat is 8 needles wide."],
  ["out 4", "Among the rows: needle 4 of the repeat is out of work."],
  ["stitch b = a then a shifted 1", "A stitch built from another: above it, moved by 1 needle. Also beside, mirrored, reversed, across 2, up 3."],
  ["gauge wave 20 stitches 30 rows per 10 cm", "A swatch that you measured. plain is stocking stitch."],
  ["piece cowl", "A piece. Under it: width 60 cm, knit wave for 18 cm, do \"Cast off.\""],
  ["width 60 cm plus 1 cm in wave", "Its finished width, and what seams take. wave sets the needles; without it, the stitch of most rows does."],
  ["edge 1", "In a piece: needles at each end that always knit."],
  ["carriage left", "In a piece: where the carriage stands before row 1. Later on: where it must stand then; one plain row is added if it does not."],
  ["knit wave for 4 cm exactly", "To the nearest row. Without exactly: in whole repeats."],
  ["yarn kelp \"olive\" weight light", "A yarn by its weight category. Or its tex: tex 210."],
  ["yarn reed \"undyed\" ball 50 g 120 m", "How it is sold: balls are counted, and its tex follows. colour \"#d9c7a0\" is what it looks like."],
  ["stitch c = a with S for T", "A stitch with slips in place of tucks."],
  ["gauge wave 20 stitches 30 rows per 10 cm sure", "A surprising count that you have checked."],
  ["sizes 40, 46, 52 cm plus 1 cm", "In a piece, in place of its width: several sizes."],
  ["needles 96", "In a piece, in place of its width: the needles themselves."],
  ["make 2", "In a piece: how many of it you knit."],
  ["knit wave for 18 cm in kelp at \"5\"", "The yarn of its rows, and the tension, in your own words."],
  ["include \"grounds.stitch\"", "The stitches, yarns and gauges of another file of the folder."],
  ["pattern \"Tide line\"", "A title. Also note, by and difficulty, each with your words in quotation marks, for whoever knits from it."],
  ["notion \"a tapestry needle\"", "What is needed besides yarn and machine."],
  ["photo \"front.jpg\" \"the cowl, worn\"", "A picture in the folder, and what it shows."],
  ["# a comment", "Is not read."],
];

function howToWrite() {
  dialog("How to write a pattern", (close) => [
    make("div", {class: "paper", tabindex: 0, role: "group", "aria-label": "The notation"}, make("table", {class: "figures how"}, make("tbody", {},
      HOW.map(([line, words]) => make("tr", {}, make("th", {scope: "row"}, make("code", {}, line)), make("td", {}, words)))))),
    button("Close", close, {class: "main"})], {class: "broad"});
}

function newStitch() {
  dialog("Draw a new stitch", (close) => {
    const name = make("input", {id: "new-name", required: true, autocomplete: "off", value: pattern || editor.text().trim() ? "drawn" : "first"});
    const width = make("input", {id: "new-width", type: "number", min: 1, max: 80, value: "4"});
    const height = make("input", {id: "new-height", type: "number", min: 1, max: 120, value: "8"});
    return form(close, "Begin", [field("Name", name), field("Needles of one repeat", width), field("Rows of one repeat", height)], async () => {
      const added = await rewritten("add", {kind: "stitch", name: name.value, width: width.value, height: height.value});
      close();
      choice.stitch = name.value.trim();
      choice.line = added.line;
      editor.replaceText(added.text, {line: added.line, column: 1});
      await follow();
      chart.goTo(1, 1);
      tell(`Drawing ${choice.stitch}: arrow keys move, K, T and S set a cell.`);
    });
  });
}

// alike: an example cell of each kind and what it means, where that had to be asked.
async function traceFile(file, alike = "") {
  if (!file) return;
  tell("Reading the picture…");
  const settings = {...views.settings().trace, ...(alike && {alike})};
  const how = new URLSearchParams({page, name: file.name, settings: JSON.stringify(settings)});
  const traced = await guarded(() => send(`trace?${how}`, file));
  if (!traced) return;
  let added = null;
  const differently = (close) => button("Read it in another way…", () => {
    close();
    views.askSettings("trace", "Picture of a chart", "", () => {
      if (editor.text() === added?.text) editor.undo();
      traceFile(file);
    });
  });
  const show = (title, words) => dialog(title, (close) => [make("ul", {class: "remarks"}, words.map((each) => make("li", {}, saying(each)))), make("p", {class: "actions"}, button("Close", close, {class: "main"}), differently(close))]);
  if (traced.kinds) {
    nameKinds(file, traced, differently);
    return;
  }
  if (traced.refused) {
    show("No chart could be read", traced.refused);
    return;
  }
  added = await guarded(() => rewritten("add", {kind: "traced", traced: traced.text}));
  if (!added) return;
  editor.replaceText(added.text, {line: added.line + 1, column: 1});
  const doubts = [...traced.remarks, ...traced.doubts];
  toast(`The chart in ${file.name} is now at the end of the pattern.`, differently(() => banner("made", null)));
  if (doubts.length) show("Check the result", doubts);
}

const STITCHES = {K: "knit", T: "tuck", S: "slip"};

function nameKinds(file, {size: [columns, rows], kinds}, differently) {
  dialog("Which stitch is each kind of cell?", (close) => {
    const choices = kinds.map((kind, number) => {
      const id = `kind-${number}`;
      const select = make("select", {id}, Object.entries(STITCHES).map(([letter, words]) => make("option", {value: letter, selected: letter === kind.letter}, words)));
      const where = `${kind.count} of these, one in row ${kind.cell.replace(",", ", column ")}`;
      return {kind, select, line: make("p", {class: "kind"}, make("img", {src: kind.picture, alt: ""}), make("label", {for: id}, where), select)};
    });
    return make("form", {onsubmit: (event) => {
      event.preventDefault();
      close();
      traceFile(file, choices.map(({kind, select}) => `${kind.cell}=${select.value}`).join(" "));
    }}, make("p", {}, `${file.name} was read as ${columns} columns by ${rows} rows. If that is not so, say how many in “Read it in another way”.`),
      choices.map(({line}) => line),
      make("p", {class: "actions"}, make("button", {class: "main"}, "Read it"), button("Cancel", close), differently(close)));
  });
}

// -- forms -----------------------------------------------------------------------------------------------------------

function field(words, input, note = "") {
  return make("p", {class: "field-line"}, make("label", {for: input.id}, words), input, note ? make("span", {class: "note"}, note) : null);
}

// A form in a dialog: what is refused stands in it, and nothing is lost.
function form(close, words, fields, work) {
  const wrong = make("p", {class: "refused", role: "alert"});
  return make("form", {oninput: () => wrong.replaceChildren(), onsubmit: async (event) => {
    event.preventDefault();
    wrong.replaceChildren();
    try {
      await work();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      wrong.replaceChildren(...withCode(error.message));
    }
  }}, fields, wrong, make("p", {class: "actions"}, make("button", {class: "main"}, words), button("Cancel", close)));
}

function swatch() {
  dialog("I have knitted a swatch", (close) => {
    const names = ["plain", ...(pattern?.stitches || []).map((each) => each.name)];
    const stitch = make("select", {id: "swatch-stitch"}, names.map((name) => make("option", {value: name}, name === "plain" ? "plain (stocking stitch)" : name)));
    stitch.value = pattern?.has_plain && names.includes(current) ? current : "plain";
    const stitches = make("input", {id: "swatch-stitches", inputmode: "decimal", autocomplete: "off"});
    const across = field("Stitches counted", stitches);
    const sayWhat = () => {
      const empty = pattern?.stitches.find((each) => each.name === stitch.value)?.has_ladders;
      across.firstChild.textContent = empty ? "Needles, counting the empty ones" : "Stitches counted";
      howTo.textContent = `Let the swatch rest, lay it flat without weights, and count in its middle.${empty ? " A ladder counts as many as it has empty needles." : ""}`;
    };
    const howTo = make("p", {});
    stitch.addEventListener("change", sayWhat);
    sayWhat();
    const rows = make("input", {id: "swatch-rows", inputmode: "decimal", autocomplete: "off"});
    const length = make("input", {id: "swatch-length", inputmode: "decimal", value: find("units").value === "in" ? "4" : "10"});
    const unit = make("select", {id: "swatch-unit"}, ["cm", "in"].map((each) => make("option", {value: each}, each)));
    unit.value = find("units").value;
    const yarns = Object.keys(pattern?.yarns || {});
    const yarn = make("select", {id: "swatch-yarn"}, ["", ...yarns].map((each) => make("option", {value: each}, each || "no yarn named")));
    const chooseYarn = () => { yarn.value = pattern?.swatch_yarns[stitch.value] || ""; };
    stitch.addEventListener("change", chooseYarn);
    chooseYarn();
    return [howTo,
      form(close, "Write the gauge line", [field("Stitch", stitch), across, field("Rows counted", rows), field("over", length), field("Unit", unit), yarns.length ? field("Knitted in", yarn) : null], async () => {
        const added = await rewritten("add", {
          kind: "gauge", stitch: stitch.value, stitches: stitches.value, rows: rows.value, length: length.value, unit: unit.value, yarn: yarn.value,
        });
        close();
        choice.stitch = current;
        editor.replaceText(added.text, {line: added.line, column: 1});
        toast(`Line ${added.line} now has your swatch.`);
      })];
  });
}

// -- saving and keeping --------------------------------------------------------------------------------------------------

function status() {
  find("file-name").textContent = doc.file;
  find("file-state").textContent = !doc.onDisk ? "not saved yet" : changed() ? "has changes that are not saved" : "saved";
  find("save").disabled = doc.onDisk && !changed();
  find("undo").disabled = !editor.canUndo();
  find("redo").disabled = !editor.canRedo();
}

const copyKey = () => `text ${doc.file}`;

async function keep(closing = false) {
  if (!doc.file) return;
  const value = {file: doc.file, text: editor.text(), base: doc.base};
  try {
    if (changed()) await ask("keep", value, closing);
    else await ask("forget", value, closing);
    localStorage.removeItem(copyKey());
  } catch {
    if (changed()) localStorage.setItem(copyKey(), JSON.stringify(value));
  }
}

async function save() {
  if (!doc.onDisk) {
    saveAs("Save the pattern");
    return;
  }
  await guarded(() => write(doc.file, doc.base));
}

async function write(file, base) {
  const text = editor.text();
  const answer = await ask("save", {file, text, base});
  if (!answer.saved) {
    doc.theirs = answer.theirs;
    conflict(file);
    return false;
  }
  if (file !== doc.file) {
    ask("forget", {file: doc.file}).catch(() => {});
    views.belongsTo(file);
    localStorage.removeItem(copyKey());
  }
  Object.assign(doc, {file, base: answer.digest, savedText: text, onDisk: true, theirs: null});
  history.replaceState(null, "", `?file=${encodeURIComponent(file)}`);
  banner("elsewhere", null);
  banner("restored", null);
  status();
  tell(`${file} is saved.`);
  follow();
  return true;
}

function saveAs(title = "Save under another name") {
  dialog(title, (close) => {
    const name = make("input", {id: "save-name", required: true, autocomplete: "off", value: doc.file});
    return form(close, "Save", [field("File", name, `It goes into the folder ${offers.folder}.`)], async () => {
      const file = /\.stitch$/i.test(name.value.trim()) ? name.value.trim() : `${name.value.trim()}.stitch`;
      if (file === doc.file) {
        close();
        await write(file, doc.base);
        return;
      }
      const stands = await ask("save", {file, text: editor.text(), base: ""});
      if (!stands.saved) throw new Refused(`There is a file \`${file}\` already. Choose another name.`);
      close();
      await write(file, stands.digest);
    });
  });
}

// Two versions: both are shown, and whichever is not chosen is written beside.
function conflict(file = doc.file) {
  const theirs = doc.theirs;
  const mine = editor.text();
  const apart = (text, other) => {
    const lines = new Set(other.split("\n"));
    return make("pre", {tabindex: 0, class: "version"}, text.split("\n").map((line) => make(lines.has(line) ? "span" : "mark", {}, `${line}\n`)));
  };
  const side = async (text) => (await ask("beside", {file, text})).name;
  dialog("The file was changed elsewhere", (close) => [
    make("p", {}, `Another program or page has written `, make("code", {}, file), " since you opened it. Lines that differ are marked. Neither version is lost."),
    make("div", {class: "versions"},
      make("section", {}, make("h3", {}, "Yours, on this page"), apart(mine, theirs.text)),
      make("section", {}, make("h3", {}, "The file as it is now"), apart(theirs.text, mine))),
    make("p", {class: "actions"},
      button("Save mine, keep the other as a second file", () => guarded(async () => {
        const name = await side(theirs.text);
        close();
        if (await write(file, theirs.digest)) banner("kept", [make("span", {}, "The other version is in ", make("code", {}, name), "."), button("Close", () => banner("kept", null))]);
      }), {class: "main"}),
      button("Use the file, keep mine as a second file", () => guarded(async () => {
        const name = await side(mine);
        close();
        adopt(theirs);
        banner("kept", [make("span", {}, "Your version is in ", make("code", {}, name), "."), button("Close", () => banner("kept", null))]);
      })),
      button("Decide later", close)),
  ], {class: "broad"});
}

// The file's own version takes the place of what is shown; the step can be undone.
function adopt(opened) {
  Object.assign(doc, {base: opened.digest, savedText: opened.text, onDisk: true, theirs: null});
  banner("elsewhere", null);
  editor.replaceText(opened.text);
  status();
  keep();
}

function fileChanged(opened) {
  if (opened.name !== doc.file || opened.digest === doc.base) return;
  if (!changed()) {
    adopt(opened);
    banner("adopted", [make("span", {}, "The file was saved elsewhere; this is its new text."), button("Close", () => banner("adopted", null))]);
    return;
  }
  doc.theirs = opened;
  banner("elsewhere", [make("span", {}, "The file was saved elsewhere while you were writing."), button("Look at both versions", () => conflict())], "bad");
}

// -- opening -----------------------------------------------------------------------------------------------------------

async function open(name, text = null) {
  const opened = await guarded(() => ask("open", {name, stands: text === null}));
  if (!opened) return;
  const local = JSON.parse(localStorage.getItem(`text ${name}`) || "null");
  const draft = local && local.text !== opened.text ? local : opened.draft;
  Object.assign(doc, {file: name, base: opened.digest, savedText: opened.text, onDisk: Boolean(opened.digest), theirs: null});
  Object.assign(choice, {stitch: "", line: 1});
  current = "";
  pattern = null;
  chart.clear();
  views.reset(name);
  find("stitch").replaceChildren();
  find("stitch").dataset.names = "";
  history.replaceState(null, "", `?file=${encodeURIComponent(name)}`);
  for (const kind of ["elsewhere", "restored", "kept", "adopted", "made"]) banner(kind, null);
  editor.begin(text ?? draft?.text ?? opened.text);
  if (text === null && draft) {
    banner("restored", [make("span", {}, "This is your text from last time; it is not saved yet."),
      opened.digest ? button("Show the saved file", () => {
        editor.replaceText(opened.text);
        banner("restored", null);
      }) : null, button("Close", () => banner("restored", null), {"aria-label": "Close this note"})]);
    if (draft.base !== opened.digest) {
      doc.base = draft.base;
      fileChanged(opened);
    }
  }
  find("begin").hidden = true;
  find("desk").hidden = find("tools").hidden = false;
  textChanged();
  find("text").focus();
}

function freeName(stem) {
  const taken = new Set([...offers.files, ...offers.drafts].map((each) => each.name));
  for (let number = 1; ; number++) {
    const name = `${stem}${number > 1 ? `-${number}` : ""}.stitch`;
    if (!taken.has(name)) return name;
  }
}

function begin() {
  const list = (title, entries) => entries.length ? make("section", {}, make("h2", {}, title), make("ul", {class: "offers"}, entries.map((each) => make("li", {}, each)))) : null;
  find("desk").hidden = find("tools").hidden = true;
  find("begin").hidden = false;
  find("file-name").textContent = find("file-state").textContent = "";
  document.title = "stitchc live";
  find("begin").replaceChildren(...[
    make("p", {class: "words"}, "Type one repeat of a pattern, and see at once what follows from it: the chart, the fabric, its size, the hole card, the needle sheet. Nothing leaves this computer."),
    make("section", {}, make("h2", {}, "Begin"), make("p", {class: "actions"},
      button("A first pattern", () => open(freeName("first"), offers.first), {class: "main"}),
      button("An empty page", () => open(freeName("pattern"), "")))),
    list("Go on with unsaved text", offers.drafts.map((each) => button(each.name, () => open(each.name)))),
    list(`Patterns in the folder ${offers.folder}`, offers.files.filter((each) => !offers.drafts.some((draft) => draft.name === each.name)).map((each) => button(each.name, () => open(each.name)))),
    list("Examples, to change as you like", offers.examples.map((each) => button(each.title, () => open(freeName(each.name.replace(/\.stitch$/, "")), each.text)))),
  ].filter(Boolean));
  find("begin").focus();
}

function listMachines() {
  const groups = new Map();
  for (const each of offers.machines) {
    if (!groups.has(each.group)) groups.set(each.group, []);
    groups.get(each.group).push(make("option", {value: each.name, disabled: each.wrong}, each.words));
  }
  find("machine").replaceChildren(make("option", {value: ""}, "Any: the general limits"),
    ...[...groups].map(([label, options]) => make("optgroup", {label}, options)));
  choice.machine = sessionStorage.getItem("machine") || "";
  find("machine").value = choice.machine;
  if (find("machine").selectedIndex < 0) find("machine").value = choice.machine = "";
}

// -- wiring --------------------------------------------------------------------------------------------------------------

async function refresh() {
  offers = await get("start");
  listMachines();
}

// The events are there, for the first time or again: the server may be another one, and the file another version.
function serverIsThere() {
  banner("gone", null);
  if (!doc.file) return;
  ask("open", {name: doc.file}).then((opened) => {
    fileChanged(opened);
    textChanged();
  }, () => {});
}

function serverIsGone() {
  banner("gone", [
    make("span", {}, "stitchc has ended on this computer, so nothing new follows from the text. Your text is kept here. Start ",
      make("code", {}, `stitchc live ${doc.file}`), " again in the same folder, and this page goes on."),
    button("Save the text as a download", () => {
      const url = URL.createObjectURL(new Blob([editor.text()], {type: "text/plain"}));
      const link = make("a", {href: url, download: doc.file || "pattern.stitch"});
      link.click();
      setTimeout(() => URL.revokeObjectURL(url), 1000);
    })], "bad");
  keep();
}

function wire() {
  editor.wire(textChanged, caretMoved, point);
  chart.wire({
    draw, source, there: goToSource,
    hover: point,
    text: async (row, column) => {
      if (!chart.runAtCell(row, column)) await learnRuns();  // the answer was not there yet
      const run = chart.runAtCell(row, column);
      if (run) editor.goTo(run.line, run.column, run.length);
    },
    part: async (at) => {
      Object.assign(choice, at);
      choice.stitch = current;
      await follow();
      chart.goTo(at.row, at.column);
    },
  });
  views.build({
    swatch, want: look, products: offers.products, again: textChanged, stitch: () => current, context,
    take: (product, settings, how, all) => guarded(() => views.take(product, settings, how, all || product === "piece" || product === "leaflet" ? "" : current, context())),
  });
  find("undo").addEventListener("click", editor.undo);
  find("redo").addEventListener("click", editor.redo);
  find("save").addEventListener("click", save);
  find("save-as").addEventListener("click", () => saveAs());
  find("open-other").addEventListener("click", async () => {
    await keep();
    await guarded(refresh);
    begin();
  });
  find("how").addEventListener("click", howToWrite);
  find("add-stitch").addEventListener("click", newStitch);
  find("everything").addEventListener("click", () => guarded(() => views.take("everything", {}, "", "", context())));
  find("trace").addEventListener("click", () => {
    const input = make("input", {type: "file", accept: "image/*"});
    input.addEventListener("change", () => traceFile(input.files[0]));
    input.click();
  });
  find("stitch").addEventListener("change", async (event) => {
    choice.stitch = event.target.value;
    const line = pattern?.stitches.find((each) => each.name === choice.stitch)?.line;
    await follow();
    if (line) {
      choice.line = line;
      editor.goTo(line, 1, 0, false);
      choice.stitch = event.target.value;
    }
  });
  find("machine").addEventListener("change", (event) => {
    choice.machine = event.target.value;
    sessionStorage.setItem("machine", choice.machine);
    textChanged();
  });
  find("units").addEventListener("change", (event) => {
    views.setUnits(event.target.value);
    textChanged();
  });
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "s") {
      event.preventDefault();
      if (doc.file) save();
      return;
    }
    const which = event.target === find("text") || event.target.closest?.("input, dialog") ? null : editor.isUndo(event);
    if (which) {
      event.preventDefault();
      choice.stitch = current;
      editor[which]();
    }
  });
  for (const kind of ["dragover", "drop"]) {
    document.addEventListener(kind, (event) => {
      if (![...event.dataTransfer.types].includes("Files")) return;
      event.preventDefault();
      if (kind === "drop" && doc.file) traceFile(event.dataTransfer.files[0]);
    });
  }
  addEventListener("pagehide", () => keep(true));
  document.addEventListener("visibilitychange", () => document.hidden && keep(true));
}

async function start() {
  await refresh();
  wire();
  listen({
    seen: (value) => {
      const still = () => value.ticket === String(ticket);
      if (still()) views.receive(value, current, still);
    },
    changed: fileChanged,
    company: ({others}) => banner("company", others ? make("span", {}, `This pattern is open in ${count(others, "other page")} as well. When one of them saves, the others show a message.`) : null),
    gone: serverIsGone,
    hello: serverIsThere,
  });
  const named = new URLSearchParams(location.search).get("file");
  if (named) {
    const known = offers.files.some((each) => each.name === named) || offers.drafts.some((each) => each.name === named);
    await open(named, known || named !== offers.named ? null : localStorage.getItem(`text ${named}`) ? null : offers.first);
    if (!doc.file) begin();
  } else begin();
}

start();
