// Making and finding parts of the page, and words that several parts need.

export const find = (id) => document.getElementById(id);

// make("p", {class: "note", onclick: f}, "text", otherElement): null and false among the children are left out.
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const button = (words, onclick, attributes = {}) => make("button", {type: "button", onclick, ...attributes}, words);

// A count with its noun, as the commands write it: "1 row", "1,200 rows".
export const figures = (number) => number.toLocaleString("en-US");
export const count = (number, word, several = `${word}s`) => `${figures(number)} ${number === 1 ? word : several}`;

// Text with `words in back-ticks` as code. quoted: makes what stands for “words in such quotes”, or nothing.
export function withCode(text, quoted = () => null) {
  return text.split(/(`[^`]*`|“[^”]*”)/).map((part) => (part.startsWith("`") && part.length > 1 ? make("code", {}, part.slice(1, -1)) : part.startsWith("“") ? quoted(part.slice(1, -1)) ?? part : part));
}

// What is said, and below it what to try: lines of the notation as code, the rest as words.
export function saying({text, cure = []}, before = [], quoted = undefined) {
  return [
    make("p", {}, before, withCode(text, quoted)),
    cure.length ? make("p", {class: "cure"}, "Try: ", cure.map(([part, typed]) => (typed ? make("code", {class: "lines"}, part) : withCode(part, quoted)))) : null,
  ];
}

// Told to a screen reader, each by itself; what was told last is still there for one that is slow.
export function tell(words) {
  find("said").append(make("span", {}, `${words} `));
  while (find("said").childElementCount > 4) find("said").firstChild.remove();
}

// New content in place of the old. What was opened or scrolled stays so, and the focus goes to what has the same name
// now, or else stands in the same place.
export function renew(holder, ...content) {
  const all = (which) => [...holder.querySelectorAll(which)];
  const stops = () => all("button:not(:disabled), a[href], input, select, summary, [tabindex]");
  const name = (each) => each.getAttribute("aria-label") || each.textContent;
  const focused = holder.contains(document.activeElement) ? document.activeElement : null;
  const place = stops().indexOf(focused);
  const opened = all("details").map((each) => each.open);
  const scrolled = all(".paper").map((each) => [each.scrollLeft, each.scrollTop]);
  holder.replaceChildren(...content.flat(3).filter(Boolean));
  all("details").forEach((each, index) => (each.open = Boolean(opened[index])));
  all(".paper").forEach((each, index) => each.scrollTo(...(scrolled[index] ?? [0, 0])));
  if (!focused) return;
  const now = stops();
  const next = now.find((each) => name(each) === name(focused)) ?? now[Math.min(place, now.length - 1)];
  if (!next) holder.tabIndex = -1;
  (next ?? holder).focus({preventScroll: true});
}

// A strip above the page. One for each kind; null takes it away, and a focus in it goes to the text.
export function banner(kind, content, tone = "") {
  const before = document.getElementById(`banner-${kind}`);
  const parts = [content].flat(3).filter(Boolean);
  if (content && before) renew(before, parts);
  else if (content) find("banners").append(make("div", {id: `banner-${kind}`, class: `banner ${tone}`, role: tone === "bad" ? "alert" : "status"}, parts));
  else if (before) {
    const focused = before.contains(document.activeElement);
    before.remove();
    if (focused) find("text").focus();
  }
}

// A modal dialog. build(close) gives its content; it is taken away when it closes, and the focus goes back.
export function dialog(title, build, attributes = {}) {
  const back = document.activeElement;
  const box = make("dialog", {"aria-labelledby": "dialog-title", ...attributes});
  const close = () => box.close();
  box.append(make("h2", {id: "dialog-title"}, title), ...[build(close)].flat().filter(Boolean));
  box.addEventListener("close", () => {
    box.remove();
    if (back?.isConnected) back.focus();
  });
  find("dialogs").append(box);
  box.showModal();
  if (document.activeElement instanceof HTMLInputElement) document.activeElement.select();
  return box;
}
