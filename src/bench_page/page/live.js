// The recording as it goes on: what is due, the meter, the trace, and take after take with its verdict.
import { $, ask } from "./bench.js";

let mapOf = null;
let waiting = null;

/** Listen to the program; `changed` is called when something was written to the job. */
export function follow(changed) {
  const events = new EventSource("events");
  events.addEventListener("said", (event) => said(JSON.parse(event.data)));
  events.addEventListener("now", (event) => now(JSON.parse(event.data)));
  events.addEventListener("job", () => {
    clearTimeout(waiting);
    waiting = setTimeout(changed, 150);
  });
  events.onopen = () => { $("lost").hidden = true; };
  // The browser connects again by itself and names the last saying it heard.
  events.onerror = () => { $("lost").hidden = false; };
}

const CALLS = {
  quiet: () => "be quiet",
  play: (s) => `play ${s.toFixed(1)} s`,
  hold: (s) => `${s.toFixed(1)} s more`,
  stop: () => "stop now",
  which: () => "which reed?",
  again: (s) => `again, ${s.toFixed(1)} s`,
};

function put(id, text) {
  if ($(id).textContent !== text) $(id).textContent = text;
}

function now(stands) {
  $("sitting").hidden = !stands;
  $("begin").hidden = Boolean(stands);
  document.body.classList.toggle("recording", Boolean(stands));
  if (!stands) {
    mapOf = null;
    return;
  }
  const due = stands.due;
  put("due-place", due ? due.short : "done");
  put("due-note", due ? `${due.note}, ${due.target}` : "");
  put("call", due ? CALLS[due.call](due.seconds) : "");
  $("call").dataset.call = due ? due.call : "";
  put("lies", due ? `block ${due.block}, row ${due.row}, plate ${due.number} of ${due.row_len}; ${due.left} left${due.too_close ? "; stop abruptly, only the tail tells its reeds apart" : ""}` : "");
  const part = (db) => `${Math.max(0, Math.min(100, (100 * (db + 80)) / 80))}%`;
  $("level").style.width = part(stands.level_db);
  $("floor").style.left = stands.floor_db === null ? "-1rem" : part(stands.floor_db);
  put("level-words", `${signed(stands.level_db, 0)} dBFS${stands.floor_db === null ? "" : `, room ${signed(stands.floor_db, 0)}`}${stands.clipped ? ", CLIPPED: play softer" : ""}`);
  $("level-words").classList.toggle("clipped", stands.clipped);
  draw(stands.trace, Boolean(stands.live));
  const live = stands.live;
  put("live-words", live ? `${live.f0}, ${live.cents < 0 ? "" : "+"}${signed(live.cents, 1)} ± ${live.uncertainty.toFixed(1)} cents` : "no note sounds");
  // What was said of the note before is over when the next one sounds.
  if (stands.sounds && $("said").className === "done") $("said").replaceChildren();
  showOnMap(stands.pass, due);
}

/** A figure with a true minus. */
const signed = (value, places) => value.toFixed(places).replace(/^-(?=0(\.0+)?$)/, "").replace("-", "−");

/** The way of the pitch, in a lane of 50 cents to either side of the target; that of the last note stays, faint. */
function draw(trace, sounds) {
  const [path, newest] = $("trace").querySelectorAll("polyline");
  const y = (cents) => (40 - Math.max(-50, Math.min(50, cents)) * 0.76).toFixed(1);
  const step = 400 / 24;
  const from = Math.max(0, trace.length - 23);
  // A first reading is a dash, so that it is seen.
  const points = trace.slice(from).flatMap((cents, k) => [`${(k * step).toFixed(1)},${y(cents)}`, `${((k + 1) * step).toFixed(1)},${y(cents)}`]);
  path.setAttribute("points", points.join(" "));
  newest.setAttribute("points", points.slice(-2).join(" "));
  $("trace").classList.toggle("over", !sounds);
}

async function showOnMap(pass, due) {
  const key = `${pass} ${due?.plate}`;
  if (mapOf === key) return;
  mapOf = key;
  try {
    const box = document.createElement("div");
    box.innerHTML = await ask(`part/block?pass=${encodeURIComponent(pass)}`);
    $("due-map").replaceChildren(...[...box.querySelectorAll(".drawing")].filter((drawing) => drawing.querySelector("a[href^='#plate-']")).slice(0, 3));
    for (const svg of $("due-map").querySelectorAll("svg")) crop(svg);
    if (due) {
      for (const link of $("due-map").querySelectorAll("a")) link.classList.toggle("due-plate", link.getAttribute("href") === due.plate);
      $("due-map").querySelector(".due-plate")?.setAttribute("aria-current", "true");
    }
  } catch {
    mapOf = null;
  }
}

/** Only the rows of plates with their heads: what the signs mean stands on the page Block. */
function crop(svg) {
  const plates = [...svg.querySelectorAll("a rect")];
  if (!plates.length) return;
  const tops = plates.map((plate) => Number(plate.getAttribute("y")));
  const ends = plates.map((plate) => Number(plate.getAttribute("y")) + Number(plate.getAttribute("height")));
  const [x, , width] = svg.getAttribute("viewBox").split(/[ ,]+/);
  const top = Math.min(...tops) - 100;
  svg.setAttribute("viewBox", `${x} ${top} ${width} ${Math.max(...ends) + 40 - top}`);
}

function element(tag, text, className) {
  const made = document.createElement(tag);
  made.textContent = text;
  if (className) made.className = className;
  return made;
}

const badge = (word) => element("span", word, `verdict ${word.replace(" ", "-")}`);

function said(one) {
  const log = $("log");
  if (one.kind === "begin") {
    log.replaceChildren();
    $("newest").replaceChildren();
  }
  if (one.kind === "verdict") {
    const item = log.querySelector(`[data-take="${CSS.escape(`${one.place} ${one.take}`)}"]`);
    const shown = element("p", "");
    shown.append(badge(one.verdict), ` ${one.valve}: ${one.reason}`);
    item?.querySelector(".waits")?.replaceWith(shown);
    // Large, for those two metres away; spoken too.
    $("newest").replaceChildren(element("span", one.short), badge(one.verdict));
    return;
  }
  $("log-head").hidden = false;
  const item = document.createElement("li");
  if (one.kind === "take") {
    item.dataset.take = `${one.place} ${one.take}`;
    const hear = element("button", `▶ ${one.take}`, "hear");
    hear.type = "button";
    hear.dataset.sound = one.file;
    hear.setAttribute("aria-label", `Hear take ${one.take} of ${one.place}`);
    item.append(element("b", one.place), ` ${one.note || ""} ${one.f0}, ${one.cents} ± ${one.uncertainty} cents `, hear, element("p", one.opposite), element("p", "being judged", "waits faint"));
    for (const more of one.more) item.append(element("p", more, "warning"));
    if (one.stays_due) item.append(element("p", "play it once more; this take is kept", "warning"));
    mapOf = null;
  } else {
    item.className = one.kind;
    item.append(element("p", one.text));
    for (const more of one.more || []) item.append(element("p", more));
    if (one.next) item.append(element("p", `Next: ${one.next}.`));
    if (one.kind === "other") item.append(element("p", "Play the due reed; the same pitch once more, or Here, keeps it" + (one.belongs_to ? `; There if it was ${one.belongs_to}.` : ".")));
  }
  log.prepend(item);
}
