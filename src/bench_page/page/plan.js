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
  draw();
  faults([]);
}

function cell(value, name, label, change) {
  const input = document.createElement("input");
  Object.assign(input, { value, autocomplete: "off", spellcheck: false, size: 7 });
  input.dataset.cell = name;
  input.setAttribute("aria-label", label);
  input.addEventListener("input", () => {
    change(input.value);
    touched();
  });
  return input;
}

function touched() {
  isTouched = true;
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
  for (const input of $("plan-table").querySelectorAll("input")) {
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

function draw() {
  const bellows = document.createElement("select");
  bellows.append(new Option("one note a plate", "unisonoric"), new Option("two notes a plate", "bisonoric"));
  bellows.value = table.bellows;
  bellows.addEventListener("change", () => { table.bellows = bellows.value; touched(); });
  const top = document.createElement("p");
  top.append(
    labelled("Title", cell(table.title, "title", "Title", (text) => { table.title = text; })),
    labelled("A4, Hz", cell(table.reference, "reference", "A4, Hz", (text) => { table.reference = text; })),
    labelled("Bellows", bellows),
  );
  $("plan-table").replaceChildren(top, ...table.rows.map(drawRow));
}

function drawRow(row, r) {
  const box = document.createElement("fieldset");
  const legend = document.createElement("legend");
  legend.textContent = `Block ${row.block}, row ${row.name}`;
  const names = document.createElement("p");
  names.append(labelled("Row", cell(row.name, `${r}.name`, `Name of row ${row.name}`, (text) => { row.name = text; })));
  const grid = document.createElement("table");
  const head = grid.createTHead().insertRow();
  for (const text of ["Plate", "Press", "Draw", "Outer valve", "Inner valve", ""]) {
    const th = document.createElement(text ? "th" : "td");
    if (text) th.scope = "col";
    th.textContent = text;
    head.append(th);
  }
  const body = grid.createTBody();
  row.plates.forEach((plate, p) => {
    const line = body.insertRow();
    const name = document.createElement("th");
    name.scope = "row";
    name.textContent = `${row.name}${p + 1}`;
    line.append(name);
    for (const [column, word] of [["press", "press note"], ["draw", "draw note"], ["outer", "outer valve, mm"], ["inner", "inner valve, mm"]]) {
      line.insertCell().append(cell(plate[column], `${r}.${p}.${column}`, `${row.name}${p + 1} ${word}`, (text) => {
        // A unisonoric plate gives one note; the draw cell follows until it is typed in.
        if (column === "press" && table.bellows === "unisonoric" && plate.draw === plate.press) {
          plate.draw = text;
          document.querySelector(`[data-cell="${r}.${p}.draw"]`).value = text;
        }
        plate[column] = text;
      }));
    }
    line.insertCell().append(button("take out", `Take out plate ${row.name}${p + 1}`, () => row.plates.splice(p, 1)));
  });
  const more = document.createElement("p");
  more.append(
    button("Add a plate", `Add a plate to row ${row.name}`, () => row.plates.push({ press: "", draw: "", outer: "?", inner: "?" })),
    button("Add a row", `Add a row after ${row.name}`, () => table.rows.splice(r + 1, 0, { block: row.block, name: nextName(), outer_tongue: row.outer_tongue, plates: [{ press: "", draw: "", outer: "?", inner: "?" }] })),
  );
  box.append(legend, names, grid, more);
  return box;
}

function nextName() {
  const used = table.rows.map((row) => row.name);
  return [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((letter) => !used.includes(letter)) || "AA";
}

$("plan-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (await act("keep-plan", { table, seen })) {
    isTouched = false;
    ({ table, seen } = await ask("plan"));
    draw();
  }
});
$("load-plan").addEventListener("click", () => loadPlan(true));
