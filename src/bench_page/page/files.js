// Sound files dropped onto the page: placed by the program, shown, corrected by a tap, and stored when accepted.
import { $, act, ask, element, failed, job, say } from "./bench.js";

let rows = [];
let reeds = [];

async function bring(files) {
  if (!files.length || !job()?.folder) return;
  location.hash = "#files";
  const ids = [];
  try {
    for (const [k, file] of files.entries()) {
      say({ said: `Bringing ${file.name} (${k + 1} of ${files.length})` });
      const answer = await fetch(`do/sound?${new URLSearchParams({ name: file.name })}`, { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: file });
      const told = await answer.json();
      if (!answer.ok) throw told;
      ids.push(told.file);
    }
    say({ said: "Listening to what came, and placing it on the plan." });
    const form = $("drop");
    const found = await ask("do/place", { files: ids, pass: form.elements.pass.value, order: form.elements.order.value });
    ({ reeds } = await ask("reeds"));
    rows = [...rows, ...found.rows];
    say({ said: `${found.rows.length} ${found.rows.length === 1 ? "sound is" : "sounds are"} placed below; nothing is stored yet.`, more: found.remarks });
    show();
  } catch (error) {
    failed(error);
  }
}

/** Where each sound would go, with a place to be picked for those that are wrong. */
function show() {
  const box = $("placed");
  if (!rows.length) {
    box.replaceChildren();
    return;
  }
  const table = document.createElement("table");
  const head = table.createTHead().insertRow();
  for (const text of ["Sound", "Pitch", "Place", "Remarks"]) head.append(Object.assign(element("th", text), { scope: "col" }));
  const body = table.createTBody();
  rows.forEach((row, k) => {
    const line = body.insertRow();
    if (!row.sure || !row.place) line.className = "doubtful";
    const name = element("th", row.start_s == null ? row.name : `${clock(row.start_s)} to ${clock(row.end_s)}`);
    name.scope = "row";
    line.append(name);
    line.insertCell().textContent = row.f0_hz ? `${row.f0_hz.toFixed(1)} Hz${row.cents == null ? "" : `, ${row.cents < 0 ? "−" : "+"}${Math.abs(row.cents).toFixed(0)} cents`}` : "";
    const select = document.createElement("select");
    select.append(new Option("leave it out", ""), ...reeds.map((reed) => new Option(`${reed.place} (${reed.note})`, reed.place)));
    select.value = row.place;
    select.setAttribute("aria-label", `Place of sound ${k + 1}`);
    select.addEventListener("change", () => { row.place = select.value; map(); });
    const pick = Object.assign(element("button", "On the map"), { type: "button" });
    pick.setAttribute("aria-label", `Place sound ${k + 1} on the map`);
    pick.setAttribute("aria-pressed", "false");
    pick.addEventListener("click", () => pickFor(k, pick));
    line.insertCell().append(select, pick);
    line.insertCell().textContent = [...(row.doubts || []), ...(row.faults || []), row.speaks === false ? "another take of this reed is better" : ""].filter(Boolean).join("; ");
  });
  const scroll = document.createElement("div");
  Object.assign(scroll, { className: "scroll", tabIndex: 0 });
  scroll.setAttribute("role", "region");
  scroll.setAttribute("aria-label", "Sounds and their places");
  scroll.append(table);
  const accept = Object.assign(element("button", "Accept: store these takes", "main"), { type: "button" });
  accept.addEventListener("click", store);
  const away = Object.assign(element("button", "Put them aside"), { type: "button" });
  away.addEventListener("click", () => { rows = []; show(); });
  const cells = Object.assign(document.createElement("div"), { id: "placed-map", className: "picker" });
  const buttons = element("p", "", "buttons");
  buttons.append(accept, away);
  const card = element("div", "", "placing");
  card.append(element("h3", "What is placed where"), cells, scroll, buttons);
  box.replaceChildren(card);
  map();
}

const clock = (s) => `${Math.floor(s / 60)}:${(s % 60).toFixed(1).padStart(4, "0")}`;
let picking = null;

function pickFor(k, button) {
  picking = picking === k ? null : k;
  for (const other of document.querySelectorAll("#placed td button")) other.setAttribute("aria-pressed", String(other === button && picking !== null));
  $("placed-map").scrollIntoView({ block: "nearest" });
  map();
}

/** The reeds as cells: what has a sound, what has none; a tap gives the chosen sound its place. */
function map() {
  const taken = new Map();
  rows.forEach((row) => row.place && taken.set(row.place, (taken.get(row.place) || 0) + 1));
  const lines = new Map();
  for (const reed of reeds) {
    const [, row] = /^(.*?)\d+ (press|draw)$/.exec(reed.place) || [null, ""];
    if (!lines.has(row)) lines.set(row, element("div", "", "cells"));
    const count = taken.get(reed.place) || 0;
    const cell = element("button", `${count ? "● " : ""}${reed.short}${count > 1 ? ` ×${count}` : ""}`);
    cell.type = "button";
    cell.setAttribute("aria-label", `${reed.place}, ${reed.note}: ${count ? `${count} sound${count > 1 ? "s" : ""}` : "no sound"}`);
    cell.setAttribute("aria-pressed", String(picking !== null && rows[picking]?.place === reed.place));
    cell.addEventListener("click", () => {
      if (picking === null) return;
      rows[picking].place = reed.place;
      picking = null;
      show();
    });
    lines.get(row).append(cell);
  }
  const hint = element("p", picking === null ? "● has a sound. Choose `On the map` beside a sound to give it another place." : "Tap the reed this sound belongs to.", "hint");
  $("placed-map").replaceChildren(hint, ...lines.values());
}

async function store() {
  const body = { pass: $("files-pass").value, rows: rows.map(({ file, start_s, end_s, place }) => ({ file, start_s, end_s, place })) };
  if (!(await act("accept-sound", body))) return;
  rows = [];
  show();
}

$("files").addEventListener("change", (event) => {
  bring([...event.target.files]);
  event.target.value = "";
});
document.addEventListener("dragover", (event) => {
  if (![...event.dataTransfer.types].includes("Files") || $("page-jobs").hidden === false) return;
  event.preventDefault();
  document.body.classList.add("dropping");
});
document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); });
document.addEventListener("drop", (event) => {
  document.body.classList.remove("dropping");
  const files = [...event.dataTransfer.files].filter((file) => !file.type.startsWith("image/"));
  if (!files.length) return;
  event.preventDefault();
  bring(files);
});
