// The products beside the text, each as the worker sends it, and the buttons that take them away.

import {find, make, button, count, figures, withCode, saying, dialog, renew, tell} from "./dom.js";
import {ask, released} from "./server.js";

const CM = {cm: 1, in: 1 / 2.54};
let units = "cm";
let state = {};

export function setUnits(next) {
  units = next;
}

const short = (value) => String(Number(value.toFixed(1)));  // of what was typed or is sold so
const table = (rows) => make("table", {class: "figures"}, make("tbody", {}, rows.map(([head, words]) => make("tr", {}, make("th", {scope: "row"}, head), make("td", {}, words)))));

// What each product is called, its view, and how it can be taken away: [words, settings, "print" to open it].
export const PRODUCTS = {
  chart: {
    heading: "Chart",
    away: [["Print", {form: "pdf"}, "print"], ["PDF", {form: "pdf"}], ["PNG", {form: "png"}], ["SVG", {form: "svg"}], ["Letters", {form: "text"}], ["JSON", {form: "json"}]],
  },
  fabric: {product: "picture", heading: "Fabric", show: fabric, away: [["PNG of both sides", {}], ["Purl side", {face: "purl"}], ["Knit side", {face: "knit"}]]},
  gauge: {heading: "Size", show: gauge, away: [["Text", {form: "text"}], ["JSON", {form: "json"}]]},
  card: {
    heading: "Hole card", show: card,
    away: [["Print", {form: "pdf"}, "print"], ["PDF", {form: "pdf"}], ["PNG", {form: "png"}], ["SVG for a cutter", {form: "svg"}], ["Punching list", {form: "text"}], ["JSON", {form: "json"}],
      ["Test card for your reader", {form: "pdf", more: {test_card: true}}, "print"]],
  },
  bitmap: {heading: "Picture for electronic patterning", show: bitmap, away: [["PNG", {}]]},
  sheet: {
    heading: "Needle sheet", show: sheet,
    away: [["Follow it row by row", {form: "html"}, "print"], ["Print", {form: "pdf"}, "print"], ["PDF", {form: "pdf"}], ["HTML", {form: "html"}], ["Text", {form: "text"}], ["JSON", {form: "json"}]],
  },
  piece: {heading: "Piece", wide: true, show: piece, away: []},
  compare: {heading: "Stitches compared", wide: true, show: compare, away: [["Plot (PNG)", {form: "png"}], ["Text", {form: "text"}], ["JSON", {form: "json"}]], all: true},
};

const VIEW_OF = {picture: "fabric"};

// -- what they show --------------------------------------------------------------------------------------------------

const picture = (made, words) => make("img", {src: made.url, alt: words});

function fabric(value, name) {
  return make("div", {class: "sides"},
    make("figure", {}, picture(value.purl, `The fabric of ${name}, purl side`), make("figcaption", {}, "Purl side, as it faces you on the machine")),
    make("figure", {}, picture(value.knit, `The fabric of ${name}, knit side`), make("figcaption", {}, "Knit side")));
}

const BASIS = {estimate: "an estimate", calibrated: "calibrated by your swatches of other stitches", measured: "measured"};

function gauge(value) {
  const rows = value.figures;
  return [
    make("p", {class: "words"}, value.words),
    rows.length ? table(rows) : null,
    rows.length ? make("p", {class: "note"}, `${BASIS[value.basis] ? `This is ${BASIS[value.basis]}` : `Basis: ${value.basis}`}. The range in brackets holds nine swatches in ten.`,
      value.baseline ? null : " Enter a swatch of stocking stitch to see sizes in cm.") : null,
    make("p", {class: "actions"}, button("I have knitted a swatch…", () => state.swatch()), button("Plan a swatch", () => state.take("swatch", {form: "html"}, "print"))),
  ];
}

function card(value, name) {
  const punched = value.hole_means === "knit" ? "A hole knits." : "A hole holds the needle back.";
  return [
    make("p", {class: "words"}, `${count(value.holes, "hole")} to punch in ${count(value.rows, "row")} of ${value.columns}. ${punched}`),
    make("div", {class: "paper", tabindex: 0, role: "group", "aria-label": "The card"}, picture(value.picture, `The hole card of ${name}: ${value.rows} rows, ${value.holes} holes`)),
  ];
}

function bitmap(value, name) {
  return make("div", {class: "paper pixels"}, picture(value.picture, `One pixel a stitch of ${name}`));
}

const ARROWS = {"right to left": "←", "left to right": "→"};

function sheet(value) {
  const {needles, totals, passes} = value;
  return [
    make("p", {class: "words"}, `Needles ${needles.left} to ${needles.right}, ${count(totals.rows, "row")}, ${count(totals.moves, "needle move")} by hand.`),
    make("div", {class: "paper", tabindex: 0, role: "group", "aria-label": "The first rows of the sheet"},
      make("table", {class: "passes"},
        make("caption", {class: "unseen"}, "The first rows of the needle sheet"),
        make("thead", {}, make("tr", {}, make("th", {scope: "col"}, "Row"), make("th", {scope: "col"}, "Carriage"), make("th", {scope: "col"}, "What to do"))),
        make("tbody", {}, passes.map((pass) => make("tr", {},
          make("th", {scope: "row"}, String(pass.row)),
          make("td", {}, make("span", {"aria-hidden": "true"}, ARROWS[pass.direction] || ""), make("span", {class: "unseen"}, pass.direction)),
          make("td", {}, pass.words)))))),
    totals.rows > passes.length ? make("p", {class: "note"}, `The sheet goes on to row ${totals.rows}.`) : null,
  ];
}

function piece({pieces}) {
  if (!pieces.length) {
    return make("p", {class: "note"}, "This pattern has no piece. A piece is written like this:",
      make("pre", {}, "piece cowl\n    width 60 cm\n    knit tide for 18 cm"));
  }
  const leaflet = make("article", {},
    make("h3", {}, "The leaflet"),
    make("p", {class: "words"}, "What you hand to other knitters: everything for every machine that can knit it, or for the one you chose."),
    make("div", {class: "away"}, [["Print", {form: "pdf"}, "print"], ["PDF", {form: "pdf"}], ["Page to knit from", {form: "html"}]]
      .map(([words, settings, how]) => button(words, () => state.take("leaflet", settings, how), {"aria-label": `Leaflet: ${words}`}))));
  return [pieces.map((each) => make("article", {},
    make("h3", {}, each.name),
    chosenAlone("piece", each.name),
    each.refused ? [refusal(each.refused, "piece", each.name), make("p", {class: "actions"}, forget(each.name), settingsButton("piece", each.name, () => each.name))] : [
      make("p", {class: "words"}, `${each.other_sizes.length ? `Size ${each.size}: ` : ""}${count(each.needles.count, "needle")} (${each.needles.left} to ${each.needles.right}), ${count(each.sections.reduce((sum, part) => sum + part.rows, 0), "row")}.${each.make > 1 ? ` Make ${each.make}.` : ""}`),
      each.so_far ? make("p", {}, `${count(each.so_far.rows_done, "row")} knitted, ${figures(each.so_far.rows_still_to_knit)} still to knit. `,
        each.so_far.sections.map((part) => `${part.stitch}: ${count(part.rows, "row")}${part.rows === part.planned_rows ? ", as planned" : ` instead of ${part.planned_rows}`}. `)) : null,
      table([["Width", each.width], ["Length", each.length],
        ...each.sections.map((part) => [part.rows === 1 ? `Row ${part.from_row}` : `Rows ${part.from_row} to ${part.to_row}`, `${part.stitch}, ${part.length}`]),
        ...each.other_sizes.map((size) => [`Size ${size.size}`, `${count(size.needles.count, "needle")}, ${count(size.totals.rows, "row")}, ${size.width} wide, ${size.length} long`]),
        ...yarnOf(each)]),
      notes(each, "piece", each.name),
      make("p", {class: "actions"}, button("I have knitted part of it…", () => askSoFar(each), {"aria-label": `I have knitted part of ${each.name}`}),
        forget(each.name)),
      make("div", {class: "away"},
        [["Follow it row by row", {form: "html"}, "print"], ["Print", {form: "pdf"}, "print"], ["PDF", {form: "pdf"}], ["HTML", {form: "html"}], ["Text", {form: "text"}], ["JSON", {form: "json"}]]
          .map(([words, settings, how]) => button(words, () => state.take("piece", {...settings, piece: each.name}, how), {"aria-label": `${words}: ${each.name}`})),
        settingsButton("piece", each.name, () => each.name)),
    ])),
  yarnOfAll(pieces),
  leaflet];
}

const sizesOf = (each) => [each, ...each.other_sizes];

// Of the one piece, in each of its sizes; of what is still to knit, where it is begun.
function yarnOf(each) {
  const whose = each.so_far ? "still needed" : each.make > 1 ? `for 1 of ${each.make}` : "";
  return sizesOf(each).flatMap((size) => yarnRows(each.so_far?.yarn_still_needed ?? size.yarn, [each.other_sizes.length ? `size ${size.size}` : "", whose]));
}

// Of everything that is knitted, in each size of the piece that has most.
function yarnOfAll(pieces) {
  const sizes = pieces.filter((each) => !each.refused).map(sizesOf).sort((one, two) => two.length - one.length)[0] ?? [];
  const all = sizes[0]?.yarn_of_all_pieces;
  if (!all || all.pieces.reduce((sum, each) => sum + each.make, 0) < 2) return null;
  const names = all.pieces.map((each) => `${each.make} × ${each.piece}`);
  return make("article", {},
    make("h3", {}, "Yarn for all pieces"),
    make("p", {}, `For ${[names.slice(0, -1).join(", "), names.at(-1)].filter(Boolean).join(" and ")}. `,
      all.in_one_size.map((each) => `${each.piece} is counted in size ${each.size}. `),
      all.left_out.length ? `Not counted: ${all.left_out.join(", ")}. ` : null,
      pieces.some((each) => each.so_far) ? "The rows that are knitted already are counted too." : null),
    table(sizes.flatMap((size) => yarnRows(size.yarn_of_all_pieces.yarn, [sizes.length > 1 ? `size ${size.size}` : ""]))));
}

function forget(name) {
  const {so_far: soFar, sizes_before: sizes = ""} = settingsOf("piece", name);
  return soFar ? button("Forget what is knitted", () => keepOwn("piece", name, {sizes, so_far: ""}), {"aria-label": `Forget what is knitted of ${name}`}) : null;
}

const settingsButton = (product, heading, owner) => button("Settings…", () => askSettings(product, heading, owner()), {class: "settings", "aria-label": `${heading}: settings`});

// What to have of each yarn, in balls where it is said how it is sold. whose: what the amounts are for.
function yarnRows(yarns, whose) {
  const balls = (each) => (each.balls ? `, ${count(each.balls.count, "ball")} of ${short(each.balls.grams)} g${each.balls.spare ? `, perhaps ${each.balls.count + each.balls.spare}` : ""}` : "");
  return yarns.filter((each) => each.to_have?.words).map((each) => [[each.name || "Yarn", ...whose].filter(Boolean).join(", "), each.to_have.words + balls(each)]);
}

function compare({heads, rows, against}) {
  const select = make("select", {"aria-label": "Compare with", onchange: (event) => keepSettings("compare", {...chosen.compare, against: event.target.value})},
    make("option", {value: ""}, "stocking stitch"), rows.map(([name]) => make("option", {value: name}, name)));
  select.value = against;
  return [
    rows.length > 1 ? make("p", {}, make("label", {}, "Compare with ", select)) : null,
    make("div", {class: "paper", tabindex: 0, role: "group", "aria-label": "The comparison"},
      make("table", {class: "compared"},
        make("caption", {class: "unseen"}, "All stitches of the file"),
        make("thead", {}, make("tr", {}, heads.map((head) => make("th", {scope: "col"}, head)))),
        make("tbody", {}, rows.map(([name, ...cells]) => make("tr", {}, make("th", {scope: "row"}, name), cells.map((cell) => make("td", {}, cell))))))),
    rows.length < 2 ? make("p", {class: "note"}, "Write another stitch to compare it with this one.") : null,
  ];
}

// A setting that a sentence names, as the button that leads to it. owner: the stitch or piece that it is about.
function leading(product, owner) {
  return (label) => {  // “Grid”, or with a value to give it “Grid: even”
    const [name, value] = label.split(": ");
    const field = state.products[product]?.find((each) => each.label === name);
    const heading = product === "piece" ? owner : PRODUCTS[VIEW_OF[product] || product].heading;
    return field ? button(label, () => askSettings(product, heading, owner, undefined, field.name, value), {class: "inline", "aria-label": `${heading}: settings, ${label}`}) : null;
  };
}

const refusal = (refused, product, owner) => refused.map((each) => make("div", {class: "refused"}, saying(each, [], leading(product, owner))));

function notes(value, product, owner) {
  const machine = value.machine ? [make("p", {class: "note"}, `For: ${value.machine}.`)] : [];
  const said = [...new Set([...(value.warnings || []), ...(value.remarks || []), ...(value.notes || [])])].filter((words) => !/^(Skipped|[0-9]+ holes? to punch)/.test(words));
  const list = said.map((words) => make("li", {}, withCode(words, leading(product, owner))));
  return [...machine, list.length > 3 ? make("details", {}, make("summary", {}, count(list.length, "remark")), make("ul", {class: "remarks"}, list)) : list.length ? make("ul", {class: "remarks"}, list) : null];
}

// -- on the page ---------------------------------------------------------------------------------------------------

const sections = {};

export function build(context) {
  state = context;
  for (const [name, each] of Object.entries(PRODUCTS)) {
    const product = each.product || name;
    const buttons = each.away.map(([words, settings, how]) =>
      button(words, () => state.take(product, settings, how, each.all), {"aria-label": `${each.heading}: ${words}`, class: settings.more ? "always" : null}));
    if (state.products[product].length && name !== "piece") buttons.push(settingsButton(product, each.heading, state.stitch));
    if (name === "chart") {
      document.querySelector("[data-product=chart]").append(...buttons);
      continue;
    }
    const body = make("div", {class: "body"}, make("p", {class: "note"}, "Nothing yet."));
    const section = make("section", {class: `view ${each.wide ? "wide" : ""}`, "aria-labelledby": `${name}-heading`, id: name},
      make("h2", {id: `${name}-heading`}, each.heading), body, make("div", {class: "away"}, buttons));
    sections[name] = {section, body, fresh: null, flat: null};
    find("views").append(section);
    section.dataset.view = name;
  }
  const watch = new IntersectionObserver((entries) => {
    for (const entry of entries) sections[entry.target.dataset.view].seen = entry.isIntersecting;
  });
  for (const {section} of Object.values(sections)) watch.observe(section);
}

// Views that are not of this ticket yet, in the order to be made; those of the machine's own kind only.
export function wanted(ticket, reader) {
  find("bitmap").hidden = reader !== "bitmap";
  find("card").hidden = reader === "bitmap";
  // Those on the screen first; the fabric takes longest.
  const late = (name) => 2 * Number(name === "fabric") + Number(!sections[name].seen);
  return Object.keys(sections).filter((name) => sections[name].fresh !== ticket && !sections[name].section.hidden)
    .sort((one, two) => late(one) - late(two));
}

// old: the text has a mistake, so that what is shown stays as it is.
export function waiting(old = false) {
  for (const {section, fresh} of Object.values(sections)) {
    section.classList.toggle("old", old && fresh !== null);
    if (old) section.removeAttribute("aria-busy");
    else section.setAttribute("aria-busy", "true");
  }
}

// Another file: nothing of the one before stays, and what was set for its stitches and pieces is its own.
export function reset(file) {
  own = JSON.parse(sessionStorage.getItem(`own ${file}`) || "{}");
  ownFile = file;
  for (const each of Object.values(sections)) {
    each.fresh = each.flat = null;
    each.body.replaceChildren(make("p", {class: "note"}, "Nothing yet."));
  }
  find("bitmap").hidden = true;
}

// Pictures are decoded before they are put in place, so that nothing jumps.
export async function receive({ticket, view, stage, value}, name, still) {
  const own = sections[view];
  const flat = JSON.stringify([value, name, units, own[PRODUCTS[view].product || view]]);
  if (own.flat !== flat) {
    const refused = value.refused || (value.failed ? [{text: value.failed}] : null);
    const product = PRODUCTS[view].product || view;
    const content = [view === "piece" ? null : chosenAlone(product, name),
      refused ? refusal(refused, product, name) : [PRODUCTS[view].show(value, name), view === "piece" ? null : notes(value, product, name)]].flat(4).filter(Boolean);
    await Promise.all(content.flatMap((part) => [...part.querySelectorAll("img")]).map((image) => image.decode().catch(() => {})));
    await released();
    if (!still()) return;
    own.flat = flat;
    renew(own.body, content);
    for (const each of own.section.querySelectorAll(":scope > .away button:not(.settings, .always)")) each.disabled = Boolean(value.refused);
  }
  if (stage === "done" && still()) {
    own.fresh = Number(ticket);
    own.section.removeAttribute("aria-busy");
  }
}

// -- settings: the options of a product, kept while the tab is open ----------------------------------------------

const chosen = JSON.parse(sessionStorage.getItem("settings") || "{}");
// What belongs to one stitch or piece of the file that is open: by product and by its name.
let own = {};
let ownFile = "";
export const settings = () => Object.fromEntries(Object.keys({...chosen, ...own}).map((product) => [product, {...chosen[product], own: own[product] || {}}]));
const settingsOf = (product, owner) => ({...chosen[product], ...own[product]?.[owner]});

function keepOwn(product, owner, values) {
  own[product] = {...own[product], [owner]: {...own[product]?.[owner], ...values}};
  belongsTo(ownFile);
  state.again();
}

// The file has this name now.
export function belongsTo(file) {
  ownFile = file;
  sessionStorage.setItem(`own ${file}`, JSON.stringify(own));
}

// What is set for this stitch or piece and for no other, in a line; without it, a setting made earlier looks like the pattern's own.
function chosenAlone(product, owner) {
  const values = own[product]?.[owner] || {};
  const parts = state.products[product].filter(({name, own: alone}) => alone && values[name]).map(({name, label}) => (values[name] === true ? label : `${label} ${values[name]}`));
  if (values.so_far) parts.push(`Knitted so far ${values.so_far}`);
  return parts.length ? make("p", {class: "note alone"}, `Set for ${owner} alone: ${parts.join("; ")}.`) : null;
}

// What is about the knitter's hand and yarn holds for every product that asks for it.
const SHARED = ["plain", "spread"];

function keepSettings(product, values) {
  for (const [name, asked] of Object.entries(state.products)) {
    for (const each of SHARED) {
      if (asked.some((field) => field.name === each) && state.products[product].some((field) => field.name === each)) chosen[name] = {...chosen[name], [each]: values[each]};
    }
  }
  chosen[product] = values;
  sessionStorage.setItem("settings", JSON.stringify(chosen));
  state.again();
}

// Part of a piece is knitted and measured: the rest is planned again.
function askSoFar(each) {
  dialog(`${each.name}: rows knitted so far`, (close) => {
    // A stitch that has several parts is asked for by its part.
    const parts = each.sections.filter((section) => section.part);
    const names = parts.map(({stitch, part}) => (parts.filter((other) => other.stitch === stitch).length > 1 ? `part ${part}:` : stitch));
    const earlier = (settingsOf("piece", each.name).so_far || "").split("; ").filter(Boolean);
    const ofSame = () => earlier.filter((one) => one.startsWith(`${stitch.value} `));
    const field = (id, words, input) => make("p", {class: "field-line"}, make("label", {for: id}, words), input);
    const input = (id, value = "") => make("input", {id, inputmode: "decimal", autocomplete: "off", required: true, value});
    const select = (id, options) => make("select", {id}, options.map(([value, words]) => make("option", {value}, words)));
    const stitch = select("far-stitch", parts.map((part, index) => [names[index], `Part ${part.part}: ${part.stitch}, ${part.rows === 1 ? `row ${part.from_row}` : `rows ${part.from_row} to ${part.to_row}`}`]));
    const rows = input("far-rows");
    const length = input("far-length");
    const sizes = each.other_sizes.length ? sizesOf(each) : [];
    const size = select("far-size", sizes.map((one) => [`${Number((one.size_cm * CM[units]).toFixed(3))} ${units}`, one.size]));
    const where = select("far-where", [["", "at rest, taken off or hanging loose"], [" on the machine", "on the machine"]]);
    const ended = make("input", {id: "far-ended", type: "checkbox"});
    const sure = make("input", {id: "far-sure", type: "checkbox"});
    const checked = field("far-sure", "I have checked it and am sure", sure);
    checked.hidden = true;
    for (const each of [rows, length]) each.addEventListener("input", () => { sure.checked = false; });
    const replaced = make("p", {class: "note", role: "status"});
    const tell = () => replaced.replaceChildren(...(ofSame().length ? [`This replaces what you gave for that part before: ${ofSame().join("; ")}.`] : []));
    tell();
    const wrong = make("div", {class: "refused", role: "alert"});
    return make("form", {oninput: () => { wrong.replaceChildren(); tell(); }, onsubmit: async (event) => {
      event.preventDefault();
      const part = `${stitch.value} ${rows.value.trim()} rows ${length.value.trim().replace(",", ".")} ${units}${where.value}${ended.checked ? " in all" : ""}${sure.checked ? " sure" : ""}`;
      const now = settingsOf("piece", each.name);
      const values = {...(sizes.length ? {sizes: size.value, sizes_before: now.sizes} : {}), so_far: [...earlier.filter((one) => !ofSame().includes(one)), part].join("; ")};
      const all = settings();
      all.piece = {...all.piece, own: {...all.piece?.own, [each.name]: {...all.piece?.own[each.name], ...values}}};
      // What can't be is told here, where it can be put right, and not kept.
      const refused = await ask("make", {...state.context(), settings: all, product: "piece", form: "json", piece: each.name}).then((made) => made.refused, (error) => [{text: error.message}]);
      if (refused) {
        wrong.replaceChildren(...refused.flatMap((one) => saying(one)).filter(Boolean));
        checked.hidden = !wrong.textContent.includes(" sure");
        state.want();
        return;
      }
      close();
      keepOwn("piece", each.name, values);
    }}, sizes.length ? field("far-size", "Size", size) : null, field("far-stitch", "Part", stitch), replaced, field("far-rows", "Rows knitted of this part", rows), field("far-length", `They measure, ${units}`, length),
    field("far-where", "Measured", where), field("far-ended", "That part is finished", ended), checked, wrong,
    make("p", {class: "actions"}, make("button", {class: "main"}, "Plan the rest again"), button("Cancel", close)));
  });
}

// What stands in an empty field: its default, or how to write it.
const grey = ({default: usual, example}) => (usual && usual.length < 25 ? usual : /[0-9]/.test(example) ? `as in ${example.replace("|", " or ")}` : "");

// owner: the stitch or piece in view, which has settings of its own. at: the setting that is wanted; value: what it is proposed to be.
export function askSettings(product, heading, owner = "", then = () => {}, at = "", value = "") {
  dialog(`${heading}: settings`, (close) => {
    const now = settingsOf(product, owner);
    const fields = state.products[product].map((each) => {
      const id = `set-${each.name}`;
      const input = each.kind === "choice"
        ? make("select", {id}, each.choices.map((choice) => make("option", {value: choice}, choice)))
        : make("input", {id, type: each.kind === "flag" ? "checkbox" : "text", placeholder: grey(each), autofocus: each.name === at, autocomplete: "off", "aria-describedby": `${id}-help`});
      if (each.kind === "flag") input.checked = now[each.name] ?? each.value;
      else input.value = now[each.name] ?? each.value ?? "";
      if (each.kind === "choice" && input.selectedIndex < 0) input.prepend(make("option", {value: "", selected: true}, "as usual"));
      if (each.name === at && value && value !== each.example && (each.kind === "text" || each.choices?.includes(value))) input.value = value;
      const help = `${each.help}${each.default && each.kind === "text" ? ` Default: ${each.default}.` : ""}`;
      return {each, input, line: make("p", {class: "field-line"}, make("label", {for: id}, each.label), input, make("span", {class: "note", id: `${id}-help`}, withCode(help)))};
    });
    const alone = (each) => Boolean(owner) && each.own;
    const parts = [fields.filter(({each}) => alone(each)), fields.filter(({each}) => !alone(each))];
    const group = (words, part) => (parts.every((each) => each.length) ? make("fieldset", {}, make("legend", {}, words), part.map(({line}) => line)) : part.map(({line}) => line));
    const groups = [group(`For ${owner} alone`, parts[0]), group(`For every ${product === "piece" ? "piece" : "stitch"}`, parts[1])];
    if (parts[0].every(({each}) => each.kind === "flag")) groups.reverse();  // what is wanted most often first
    const use = (values) => {
      close();
      const [mine, common] = parts.map((part) => Object.fromEntries(part.map(({each}) => [each.name, values[each.name]])));
      keepSettings(product, {...chosen[product], ...common});
      if (parts[0].length) keepOwn(product, owner, mine);
      then();
    };
    return make("form", {onsubmit: (event) => {
      event.preventDefault();
      use(Object.fromEntries(fields.map(({each, input}) => [each.name, each.kind === "flag" ? input.checked : input.value]).filter(([, value]) => value !== "")));
    }}, groups, make("p", {class: "actions"}, make("button", {class: "main"}, "Use these"), button("Back to the defaults", () => use({})), button("Cancel", close)));
  });
}

// -- taking away -------------------------------------------------------------------------------------------------

export async function take(product, {more, ...what}, how, stitch, context) {
  const opened = how === "print" ? window.open("", "_blank") : null;
  tell("Making it…");
  let made;
  try {
    const all = settings();
    made = await ask("make", {...context, product, stitch, settings: {...all, [product]: {...all[product], ...more}}, ...what});
  } catch (error) {
    opened?.close();
    throw error;
  } finally {
    state.want();
  }
  if (made.refused) {
    opened?.close();
    dialog("This could not be made", (close) => [...made.refused.map((each) => saying(each)), button("Close", close, {class: "main"})]);
    return;
  }
  if (how === "print") {
    if (opened) opened.location.href = made.files[0].url;
    else ready(made);
    tell(`${made.files[0].name} is open in a new tab.`);
    return;
  }
  const main = made.files.filter((file, index) => index === 0 || !file.name.endsWith(".json"));
  if (main.length > 1) ready(made);
  else {
    save(main[0]);
    tell(`${main[0].name} is saved where your browser keeps downloads.`);
  }
}

function save(file) {
  const link = make("a", {href: `${file.url}?save`, download: file.name});
  document.body.append(link);
  link.click();
  link.remove();
}

function ready(made) {
  dialog("Ready", (close) => [
    make("ul", {class: "files"}, made.files.map((file) => make("li", {},
      make("a", {href: file.url, target: "_blank"}, file.name), " ", make("a", {href: `${file.url}?save`, download: file.name, "aria-label": `Save ${file.name}`}, "Save")))),
    made.remarks.length ? make("ul", {class: "remarks"}, made.remarks.map((words) => make("li", {}, withCode(words)))) : null,
    button("Close", close, {class: "main"}),
  ]);
}
