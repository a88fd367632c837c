// Shows the document of what the reader chose: machine, size and so on. key: under which the choice is remembered.
function choosing(key, order) {
"use strict";
const byId = (id) => document.getElementById(id);
const store = JSON.parse(byId("store").textContent);
const fields = Array.from(byId("choose").querySelectorAll("[data-label]"));
const place = "stitchc-leaflet:" + key;
let stop = () => {};

function chosen() {
  return order.map((label) => fields.find((field) => field.dataset.label === label).value).join("\n");
}
function show(begin) {
  const page = store.pages[chosen()];
  byId("none-such").hidden = page !== undefined;
  stop();
  stop = () => {};
  byId("chosen").innerHTML = (page || []).map((stretch) => store.stretches[stretch].map((line) => store.lines[line]).join("")).join("");
  if (byId("rows")) stop = follow(begin);
}

let kept = null;
try { kept = JSON.parse(localStorage.getItem(place)); } catch (refused) { /* then the first of each is shown */ }
for (const field of fields) {
  const value = kept && kept[field.dataset.label];
  if (field.options && Array.from(field.options, (option) => option.value).includes(value)) field.value = value;
}
byId("choose").addEventListener("change", () => {
  const choice = Object.fromEntries(fields.map((field) => [field.dataset.label, field.value]));
  try { localStorage.setItem(place, JSON.stringify(choice)); } catch (refused) { /* it is chosen again next time */ }
  // The address names a row of what was chosen before.
  try { history.replaceState(null, "", "#"); } catch (refused) { /* a browser that forbids it */ }
  show("about");
});
byId("choose").addEventListener("submit", (event) => event.preventDefault());
show(/^#(row|step|lift)-/.test(location.hash) ? "follow" : "about");
}
