// The plan as a table; the program's own reader checks it while it is typed.
import { $, act, ask, say } from "./bench.js";

let table = null;
let seen = "";
let isTouched = false;
let waiting = null;

/** Show the plan, unless something typed would be lost. */
export async function loadPlan(again = false) {
  if (isTouched && !again) return;
  try {
    ({ table, seen } = await ask("plan"));
  } catch (error) {
    say(error, true);
    return;
  }
  isTouched = false;
  const typed = again ? null : sessionStorage.getItem(typedKey());
  if (again) sessionStorage.removeItem(typedKey());
  if (typed) table = JSON.parse(typed);
  draw();
  faults([]);
  // What was typed before the page was loaded anew is still here, and still not kept.
  if (typed) touched();
}

/** What is typed belongs to the plan it was typed into. */
const typedKey = () => `plan ${seen}`;

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
  return input;
}

function touched() {
  isTouched = true;
  sessionStorage.setItem(typedKey(), JSON.stringify(table));
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

function faults(list) {
  $("plan-faults").replaceChildren(...list.map((fault) => {
    const line = document.createElement("p");
    line.className = "warning";
    const input = document.querySelector(`[data-cell="${CSS.escape(fault.cell)}"]`);
    line.textContent = `${input ? `${input.getAttribute("aria-label")}: ` : ""}${fault.text}`;
    return line;
  }));
  for (const input of $("plan-table").querySelectorAll("input, select")) {
    const wrong = list.some((fault) => fault.cell === input.dataset.cell);
    if (wrong) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
  $("keep-plan").disabled = list.length > 0;
}

function labelled(text, input) {
  const label = document.createElement("label");
  label.append(`${text} `, input);
  return label;
}

function button(text, label, work) {
  const made = document.createElement("button");
  Object.assign(made, { type: "button", textContent: text });
  if (label) made.setAttribute("aria-label", label);
  made.addEventListener("click", () => {
    work();
    draw();
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

function draw() {
  const top = paragraph("fields",
    labelled("Title", cell(table, "title", "title", "Title", 34)),
    labelled("A4, Hz", cell(table, "reference", "reference", "A4, Hz")),
    labelled("Bellows", choice(table, "bellows", "bellows", "Bellows", BELLOWS)),
  );
  const more = paragraph("", button("Add a block", "", () => table.blocks.push({ name: freeName(table.blocks, ["bass", "treble", "melody", "chords"]), outer_tongue: "press", limit: "-40", tolerance: "2", rows: [emptyRow("A")] })));
  $("plan-table").replaceChildren(top, ...table.blocks.map(drawBlock), more);
}

function drawBlock(block, b) {
  const of = (text) => `Block ${block.name}: ${text}`;
  const fields = paragraph("fields",
    labelled("Name", cell(block, "name", `${b}.name`, of("name"), 10)),
    labelled("Outer tongues sound on", choice(block, "outer_tongue", `${b}.outer_tongue`, of("outer tongues sound on"), [["press", "press"], ["draw", "draw"]])),
    labelled("Leaks from, dB", cell(block, "limit", `${b}.limit`, of("leaks from, dB"))),
    labelled("Leave alone within, cents", cell(block, "tolerance", `${b}.tolerance`, of("leave alone within, cents"))),
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

function drawRow(block, row, b, r) {
  const at = `${b}.${r}`;
  const of = (text) => `Block ${block.name}, row ${row.name}: ${text}`;
  const fields = paragraph("fields",
    labelled("Row", cell(row, "name", `${at}.name`, of("name"))),
    labelled("Off the target", cell(row, "tremolo", `${at}.tremolo`, of("off the target"), 16)),
    labelled("in", choice(row, "tremolo_in", `${at}.tremolo_in`, of("off the target in"), [["cents", "cents"], ["beats", "beats a second"]])),
    Object.assign(document.createElement("span"), { className: "faint", textContent: "A tremolo rank: 12, or at notes: F#3 12.3, F4 15.6" }),
  );
  const grid = document.createElement("table");
  const head = grid.createTHead().insertRow();
  for (const text of ["Plate", ...COLUMNS.map(([, head]) => head), ""]) {
    const th = document.createElement(text ? "th" : "td");
    if (text) th.scope = "col";
    th.textContent = text;
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
    sessionStorage.removeItem(typedKey());
    ({ table, seen } = await ask("plan"));
    draw();
  }
});
$("undo-plan").addEventListener("click", async () => {
  if (await act("undo-plan")) await loadPlan(true);
});
$("load-plan").addEventListener("click", () => loadPlan(true));
