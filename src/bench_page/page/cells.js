// What is typed into the cells of the plan: ranges of notes, lists down a column, and the way from cell to cell.

const NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const NOTE = /^([A-Ga-g])([#♯b♭]?)(-?\d)$/;
/** No row has more plates. */
const MOST = 100;

/** A note as a number of semitones, `null` for anything else. */
function semitone(text) {
  const found = NOTE.exec(text.trim());
  if (!found) return null;
  const step = NAMES.indexOf(found[1].toUpperCase()) + ({ "#": 1, "♯": 1, b: -1, "♭": -1 }[found[2]] || 0);
  return 12 * Number(found[3]) + step;
}

/** `E2..D#3`: the notes from one to the other, up or down; `null` where it is no range. */
export function rangeOf(text) {
  const ends = text.split(/\s*(?:\.\.+|…|–| to )\s*/);
  if (ends.length !== 2) return null;
  const [from, to] = ends.map(semitone);
  if (from === null || to === null || Math.abs(to - from) >= MOST) return null;
  const way = Math.sign(to - from) || 1;
  return Array.from({ length: Math.abs(to - from) + 1 }, (_, k) => {
    const note = from + way * k;
    return `${NAMES[((note % 12) + 12) % 12]}${Math.floor(note / 12)}`;
  });
}

/** A column out of a spreadsheet, or a list; decimal commas stay where lines or tabs part the values. */
export function listOf(text) {
  const lines = text.trim().split(/[\r\n\t;]+/);
  return lines.map((value) => value.trim()).filter(Boolean).slice(0, MOST);
}

/** To the cell below (or above); past the end of a column to the next one. */
export function moveOn(cell, way) {
  const [b, r, p, column] = cell.dataset.cell.split(".");
  const at = (plate, name) => document.querySelector(`[data-cell="${b}.${r}.${plate}.${name}"]`);
  if (column === undefined) {
    const all = [...document.querySelectorAll("#plan-table [data-cell]")];
    all[all.indexOf(cell) + way]?.focus();
    return;
  }
  let next = at(Number(p) + way, column);
  if (!next) {
    const columns = [...cell.closest("tr").querySelectorAll("[data-cell]")].map((one) => one.dataset.cell.split(".")[3]);
    const name = columns[columns.indexOf(column) + way];
    const plates = cell.closest("tbody").rows.length;
    next = name && at(way > 0 ? 0 : plates - 1, name);
  }
  next?.focus();
  next?.select?.();
}
