// Talking to the server of this page: questions with answers, and events.

export const page = sessionStorage.getItem("page") || crypto.randomUUID();
sessionStorage.setItem("page", page);

export class Refused extends Error {}

// While a button is held down, what arrives waits: a button that is replaced or moved before it is released is never
// clicked.
let free = null;
let release = () => {};

function hold(event) {
  if (free || !event.target.closest?.("button, a, summary, label, input")) return;
  free = new Promise((done) => (release = done));
  setTimeout(letGo, 3000, release);
}

function letGo(mine) {
  if (mine !== release) return;
  release();
  free = null;
}

for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, (event) => (kind === "pointerdown" || event.key === " ") && hold(event), true);
for (const kind of ["pointerup", "pointercancel", "dragend", "keyup", "blur"]) {
  addEventListener(kind, (event) => {
    if (kind !== "blur" || event.target === window) setTimeout(letGo, event.pointerType === "touch" ? 60 : 0, release);
  }, true);
}

export const released = () => free;

async function answered(response) {
  const value = await response.json();
  await free;
  if (!response.ok) throw new Refused(value.error || "That was refused.");
  return value;
}

export async function ask(what, value = {}, keepalive = false) {
  const body = JSON.stringify({page, ...value});
  return answered(await fetch(what, {method: "POST", body, keepalive: keepalive && body.length < 60000}));
}

export async function get(what) {
  return answered(await fetch(what));
}

export async function send(what, file) {
  return answered(await fetch(what, {method: "POST", body: file}));
}

// on: what to do for each kind of event; `gone` and `hello` when the server ends and is there (again).
export function listen(on) {
  const source = new EventSource(`events?page=${page}`);
  const happen = async (kind, value) => {
    await free;
    on[kind](value);
  };
  let late = 0;
  for (const kind of ["seen", "changed", "company"]) {
    source.addEventListener(kind, (event) => happen(kind, JSON.parse(event.data)));
  }
  source.addEventListener("ending", () => happen("gone"));
  source.addEventListener("hello", () => {
    clearTimeout(late);
    late = 0;
    happen("hello");
  });
  source.addEventListener("error", () => {
    if (source.readyState === EventSource.CLOSED) {
      happen("gone");
      setTimeout(() => listen(on), 2000);
    } else if (!late) late = setTimeout(() => happen("gone"), 1200);
  });
  addEventListener("pagehide", () => source.close());
}
