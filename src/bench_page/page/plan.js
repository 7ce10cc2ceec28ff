// The plan as a table; the program's own reader checks it while it is typed.
import { $, act, ask, element, job, say } from "./bench.js";
import { listOf, moveOn, rangeOf } from "./cells.js";

let table = null;
let seen = "";
/** Whether a plan was kept that another can be brought back for. */
let hasKept = false;
// What each key of the plan is, in the words of its documentation.
let help = {};
let isTouched = false;
let waiting = null;
/** Tables as they were before each change. */
let before = [];
let focusAfter = null;

const draftKey = () => `plan of ${job()?.folder}`;

/** Show the plan, unless something typed would be lost. */
export async function loadPlan(again = false) {
  if (isTouched && !again) return;
  try {
    ({ table, seen, help, changed: hasKept } = await ask("plan"));
  } catch (error) {
    say(error, true);
    return;
  }
  isTouched = false;
  before = [];
  undoable();
  const draft = JSON.parse(localStorage.getItem(draftKey()) || "null");
  if (again) forgetDraft();
  else if (draft) ({ table, seen } = draft);
  isTouched = Boolean(draft) && !again;
  kept(isTouched);
  draw();
  if (isTouched) check();
  else faults([]);
}

/** What was typed and not kept is still there; it can be thrown away. */
function kept(isThere) {
  $("plan-kept").hidden = !isThere;
  if (!isThere) return;
  const away = Object.assign(element("button", "Throw it away"), { type: "button" });
  away.addEventListener("click", () => loadPlan(true));
  $("plan-kept").replaceChildren(element("span", "What you typed before and did not keep is still here. "), away);
}

function forgetDraft() {
  localStorage.removeItem(draftKey());
}


function cell(thing, key, name, label, size = 5, also = () => {}) {
  const input = document.createElement("input");
  Object.assign(input, { value: thing[key], autocomplete: "off", spellcheck: false, size });
  return bound(input, thing, key, name, label, also);
}

function choice(thing, key, name, label, options) {
  const select = document.createElement("select");
  select.append(...options.map(([value, text]) => new Option(text, value)));
  select.value = thing[key];
  return bound(select, thing, key, name, label);
}

/** What is typed or chosen goes into the table, and is checked. */
function bound(input, thing, key, name, label, also = () => {}) {
  input.dataset.cell = name;
  input.setAttribute("aria-label", label);
  input.addEventListener("input", () => {
    also(input.value);
    thing[key] = input.value;
    touched();
  });
  if (/^\d+\.\d+\.\d+\./.test(name)) {
    input.addEventListener("change", () => {
      const notes = /\.(press|draw)$/.test(name) ? rangeOf(input.value) : null;
      if (notes) fillFrom(name, notes);
    });
    input.addEventListener("paste", (event) => {
      const list = listOf(event.clipboardData.getData("text"));
      if (list.length < 2) return;
      event.preventDefault();
      fillFrom(name, list);
    });
  }
  return input;
}

/** Values down a column from a cell on; plates are added where there are more values. */
function fillFrom(name, values) {
  const [b, r, p, column] = name.split(".");
  const row = table.blocks[b].rows[r];
  remember();
  values.forEach((value, k) => {
    const at = Number(p) + k;
    if (at >= row.plates.length) row.plates.push({ ...EMPTY_PLATE });
    const plate = row.plates[at];
    if (column === "press" && table.bellows === "unisonoric" && (plate.draw === plate.press || !plate.draw)) plate.draw = value;
    plate[column] = value;
  });
  focusAfter = `${b}.${r}.${Math.min(Number(p) + values.length, row.plates.length - 1)}.${column}`;
  draw();
  touched();
}

/** Keep the table as it is, to come back to. */
function remember() {
  before.push(JSON.stringify(table));
  if (before.length > 50) before.shift();
  undoable();
}

function touched() {
  isTouched = true;
  undoable();
  localStorage.setItem(draftKey(), JSON.stringify({ table, seen }));
  clearTimeout(waiting);
  waiting = setTimeout(check, 200);
}

async function check() {
  try {
    faults((await ask("do/check-plan", table)).faults);
  } catch (error) {
    say(error, true);
  }
}

/** Each fault stands at its cell; those of no cell stand below the table. */
function faults(list) {
  document.querySelectorAll("#plan-table .cell-fault").forEach((told) => told.remove());
  const homeless = [];
  for (const input of $("plan-table").querySelectorAll("input, select")) {
    input.removeAttribute("aria-invalid");
    input.removeAttribute("aria-describedby");
  }
  for (const fault of list) {
    const input = document.querySelector(`[data-cell="${CSS.escape(fault.cell)}"]`);
    if (!input) {
      homeless.push(fault.text);
      continue;
    }
    input.setAttribute("aria-invalid", "true");
    const told = element("span", fault.text, "cell-fault");
    told.id = `fault-${fault.cell}`;
    input.setAttribute("aria-describedby", told.id);
    input.after(told);
  }
  const count = list.length ? [element("p", `${list.length} ${list.length === 1 ? "cell is" : "cells are"} not understood; what is wrong stands at it.`, "warning")] : [];
  $("plan-faults").replaceChildren(...count, ...homeless.map((text) => element("p", text, "warning")));
  $("keep-plan").disabled = list.length > 0;
}

function labelled(text, input, key) {
  const label = document.createElement("label");
  label.title = help[key] || "";
  label.append(`${text} `, input);
  return label;
}

function button(text, label, work) {
  const made = document.createElement("button");
  Object.assign(made, { type: "button", textContent: text });
  if (label) made.setAttribute("aria-label", label);
  made.addEventListener("click", () => {
    remember();
    work();
    draw(made.getAttribute("aria-label") || text);
    touched();
  });
  return made;
}

function paragraph(className, ...parts) {
  const made = document.createElement("p");
  made.className = className;
  made.append(...parts);
  return made;
}

function boxed(title, ...parts) {
  const box = document.createElement("fieldset");
  const legend = document.createElement("legend");
  legend.textContent = title;
  box.append(legend, ...parts);
  return box;
}

const BELLOWS = [["unisonoric", "one note a plate"], ["bisonoric", "two notes a plate"]];
const KINDS = ["leather", "leather + spring", "plastic", "plastic + spring"].map((kind) => [kind, kind]);
const EMPTY_PLATE = { press: "", draw: "", outer: "?", inner: "?", outer_kind: "leather", inner_kind: "leather", slot_press: "", slot_draw: "", was: "" };

const emptyRow = (name) => ({ name, tremolo: "0", tremolo_in: "cents", plates: [{ ...EMPTY_PLATE }] });

/** Draw all of it anew; the focus goes to the cell that is wanted, to the same button, or near to where it was. */
function draw(pressed = null) {
  const all = () => [...$("plan-table").querySelectorAll("input, select, button")];
  const at = all().indexOf(document.activeElement);
  const cell = focusAfter || document.activeElement?.dataset?.cell;
  focusAfter = null;
  redraw();
  const now = all();
  const same = now.find((one) => (cell && one.dataset.cell === cell) || (pressed && (one.getAttribute("aria-label") || one.textContent) === pressed));
  const near = at >= 0 ? now[Math.min(at, now.length - 1)] : null;
  (same || near)?.focus({ preventScroll: true });
}

function redraw() {
  const top = paragraph("fields",
    labelled("Title", cell(table, "title", "title", "Title", 34), "plan.title"),
    labelled("A4, Hz", cell(table, "reference", "reference", "A4, Hz"), "plan.reference_hz"),
    labelled("Bellows", choice(table, "bellows", "bellows", "Bellows", BELLOWS), "plan.bellows"),
  );
  const more = paragraph("", button("Add a block", "", () => table.blocks.push({ name: freeName(table.blocks, ["bass", "treble", "melody", "chords"]), outer_tongue: "press", limit: "-40", tolerance: "2", rows: [emptyRow("A")] })));
  $("plan-table").replaceChildren(top, ...table.blocks.map(drawBlock), more);
}

function drawBlock(block, b) {
  const of = (text) => `Block ${block.name}: ${text}`;
  const fields = paragraph("fields",
    labelled("Name", cell(block, "name", `${b}.name`, of("name"), 10), "block.name"),
    labelled("Outer tongues sound on", choice(block, "outer_tongue", `${b}.outer_tongue`, of("outer tongues sound on"), [["press", "press"], ["draw", "draw"]]), "block.outer_tongue_sounds_on"),
    labelled("Leaks from, dB", cell(block, "limit", `${b}.limit`, of("leaks from, dB")), "block.leak_limit_db"),
    labelled("Leave alone within, cents", cell(block, "tolerance", `${b}.tolerance`, of("leave alone within, cents")), "block.tolerance_cents"),
  );
  const rows = block.rows.map((row, r) => drawRow(block, row, b, r));
  const out = table.blocks.length > 1 ? [button("Take this block out", `Take this block out: ${block.name}`, () => table.blocks.splice(b, 1))] : [];
  return boxed(`Block ${block.name}`, fields, ...rows, paragraph("", ...out));
}

const COLUMNS = [
  ["press", "Press", "press note"],
  ["draw", "Draw", "draw note"],
  ["outer", "Outer valve, mm", "outer valve, mm"],
  ["outer_kind", "made of", "outer valve is made of", KINDS],
  ["inner", "Inner valve, mm", "inner valve, mm"],
  ["inner_kind", "made of", "inner valve is made of", KINDS],
  ["slot_press", "Slot press, mm", "slot of the press reed, mm"],
  ["slot_draw", "Slot draw, mm", "slot of the draw reed, mm"],
];

/** Fills a column from its last touched cell, or its first, to the end of the row. */
function fillButton(row, at, [column, , word], of) {
  const fill = button("↓ fill", of(`fill down ${word}`), () => {
    const last = lastCell?.startsWith(`${at}.`) && lastCell.endsWith(`.${column}`) ? Number(lastCell.split(".")[2]) : 0;
    for (const plate of row.plates.slice(last + 1)) {
      if (column === "press" && table.bellows === "unisonoric" && plate.draw === plate.press) plate.draw = row.plates[last].press;
      plate[column] = row.plates[last][column];
    }
  });
  return fill;
}

/** The cell that was in hand last. */
let lastCell = null;
$("plan-table").addEventListener("focusin", (event) => {
  if (event.target.dataset.cell) lastCell = event.target.dataset.cell;
});

function drawRow(block, row, b, r) {
  const at = `${b}.${r}`;
  const of = (text) => `Block ${block.name}, row ${row.name}: ${text}`;
  const fields = paragraph("fields",
    labelled("Row", cell(row, "name", `${at}.name`, of("name")), "row.name"),
    labelled("Off the target", cell(row, "tremolo", `${at}.tremolo`, of("off the target"), 16), "row.tremolo_cents"),
    labelled("in", choice(row, "tremolo_in", `${at}.tremolo_in`, of("off the target in"), [["cents", "cents"], ["beats", "beats a second"]])),
    Object.assign(document.createElement("span"), { className: "faint", textContent: "A tremolo rank: 12, or at notes: F#3 12.3, F4 15.6" }),
  );
  const grid = document.createElement("table");
  const head = grid.createTHead().insertRow();
  for (const text of ["Plate", ...COLUMNS.map(([, head]) => head), ""]) {
    const th = document.createElement(text ? "th" : "td");
    if (text) th.scope = "col";
    th.textContent = text;
    const column = COLUMNS.find(([, head]) => head === text);
    if (column && row.plates.length > 1) th.append(fillButton(row, at, COLUMNS[head.cells.length - 1], of));
    head.append(th);
  }
  const body = grid.createTBody();
  row.plates.forEach((plate, p) => {
    const line = body.insertRow();
    const place = `${row.name}${p + 1}`;
    const name = document.createElement("th");
    name.scope = "row";
    name.textContent = place;
    line.append(name);
    for (const [column, , word, options] of COLUMNS) {
      const cellName = `${at}.${p}.${column}`;
      const label = `${block.name} ${place} ${word}`;
      // A unisonoric plate gives one note; the draw cell follows until it is typed in.
      const also = (text) => {
        if (column !== "press" || table.bellows !== "unisonoric" || plate.draw !== plate.press) return;
        plate.draw = text;
        document.querySelector(`[data-cell="${at}.${p}.draw"]`).value = text;
      };
      line.insertCell().append(options ? choice(plate, column, cellName, label, options) : cell(plate, column, cellName, label, 5, also));
    }
    if (row.plates.length > 1) line.insertCell().append(button("take out", `Take out plate ${block.name} ${place}`, () => row.plates.splice(p, 1)));
    else line.insertCell();
  });
  const scroll = document.createElement("div");
  Object.assign(scroll, { className: "scroll", tabIndex: 0 });
  scroll.setAttribute("role", "region");
  scroll.setAttribute("aria-label", of("plates"));
  scroll.append(grid);
  const buttons = [
    button("Add a plate", `Add a plate to block ${block.name}, row ${row.name}`, () => row.plates.push({ ...EMPTY_PLATE })),
    button("Add a row", `Add a row after ${row.name} to block ${block.name}`, () => block.rows.splice(r + 1, 0, emptyRow(freeName(block.rows, [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"])))),
  ];
  if (block.rows.length > 1) buttons.push(button("Take this row out", `Take this row out: row ${row.name} of block ${block.name}`, () => block.rows.splice(r, 1)));
  return boxed(`Row ${row.name}`, fields, scroll, paragraph("buttons", ...buttons));
}

function freeName(things, names) {
  const used = things.map((thing) => thing.name);
  return names.find((name) => !used.includes(name)) || "";
}

$("plan-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (await act("keep-plan", { table, seen })) {
    isTouched = false;
    forgetDraft();
    kept(false);
    ({ table, seen, help, changed: hasKept } = await ask("plan"));
    before = [];
    undoable();
    draw();
    faults([]);
  }
});
// One undo: what was typed first, step by step; then what was kept last, when nothing is left of the typing.
$("undo-plan").addEventListener("click", async () => {
  if (before.length) {
    table = JSON.parse(before.pop());
    draw();
    touched();
    undoable();
  } else if (!isTouched && (await act("undo-plan"))) await loadPlan(true);
});

/** The button says what it would undo. */
function undoable() {
  const isKept = !before.length && hasKept && !isTouched;
  $("undo-plan").disabled = !before.length && !isKept;
  $("undo-plan").textContent = isKept ? "Undo: the plan before this one" : "Undo";
}

// What a cell said before it was typed into comes back as one step.
let snapshot = null;
$("plan-table").addEventListener("focusin", () => { snapshot = JSON.stringify(table); });
$("plan-table").addEventListener("input", () => {
  if (!snapshot) return;
  before.push(snapshot);
  snapshot = null;
  undoable();
});

// Enter goes on to the cell below, and from the last one to the next column; the plan is kept by its button.
$("plan-table").addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.dataset.cell) return;
  event.preventDefault();
  moveOn(event.target, event.shiftKey ? -1 : 1);
});
$("load-plan").addEventListener("click", () => loadPlan(true));
