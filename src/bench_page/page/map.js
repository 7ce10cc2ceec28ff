// The drawings as something to point at: a pointer, a finger or the keyboard gives the figures of a plate; and places
// picked by tapping instead of typing.
import { $, ask, chosenPass, element, failed } from "./bench.js";

let box = null;
let isPinned = false;
const cards = new Map();

/** The drawings of a part that was just put in are made to answer. */
export function dressDrawings(part) {
  cards.clear();
  hide();
  for (const link of part.querySelectorAll(".drawing a")) {
    // The words stand in a card; the browser's own would lie over it.
    link.querySelector("title")?.remove();
    link.addEventListener("pointerenter", (event) => { if (event.pointerType === "mouse" && !isPinned) show(link); });
    link.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse" && !isPinned) hide(); });
    link.addEventListener("focus", () => { if (!isPinned && link.matches(":focus-visible")) show(link); });
    link.addEventListener("click", (event) => {
      event.preventDefault();
      show(link, true);
    });
  }
  for (const filter of part.querySelectorAll("[data-filter]")) filter.addEventListener("change", () => dim(part));
  for (const sort of part.querySelectorAll("button.sort")) sort.addEventListener("click", () => sorted(sort));
}

async function show(link, pin = false) {
  const plate = link.getAttribute("href");
  if (!cards.has(plate)) {
    try {
      cards.set(plate, await ask(`part/plate?pass=${encodeURIComponent(chosenPass())}&at=${encodeURIComponent(plate.slice(1))}`));
    } catch (error) {
      failed(error);
      return;
    }
  }
  box ||= document.body.appendChild(Object.assign(element("div", ""), { id: "figures", role: "dialog" }));
  isPinned = pin;
  box.hidden = false;
  box.className = pin ? "pinned" : "";
  // The program escapes every text of the job in it.
  box.innerHTML = cards.get(plate);
  box.setAttribute("aria-label", `Plate ${plate.slice(7)}`);
  document.querySelectorAll(".drawing a.picked").forEach((other) => other.classList.remove("picked"));
  link.classList.add("picked");
  const [at, own] = [link.getBoundingClientRect(), box.getBoundingClientRect()];
  const left = Math.max(8, Math.min(innerWidth - own.width - 8, at.left));
  const below = at.bottom + 8 + own.height < innerHeight;
  const top = below ? at.bottom + 8 : Math.max(8, at.top - own.height - 8);
  Object.assign(box.style, { left: `${left}px`, top: `${top}px` });
  if (pin) box.querySelector("button, a")?.focus({ preventScroll: true });
}

function hide() {
  isPinned = false;
  if (box) box.hidden = true;
  document.querySelectorAll(".drawing a.picked").forEach((other) => other.classList.remove("picked"));
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || !box || box.hidden) return;
  const link = document.querySelector(".drawing a.picked");
  hide();
  link?.focus({ preventScroll: true });
});
document.addEventListener("click", (event) => {
  if (isPinned && !event.target.closest("#figures, .drawing a, footer")) hide();
});
window.addEventListener("hashchange", hide);

/** Plates that the filters leave out are told faintly; rows of the table are left out. */
function dim(part) {
  const wanted = [...part.querySelectorAll("[data-filter]")].map((filter) => [filter.dataset.filter, filter.value]).filter(([, value]) => value);
  for (const row of part.querySelectorAll("tr[data-words]")) {
    row.hidden = !wanted.every(([, value]) => row.dataset.words.split("|").includes(value));
  }
  const words = [...part.querySelectorAll("[data-plate-words]")];
  if (!words.length) return;
  const fits = (one) => wanted.every(([, value]) => one.dataset.plateWords.split("|").includes(value));
  const strong = new Set(words.filter(fits).map((one) => `#${one.dataset.at}`));
  for (const link of part.querySelectorAll(".drawing a")) link.classList.toggle("dimmed", !strong.has(decodeURIComponent(link.getAttribute("href"))));
  const told = part.querySelector("[data-filtered]");
  told.textContent = wanted.length ? `${strong.size} of ${new Set(words.map((one) => one.dataset.at)).size} plates` : "";
}

/** Sort the table by a column; once more turns it round. */
function sorted(button) {
  const head = button.closest("th");
  const table = head.closest("table");
  const way = head.getAttribute("aria-sort") === "ascending" ? "descending" : "ascending";
  for (const other of table.querySelectorAll("th[aria-sort]")) other.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", way);
  const key = (row) => {
    const cell = row.cells[head.cellIndex];
    const text = cell.dataset.value ?? cell.textContent.trim();
    const number = Number(text.replace("−", "-"));
    return text && !Number.isNaN(number) ? number : text;
  };
  const rows = [...table.tBodies[0].rows];
  rows.sort((a, b) => {
    const [x, y] = [key(a), key(b)];
    const order = typeof x === "number" && typeof y === "number" ? x - y : String(x).localeCompare(String(y), undefined, { numeric: true });
    return way === "ascending" ? order : -order;
  });
  table.tBodies[0].append(...rows);
}

/** Places picked by tapping: plate, its valves or its reeds. */
export async function openPicker(field) {
  const picker = $(`pick-${field}`);
  picker.hidden = !picker.hidden;
  if (picker.hidden) return;
  try {
    picker.innerHTML = await ask("part/picker");
  } catch (error) {
    failed(error);
    return;
  }
  const input = $(field);
  const chosen = () => input.value.split(",").map((place) => place.trim()).filter(Boolean);
  const mark = () => {
    for (const cell of picker.querySelectorAll("[data-plate-name]")) cell.setAttribute("aria-pressed", String(chosen().includes(named(cell))));
  };
  const named = (cell) => `${cell.dataset.plateName}${picker.querySelector("select").value}`;
  picker.addEventListener("change", mark);
  picker.addEventListener("click", (event) => {
    const cell = event.target.closest("[data-plate-name]");
    if (!cell) return;
    const [place, all] = [named(cell), chosen()];
    input.value = (all.includes(place) ? all.filter((one) => one !== place) : [...all, place]).join(", ");
    mark();
  });
  mark();
}
