// The pages, their parts and their forms. All text comes from the program, and all state lies in the job's folder.
import { follow } from "./live.js";
import { loadPlan } from "./plan.js";

/** An element by its name. */
export function $(id) {
  return document.getElementById(id);
}

const MOST_PHOTO = 24 * 2 ** 20;

let state = null;

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
  const lines = isTrouble ? [told.error, `Next: ${told.next}.`] : [told.said, ...(told.more || [])];
  for (const line of lines.filter(Boolean)) {
    const p = document.createElement("p");
    p.textContent = line;
    box.append(p);
  }
}

const failed = (error) => say(error.error ? error : { error: "the program does not answer", next: "start it again if it has ended" }, true);

/** Do something and say what came of it; what wants a plain yes is asked first. */
export async function act(what, body = {}) {
  try {
    say(await ask(`do/${what}`, body));
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

async function refresh() {
  try {
    state = await ask("state");
  } catch (error) {
    failed(error);
    return;
  }
  const job = state.job;
  $("title").textContent = job?.title || (job ? "Job without a title" : "Platenote bench");
  document.title = job?.title ? `${job.title}: Platenote` : "Platenote bench";
  $("line").textContent = job?.error ? `${job.error}. Next: ${job.next}.` : job ? `${job.plates} ${job.plates === 1 ? "plate" : "plates"}, ${job.reeds} reeds` : "No job is open.";
  $("job-line").textContent = job?.folder ? `Open: ${job.folder}` : "Choose a job, or make one.";
  options($("templates"), state.templates.map((one) => [one.name, one.word]));
  options($("jobs"), state.jobs.map((name) => [name, name]));
  $("open-job").hidden = state.jobs.length === 0;
  const passes = job?.passes || [];
  const known = $("pass").options.length;
  options($("pass"), passes.map((pass) => [pass.name, pass.name]), known === passes.length ? undefined : passes.at(-1)?.name);
  $("pass-choice").hidden = passes.length === 0;
  if (!$("record-pass").value) $("record-pass").value = passes.at(-1)?.name || "before";
  $("report-pages").replaceChildren(...(job?.pages || []).map(reportLine));
  $("report-hint").hidden = !job?.pages?.length;
  turn();
  await showPart();
}

/** A page of the report, to be opened in a window of its own or printed from here. */
function reportLine(name) {
  const title = name === "report.html" ? "Report" : "Hand-over sheet";
  const link = document.createElement("a");
  Object.assign(link, { href: `report/${name}`, target: "_blank", rel: "noopener", textContent: title });
  const print = document.createElement("button");
  Object.assign(print, { type: "button", textContent: "Print" });
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

const NAMES = ["job", "record", "block", "takes", "notes", "tray", "work", "plan", "report"];

/** `#block` is a page; `#plate-bass-A7` is a plate on the page of takes. */
function where() {
  const hash = decodeURIComponent(location.hash.slice(1));
  if (hash.startsWith("plate-")) return ["takes", hash];
  return [NAMES.includes(hash) ? hash : state?.job?.folder ? "block" : "job", null];
}

/** Turn to the page that the address names. */
function turn() {
  const [page] = where();
  for (const name of NAMES) $(`page-${name}`).hidden = name !== page;
  for (const link of document.querySelectorAll("#pages a")) {
    if (link.hash === `#${page}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  return page;
}

async function show() {
  const page = turn();
  $("said").replaceChildren();
  await showPart();
  await showMore(page);
}

/** What a page shows beside its part. */
async function showMore(page) {
  if (page === "record") await loadInputs();
  if (page === "plan") await loadPlan();
}

/** Fetch what the open page shows; the element with the focus keeps it. */
async function showPart() {
  const [page, plate] = where();
  const part = document.querySelector(`#page-${page} .part`);
  if (!part || !state?.job?.folder) {
    if (part) part.textContent = "No job is open.";
    return;
  }
  const focused = part.contains(document.activeElement) ? document.activeElement.getAttribute("aria-label") : null;
  part.setAttribute("aria-busy", "true");
  try {
    const html = await ask(`part/${part.dataset.part}?pass=${encodeURIComponent(chosenPass())}`);
    // The program escapes every text of the job in it.
    part.innerHTML = html;
    if (focused) part.querySelector(`[aria-label="${CSS.escape(focused)}"]`)?.focus();
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
    options($("inputs"), [["", "the system's own choice"], ...list.map((input) => [input.id, input.name])]);
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
  const button = form.querySelector("button");
  button.disabled = true;
  const isDone = await act(what, body);
  button.disabled = false;
  if (!isDone) return;
  if (what === "mark" || what === "count") form.reset();
  if (what === "new" || what === "open") {
    $("record-pass").value = "";
    await refresh();
    location.hash = what === "new" ? "#plan" : "#block";
  }
});

$("photo-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const file = form.elements.photo.files[0];
  if (!file) return;
  const asked = new URLSearchParams({ places: form.elements.places.value, name: file.name });
  const button = form.querySelector("button");
  button.disabled = true;
  try {
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
  const { sound, unmark, place, order, tick, work, record, plate, print: page } = button.dataset;
  if (sound) {
    $("player").hidden = false;
    $("player-words").textContent = button.getAttribute("aria-label").replace("Hear ", "");
    $("audio").src = `sound/${sound.split("/").map(encodeURIComponent).join("/")}`;
    $("audio").play().catch(() => {});
  } else if (page) print(page);
  else if (tick) await act("mark", { places: tick, work });
  else if (record) {
    $("record-places").value = plate;
    location.hash = "#record";
  } else if (unmark) await act("unmark", { n: Number(unmark) });
  else if (order) await act(order);
  else if (place) {
    $("mark-places").value = place;
    location.hash = "#notes";
  }
});

// Single keys while takes are recorded, never while something is typed.
document.addEventListener("keydown", (event) => {
  const isTyping = event.target.closest("input, select, textarea");
  if (isTyping || event.ctrlKey || event.metaKey || event.altKey || $("sitting").hidden || where()[0] !== "record") return;
  const order = { a: "again", s: "skip", b: "back", t: "there", h: "here", q: "stop" }[event.key.toLowerCase()];
  if (order) act(order);
});

window.addEventListener("hashchange", show);
$("pass").addEventListener("change", showPart);
await refresh();
await showMore(turn());
follow(refresh);
