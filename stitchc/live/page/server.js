// Talking to the server of this page: questions with answers, and events.

export const page = sessionStorage.getItem("page") || crypto.randomUUID();
sessionStorage.setItem("page", page);

export class Refused extends Error {}

async function answered(response) {
  const value = await response.json();
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
  let late = 0;
  for (const kind of ["seen", "changed", "company"]) {
    source.addEventListener(kind, (event) => on[kind](JSON.parse(event.data)));
  }
  source.addEventListener("ending", () => on.gone());
  source.addEventListener("hello", () => {
    clearTimeout(late);
    late = 0;
    on.hello();
  });
  source.addEventListener("error", () => {
    if (source.readyState === EventSource.CLOSED) {
      on.gone();
      setTimeout(() => listen(on), 2000);
    } else if (!late) late = setTimeout(() => on.gone(), 1200);
  });
  addEventListener("pagehide", () => source.close());
}
