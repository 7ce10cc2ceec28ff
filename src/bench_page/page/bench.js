// The places, their parts and their forms. All text comes from the program, and all state lies in the job's folder.
import { follow } from "./live.js";
import { loadPlan } from "./plan.js";
import { dressDrawings, openPicker } from "./map.js";
import { arrived } from "./again.js";
import "./files.js";
import "./trial.js";
import "./stand.js";

/** An element by its name. */
export function $(id) {
  return document.getElementById(id);
}

/** An element with words in it. */
export function element(tag, text, className) {
  const made = document.createElement(tag);
  made.textContent = text;
  if (className) made.className = className;
  return made;
}

const MOST_PHOTO = 24 * 2 ** 20;

let state = null;

export const job = () => state?.job;

/** Ask the program; fails with its own words. */
export async function ask(path, body) {
  const wanted = body === undefined
    ? {}
    : { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const answer = await fetch(path, wanted);
  const isJson = (answer.headers.get("Content-Type") || "").includes("json");
  const told = isJson ? await answer.json() : await answer.text();
  if (!answer.ok) throw isJson ? told : { error: told, next: "load the page again" };
  return told;
}

/** Say what was done, or what stands in the way and what to do about it. */
export function say(told, isTrouble = false) {
  const box = $("said");
  box.replaceChildren();
  box.className = isTrouble ? "trouble" : "done";
  const lines = isTrouble ? [told.error, told.next && `Next: ${told.next}.`] : [told.said, ...(told.more || [])];
  box.append(...lines.filter(Boolean).map((line) => element("p", line)));
  if (!told.undo && !told.uncorrect) return;
  const undo = element("button", "Undo");
  undo.type = "button";
  if (told.undo) undo.dataset.unmark = told.undo;
  else Object.assign(undo.dataset, { uncorrect: told.uncorrect, of: told.of });
  box.append(undo);
}

export const failed = (error) => say(error.error ? error : { error: "the program does not answer", next: "start it again if it has ended" }, true);

/** Do something and say what came of it; what wants a plain yes is asked first. */
export async function act(what, body = {}) {
  try {
    const told = await ask(`do/${what}`, body);
    if ("said" in told) say(told);
    return true;
  } catch (error) {
    if (error.ask && !body.yes && confirm(error.error)) return act(what, { ...body, yes: true });
    failed(error);
    return false;
  }
}

function options(select, list, chosen) {
  const before = chosen ?? select.value;
  select.replaceChildren(...list.map(([value, text]) => new Option(text, value)));
  if (list.some(([value]) => value === before)) select.value = before;
}

export const chosenPass = () => $("pass").value;
const kept = () => `pass of ${state?.job?.folder}`;

async function refresh() {
  try {
    state = await ask("state");
  } catch (error) {
    failed(error);
    return;
  }
  arrived();
  const job = state.job;
  $("title").textContent = job?.title || (job ? "Job without a title" : "Platenote bench");
  document.title = job?.title ? `${job.title}: Platenote` : "Platenote bench";
  $("line").textContent = job?.error ? `${job.error}. Next: ${job.next}.` : job ? `${job.plates} ${job.plates === 1 ? "plate" : "plates"}, ${job.reeds} reeds` : "";
  $("job-line").textContent = job?.folder ? `Open now: ${job.folder}` : "";
  $("welcome").hidden = Boolean(job) || state.jobs.length > 0;
  $("jobs-folder").textContent = `It is made in ${state.folder}.`;
  document.body.classList.toggle("no-job", !job);
  options($("templates"), state.templates.map((one) => [one.name, one.word]));
  $("jobs").replaceChildren(...state.jobs.map(jobLine));
  const passes = job?.passes || [];
  // The pass that was being looked at is shown again after a reload; a new one comes to the front.
  const names = passes.map((pass) => pass.name);
  const [looked, of] = JSON.parse(sessionStorage.getItem(kept()) || "[null, 0]");
  options($("pass"), names.map((name) => [name, name]), names.includes(looked) && of === names.length ? looked : names.at(-1));
  $("pass-choice").hidden = names.length < 2;
  $("passes").replaceChildren(...names.map((name) => new Option(name)));
  for (const field of ["record-pass", "files-pass", "seal-pass"]) if (!$(field).value) $(field).value = job?.running_pass || "before";
  $("report-pages").replaceChildren(...(job?.pages || []).map(reportLine));
  $("report-hint").hidden = !job?.pages?.length;
  turn();
  await showPart();
}

/** A job of the list; the button opens it. */
function jobLine(one) {
  const item = document.createElement("li");
  const open = element("button", one.folder === state.job?.folder ? `${one.title || one.name}: open now` : one.title || one.name);
  Object.assign(open, { type: "button", disabled: one.folder === state.job?.folder });
  open.dataset.open = one.folder;
  item.append(open, element("span", `${one.folder}${one.when ? ` · opened ${one.when}` : ""}`, "faint"));
  return item;
}

/** A page of the report, to be opened in a window of its own or printed from here. */
function reportLine(name) {
  const title = name === "report.html" ? "Report" : "Hand-over sheet";
  const link = Object.assign(element("a", title), { href: `report/${name}`, target: "_blank", rel: "noopener" });
  const print = Object.assign(element("button", "Print"), { type: "button" });
  print.dataset.print = name;
  print.setAttribute("aria-label", `Print the ${title.toLowerCase()}`);
  const item = document.createElement("li");
  item.append(link, print);
  return item;
}

/** Send a page of the report to the printer, out of a frame that is never seen. */
function print(name) {
  document.querySelector("iframe.printed")?.remove();
  const frame = document.createElement("iframe");
  Object.assign(frame, { className: "printed", src: `print/${name}`, tabIndex: -1, title: "The page that is printed" });
  frame.setAttribute("aria-hidden", "true");
  frame.addEventListener("load", () => frame.contentWindow.print());
  document.body.append(frame);
}

/** Each page, and the place of first rank that it belongs to. */
const PLACE_OF = { home: "home", plan: "home", jobs: "home", record: "record", files: "record", block: "block", takes: "block", work: "work", notes: "work", tray: "work", seal: "work", tune: "work", report: "report" };

/** `#block` is a page; `#plate-bass-A7` is a plate on the page of takes. */
export function where() {
  const hash = decodeURIComponent(location.hash.slice(1));
  if (!state?.job?.folder) return ["jobs", null];
  if (hash.startsWith("plate-")) return ["takes", hash];
  return [hash in PLACE_OF ? hash : "home", null];
}

/** Turn to the page that the address names. */
function turn() {
  const [page] = where();
  for (const name of Object.keys(PLACE_OF)) $(`page-${name}`).hidden = name !== page;
  const place = PLACE_OF[page];
  $("pages").hidden = !state?.job?.folder;
  const seconds = [...document.querySelectorAll(".second a")];
  for (const link of seconds) link.hidden = link.dataset.of !== place || !state?.job?.folder;
  document.querySelector(".second").hidden = seconds.every((link) => link.hidden);
  for (const link of document.querySelectorAll("nav a")) {
    const isCurrent = link.dataset.of ? link.hash === `#${page}` : link.hash === `#${place}`;
    if (isCurrent) link.setAttribute("aria-current", link.dataset.of || page === place ? "page" : "true");
    else link.removeAttribute("aria-current");
  }
  document.body.classList.toggle("at-record", page === "record" && !$("sitting").hidden);
  document.body.classList.toggle("at-stand", ["seal", "tune"].includes(page) && !$(`${page}-stand`).hidden);
  return page;
}

async function show() {
  const page = turn();
  $("said").replaceChildren();
  window.scrollTo(0, 0);
  await showPart();
  await showMore(page);
}

/** What a page shows beside its part. */
async function showMore(page) {
  if (["record", "seal", "tune"].includes(page)) await loadInputs();
  if (page === "plan") await loadPlan();
}

/** How the element with the focus is found again after its part was made anew: itself, or what stands in its place. */
function focusIn(part) {
  const focused = document.activeElement;
  if (!part.contains(focused) || focused === part) return null;
  const all = [...part.querySelectorAll("a[href], button, input, select, summary, [tabindex]")];
  return { name: focused.getAttribute("aria-label"), text: focused.textContent, at: all.indexOf(focused) };
}

function focusAgain(part, was) {
  const all = [...part.querySelectorAll("a[href], button, input, select, summary, [tabindex]")];
  const same = all.find((one) => was.name ? one.getAttribute("aria-label") === was.name : one.textContent === was.text);
  (same || all[Math.min(was.at, all.length - 1)] || $("content")).focus({ preventScroll: true });
}

/** Fetch what the open page shows; the focus stays where it was. */
async function showPart() {
  const [page, plate] = where();
  const part = document.querySelector(`#page-${page} .part`);
  if (!part || !state?.job?.folder) return;
  const was = focusIn(part);
  part.setAttribute("aria-busy", "true");
  try {
    const html = await ask(`part/${part.dataset.part}?pass=${encodeURIComponent(chosenPass())}`);
    // The program escapes every text of the job in it.
    part.innerHTML = html;
    dressDrawings(part);
    if (was) focusAgain(part, was);
    if (plate && part.dataset.shown !== plate) {
      part.dataset.shown = plate;
      const row = document.getElementById(plate);
      row?.scrollIntoView({ block: "center" });
      row?.classList.add("chosen");
    }
  } catch (error) {
    failed(error);
  }
  part.removeAttribute("aria-busy");
}

async function loadInputs() {
  try {
    const list = await ask("inputs");
    for (const select of document.querySelectorAll("select[name=input]")) options(select, [["", "the system's own choice"], ...list.map((input) => [input.id, input.name])]);
  } catch (error) {
    failed(error);
  }
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  event.preventDefault();
  const what = form.dataset.do;
  if (!what) return;
  const body = Object.fromEntries(new FormData(form));
  if ("count" in body) body.count = Number(body.count);
  if (what === "record") body.window = windowName;
  const button = form.querySelector("button:not([type])");
  const focused = document.activeElement;
  button.disabled = true;
  if (what === "demo") say({ said: "The demo job is being made; that takes some seconds." });
  const isDone = await act(what, body);
  button.disabled = false;
  if (form.contains(focused)) focused.focus();
  if (!isDone) return;
  if (what === "mark" || what === "count") {
    form.reset();
    form.querySelector("input")?.focus();
  }
  // The next recording asks for all that is due again.
  if (what === "record") $("record-places").value = "";
  if (what === "new" || what === "demo") await goTo(what === "new" ? "#plan" : "#home");
  if (what === "close") ended();
});

async function goTo(hash) {
  for (const field of ["record-pass", "files-pass", "seal-pass", "record-places", "seal-valve", "tune-places"]) $(field).value = "";
  await refresh();
  if (location.hash === hash) await show();
  else location.hash = hash;
}

/** The program was ended from here: say so, once, and take away what leads nowhere. */
function ended() {
  document.body.classList.add("ended");
  $("lost").hidden = true;
  for (const part of document.querySelectorAll("main > section, nav, #strip, #pass-choice")) part.hidden = true;
}

/** This window, so that others can be told which one began to record. */
export const windowName = sessionStorage.getItem("window") || Math.random().toString(36).slice(2, 8);
sessionStorage.setItem("window", windowName);

$("photo-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const file = form.elements.photo.files[0];
  if (!file) return;
  const asked = new URLSearchParams({ places: form.elements.places.value, name: file.name });
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    if (/\.hei[cf]$/i.test(file.name) || /hei[cf]/.test(file.type)) throw { error: `${file.name} is a HEIC photo, which most browsers cannot show`, next: "set the telephone's camera to JPEG (often called `most compatible`), or save the photo as JPEG and choose that" };
    if (file.size > MOST_PHOTO) throw { error: `the photo has ${(file.size / 2 ** 20).toFixed(0)} MB, and 24 MB are taken`, next: "save it smaller" };
    const answer = await fetch(`do/photo?${asked}`, { method: "POST", headers: { "Content-Type": file.type }, body: file });
    const told = await answer.json().catch(() => ({ error: "only JPEG, PNG and WebP are taken", next: "save it as one of these" }));
    if (!answer.ok) throw told;
    say(told);
    form.reset();
  } catch (error) {
    failed(error);
  }
  button.disabled = false;
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { sound, unmark, place, order, tick, work, record, again, plate, print: page, open, pick } = button.dataset;
  if (sound) {
    $("player").hidden = false;
    $("player-words").textContent = button.getAttribute("aria-label").replace("Hear ", "");
    $("audio").src = `sound/${sound.split("/").map(encodeURIComponent).join("/")}`;
    $("audio").play().catch(() => {});
  } else if (page) print(page);
  else if (tick) await act("mark", { places: tick, work });
  else if (record) recordAgain(plate, again);
  else if (unmark) await act("unmark", { n: Number(unmark) });
  else if (button.dataset.uncorrect) await act("uncorrect", { n: Number(button.dataset.uncorrect), of: button.dataset.of });
  else if (order) await act(order);
  else if (pick) openPicker(pick);
  else if (open) {
    if (await act("open", { folder: open })) await goTo("#home");
  } else if (place) {
    $("mark-places").value = place;
    location.hash = "#notes";
  }
});

/** Record a plate once more: in the pass that runs, or in a new one where this plate has its takes already. */
function recordAgain(plate, pass) {
  $("record-places").value = plate;
  $("record-pass").value = pass;
  location.hash = "#record";
}

window.addEventListener("hashchange", show);
document.addEventListener("sitting", () => turn());
$("pass").addEventListener("change", () => {
  sessionStorage.setItem(kept(), JSON.stringify([chosenPass(), state?.job?.passes?.length]));
  showPart();
});
await refresh();
await showMore(turn());
follow(refresh);
