// The recording as it goes on: what is due, the level, the pitch in its lane, and take after take with its verdict.
import { $, act, ask, element, where, windowName } from "./bench.js";
import { lost } from "./again.js";
import { call, saidCents } from "./voice.js";

let rowOf = null;
let waiting = null;
let newest = 0;
let lastCall = "";
let lastKind = null;

/** Listen to the program; `changed` is called when something was written to the job. */
export function follow(changed) {
  const events = new EventSource("events");
  events.addEventListener("said", (event) => said(JSON.parse(event.data)));
  events.addEventListener("now", (event) => now(JSON.parse(event.data)));
  events.addEventListener("job", () => {
    clearTimeout(waiting);
    waiting = setTimeout(changed, 150);
  });
  events.onopen = () => {
    document.body.classList.remove("cut-off");
    $("lost").hidden = true;
  };
  // The browser connects again by itself and names the last saying it heard; a refusal it takes for the end.
  events.onerror = () => {
    document.body.classList.add("cut-off");
    stale("no connection", "The program does not answer. What was recorded is stored.");
    lost();
    if (events.readyState === EventSource.CLOSED) {
      setTimeout(() => follow(changed), 700);
      events.close();
    }
  };
}

// A value that no longer comes is taken away, and never shown as if it were live.
setInterval(() => {
  if (!$("sitting").hidden && performance.now() - newest > 2500) stale("wait", "Nothing has come from the program for some seconds; it may be busy.");
}, 500);

function stale(words, reason) {
  if ($("sitting").hidden) return;
  $("sitting").dataset.call = "lost";
  put("call", words);
  put("reason", reason);
  put("live-words", "–");
  put("level-words", "–");
  $("level").style.width = "0";
  $("needle").hidden = true;
  $("trace").firstElementChild.setAttribute("points", "");
}

const CALLS = {
  quiet: () => "be quiet",
  play: (s) => `play ${s.toFixed(1)} s`,
  hold: (s) => `${s.toFixed(1)} s more`,
  stop: () => "stop now",
  which: () => "which reed?",
  again: (s) => `again, ${s.toFixed(1)} s`,
  silent: () => "no sound",
  loud: () => "room is loud",
};

function put(id, text) {
  if ($(id).textContent === text) return;
  $(id).textContent = text;
  if (id === "due-place" || id === "call") fit($(id));
}

/** Large words are made as much smaller as it takes to stay in their line. */
function fit(box) {
  box.style.setProperty("--fit", 1);
  const k = box.clientWidth / box.scrollWidth;
  if (k < 1) box.style.setProperty("--fit", Math.max(0.3, k * 0.98));
}
window.addEventListener("resize", () => {
  for (const box of document.querySelectorAll("#due-place, #call, #newest .cents, #newest .judged")) fit(box);
  toDuePlate();
});

function now(stands) {
  newest = performance.now();
  const kind = !stands ? "" : stands.trial ? "trial" : stands.sealing ? "seal" : stands.tuning ? "tune" : "record";
  const isNew = lastKind !== kind;
  lastKind = kind;
  $("sitting").hidden = kind !== "record";
  $("begin").hidden = Boolean(kind) && kind !== "trial";
  document.dispatchEvent(new CustomEvent("trial", { detail: kind === "trial" ? stands : null }));
  document.dispatchEvent(new CustomEvent("stand", { detail: { kind, stands } }));
  if (kind !== "record") {
    rowOf = null;
    lastCall = "";
    strip(kind, stands);
    if (isNew) document.dispatchEvent(new Event("sitting"));
    return;
  }
  if (isNew) {
    document.dispatchEvent(new Event("sitting"));
    for (const box of document.querySelectorAll("#due-place, #call")) fit(box);
  }
  const due = stands.due;
  strip(kind, stands);
  put("strip-words", due ? `pass ${stands.pass}: ${due.short} is due, ${due.left} left` : `pass ${stands.pass}`);
  put("sitting-pass", `${stands.pass}${stands.window && stands.window !== windowName ? ", begun in another window" : ""}`);
  put("left", due ? `${stands.all - due.left} of ${stands.all}` : "all done");
  $("progress").value = due && stands.all ? (stands.all - due.left) / stands.all : 1;
  put("due-place", due ? due.short : "done");
  put("due-note", due ? `${due.note} · ${due.target}${due.blocks > 1 ? ` · ${due.block}` : ""}` : "");
  const words = due ? CALLS[due.call](due.seconds) : "";
  put("call", words);
  put("reason", due?.reason || "");
  $("sitting").dataset.call = due ? due.call : "";
  keys(stands, due);
  level(stands);
  lane(stands, due);
  // What was said of the note before is over when the next one sounds.
  if (stands.sounds && $("said").className === "done") $("said").replaceChildren();
  showRow(stands.pass, due);
  speak(due);
}

/** Every page says what goes on, and leads back to it. */
function strip(kind, stands) {
  $("strip").hidden = !kind || kind === "trial";
  if ($("strip").hidden) return;
  $("strip").href = `#${kind}`;
  put("strip-what", { record: "● Recording", seal: "● Sealing test", tune: "● Tuning" }[kind]);
  if (kind === "seal") put("strip-words", `${stands.short}, play ${stands.play}`);
  if (kind === "tune") put("strip-words", stands.due ? `${stands.due.short} is due` : "");
}

/** Only what makes sense at this moment; each key keeps its place. */
function keys(stands, due) {
  const held = due?.call === "which" ? stands.held : null;
  const there = held ? (held.belongs_to ? ["there", "here", "stop"] : held.press ? ["there-press", "there-draw", "here", "stop"] : ["here", "stop"]) : null;
  const wanted = there || [stands.sounds || stands.last ? "again" : "", due ? "skip" : "", stands.has_back ? "back" : "", "stop"];
  for (const key of document.querySelectorAll("#sitting .keys button")) key.classList.toggle("away", !wanted.includes(key.dataset.order));
  if (!held) return;
  put("there-word", held.belongs_to ? `It was ${held.belongs_to}` : "There");
  put("there-press-word", `${held.press || ""} press`);
  put("there-draw-word", `${held.press || ""} draw`);
}

const part = (db) => `${Math.max(0, Math.min(100, (100 * (db + 80)) / 80))}%`;

function level(stands) {
  $("level").style.width = part(stands.level_db);
  $("floor").style.left = stands.floor_db === null ? "-1rem" : part(stands.floor_db);
  $("clip").classList.toggle("lit", stands.clipped);
  put("level-words", `${signed(stands.level_db, 0)} dBFS${stands.floor_db === null ? "" : `, room ${signed(stands.floor_db, 0)}`}${stands.clipped ? ", clipped: play softer or turn the input down" : ""}`);
}

/** A figure with a true minus. */
const signed = (value, places) => value.toFixed(places).replace(/^-(?=0(\.0+)?$)/, "").replace("-", "−");
const withSign = (value) => `${value < 0 ? "" : "+"}${signed(value, 1)}`;

const REACH = 10;

/** Flat to the left, sharp to the right; time runs down. The way of the last note stays, faint, until the next one. */
function lane(stands, due) {
  const live = stands.live;
  const at = (cents) => 100 * (0.5 + Math.max(-REACH, Math.min(REACH, cents)) / (2 * REACH));
  if (due) {
    const half = Math.min(50, (50 * due.tolerance) / REACH);
    Object.assign($("band").style, { left: `${50 - half}%`, right: `${50 - half}%` });
  }
  const trace = stands.trace.slice(-24);
  const step = 100 / Math.max(1, trace.length);
  // A first reading is a dash, so that it is seen.
  const points = trace.flatMap((cents, k) => [0, 1].map((end) => `${(2 * at(cents)).toFixed(1)},${((k + end) * step).toFixed(1)}`));
  $("trace").firstElementChild.setAttribute("points", points.join(" "));
  document.querySelector(".lane").classList.toggle("over", !live);
  $("needle").hidden = !live;
  if (live) {
    $("needle").style.left = `${at(live.cents)}%`;
    $("needle").classList.toggle("far", Math.abs(live.cents) > REACH);
  }
  put("live-words", live ? `${live.f0}, ${withSign(live.cents)} ± ${live.uncertainty.toFixed(1)} cents` : "no note sounds");
}

async function showRow(pass, due) {
  const key = `${pass} ${due?.plate}`;
  if (rowOf === key || !due) return;
  rowOf = key;
  try {
    const html = await ask(`part/row?pass=${encodeURIComponent(pass)}&at=${encodeURIComponent(due.place)}`);
    $("due-map").innerHTML = html;
    toDuePlate();
  } catch {
    rowOf = null;
  }
}

function toDuePlate() {
  const cell = $("due-map").querySelector(".due-plate");
  if (cell) $("due-map").scrollLeft = cell.offsetLeft - ($("due-map").clientWidth - cell.clientWidth) / 2;
}

/** What is due is called once; after a take its result comes first. */
function speak(due) {
  const key = due ? `${due.place} ${["again", "which", "silent", "loud", "stop"].includes(due.call) ? due.call : ""}` : "done";
  if (key === lastCall || due?.call === "hold") return;
  const isFirst = !lastCall;
  lastCall = key;
  if (!due) call("All done", "accepted");
  else if (due.call === "stop") call("stop", "stop");
  else if (due.call === "again") call(`Again: ${due.reason || due.short}`, "again");
  else if (due.call === "which") call(`Which reed? ${due.reason || ""}`, "again");
  else if (due.call === "silent" || due.call === "loud") call(CALLS[due.call](0), "again");
  else call(`${result ? `${result}. Next` : isFirst ? "First" : "Next"}: ${due.short.replace(" ", ", ")}`, result ? "accepted" : "next");
  if (due?.call !== "stop") result = "";
}
let result = "";

const badge = (word) => element("span", word, `verdict ${word.replace(" ", "-")}`);

function said(one) {
  if (one.kind === "stood") {
    document.dispatchEvent(new CustomEvent("stood", { detail: one }));
    return;
  }
  const log = $("log");
  if (one.kind === "begin") {
    log.replaceChildren();
    $("newest").replaceChildren();
    result = "";
  }
  if (one.kind === "verdict") {
    const item = log.querySelector(`[data-take="${CSS.escape(`${one.place} ${one.take}`)}"]`);
    const shown = element("p", "");
    shown.append(badge(one.verdict), ` ${one.valve}: ${one.reason}`);
    item?.querySelector(".waits")?.replaceWith(shown);
    const judged = $("newest").querySelector(".judged");
    if (judged && $("newest").dataset.take === `${one.place} ${one.take}`) {
      judged.classList.remove("waits");
      judged.replaceChildren(badge(one.verdict));
      fit(judged);
      $("spoken").textContent += `; ${one.verdict}`;
    }
    rowOf = null;
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
    rowOf = null;
    showNewest(one);
  } else {
    item.className = one.kind;
    item.append(element("p", one.text));
    for (const more of one.more || []) item.append(element("p", more));
    if (one.next) item.append(element("p", `Next: ${one.next}.`));
    if (one.kind === "other") item.append(element("p", "Play the due reed; the same pitch once more, or Here, keeps it" + (one.belongs_to ? `; There if it was ${one.belongs_to}.` : ".")));
  }
  log.prepend(item);
}

/** Large, for those two metres away: which reed, how far and which way, and what its valve says. */
function showNewest(one) {
  const cents = Number(one.cents.replace("−", "-"));
  const way = Math.abs(cents) <= one.tolerance ? "in tune" : cents < 0 ? "▼ flat" : "▲ sharp";
  $("newest").dataset.take = `${one.place} ${one.take}`;
  $("newest").replaceChildren(
    element("p", `${one.short} · take ${one.take} · ± ${one.uncertainty} cents`, "of"),
    element("p", `${one.cents} ${way}`, "cents"),
    element("p", "being judged", "judged waits"),
  );
  const judged = $("newest").querySelector(".judged");
  if (!one.has_valve) judged.replaceChildren(badge("no valve"));
  for (const box of $("newest").querySelectorAll(".cents, .judged")) fit(box);
  result = `${saidCents(one.cents)} cents`;
}

// Keys while takes are recorded, never while something is typed; a foot switch may send any other one.
document.addEventListener("keydown", (event) => {
  const isTyping = event.target.closest("input, select, textarea, summary, a, audio");
  if (isTyping || event.repeat || event.ctrlKey || event.metaKey || event.altKey || $("sitting").hidden || where()[0] !== "record") return;
  if (["Tab", "Shift", "Control", "Alt", "Meta", "CapsLock", "Escape", "F5", "F12"].includes(event.key)) return;
  const shown = [...document.querySelectorAll("#sitting .keys button:not(.away)")];
  const named = shown.find((key) => key.dataset.key === event.key.toLowerCase());
  const isOnButton = event.target.closest("button") && ["Enter", " "].includes(event.key);
  if (isOnButton) return;
  // One of the letters of the other keys does nothing by mistake.
  const isLetter = /^[a-z]$/i.test(event.key);
  const order = named?.dataset.order || (isLetter ? null : shown[0]?.dataset.order);
  if (!order || (!named && order === "stop")) return;
  event.preventDefault();
  act(order);
});
