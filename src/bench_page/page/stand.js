// A valve that is tested, a reed that is tuned: what is due, what is heard, what to do now. The layout never moves.
import { $, act, element, say, where } from "./bench.js";
import { call, saidCents } from "./voice.js";

const SCREENS = { seal: $("seal-stand"), tune: $("tune-stand") };
const FORMS = { seal: $("seal-begin"), tune: $("tune-begin") };
let shown = "";
let heard = null;
let newest = 0;

const number = (value, places = 1) => {
  const text = Math.abs(value).toFixed(places);
  return Number(text) === 0 ? text : `${value < 0 ? "−" : "+"}${text}`;
};

function put(box, text) {
  if (!box || box.textContent === text) return;
  box.textContent = text;
  if (box.matches(".place, .call, .big")) fit(box);
}

/** Large words are made as much smaller as it takes to stay in their line. */
function fit(box) {
  box.style.setProperty("--fit", 1);
  const k = box.clientWidth / box.scrollWidth;
  if (k < 1) box.style.setProperty("--fit", Math.max(0.25, k * 0.98));
}
window.addEventListener("resize", () => {
  for (const box of document.querySelectorAll(".stand .place, .stand .call, .stand .big")) fit(box);
});

document.addEventListener("stand", ({ detail: { kind, stands } }) => {
  newest = performance.now();
  const isNew = kind !== shown;
  shown = kind;
  for (const [name, screen] of Object.entries(SCREENS)) {
    screen.hidden = name !== kind;
    FORMS[name].hidden = Boolean(kind) && kind !== "trial";
  }
  if (!(kind in SCREENS)) {
    heard = null;
    return;
  }
  const screen = SCREENS[kind];
  (kind === "tune" ? tune : seal)(screen, stands);
  level(screen, stands);
  words(screen, stands);
  if (isNew) for (const box of screen.querySelectorAll(".place, .call, .big")) fit(box);
});

// A value that no longer comes is never shown as if it were live.
setInterval(() => {
  const screen = SCREENS[shown];
  if (!screen || performance.now() - newest < 2500) return;
  screen.dataset.call = "lost";
  put(screen.querySelector(".call"), "wait");
  put(screen.querySelector(".reason"), "Nothing has come from the program for some seconds. What was played is stored.");
  put(screen.querySelector(".level-words"), "–");
  screen.querySelector(".bar").style.width = "0";
  for (const interval of screen.querySelectorAll(".interval")) interval.classList.add("was");
}, 500);

const part = (db) => `${Math.max(0, Math.min(100, (100 * (db + 80)) / 80))}%`;

function level(screen, stands) {
  screen.querySelector(".bar").style.width = part(stands.level_db);
  screen.querySelector(".room").style.left = stands.floor_db === null ? "-1rem" : part(stands.floor_db);
  screen.querySelector(".clip").classList.toggle("lit", stands.clipped);
  put(screen.querySelector(".level-words"), `${number(stands.level_db, 0)} dBFS${stands.floor_db === null ? "" : `, room ${number(stands.floor_db, 0)}`}${stands.clipped ? ", clipped: play softer or turn the input down" : ""}`);
}

/** What was said last; it is spoken when it is new, not when the page was opened after it. */
function words(screen, stands) {
  const { n, lines } = stands.said;
  if (heard === n) return;
  const isNews = heard !== null;
  heard = n;
  screen.querySelector(".words").replaceChildren(...lines.map((line) => element("p", line)));
  if (isNews && lines.length) spoken(screen, stands);
}

function spoken(screen, stands) {
  const due = stands.due;
  if (stands.sealing) call(`Play ${stands.play}, ${stands.state}`, "accepted");
  else if (stands.advice) call(`${due.last ? `${saidCents(number(due.last.cents))} cents. ` : ""}${stands.advice.way}, ${stands.advice.strokes}`, "again");
  else if (due) call(due.last ? `${saidCents(number(due.last.cents))} cents` : `Next: ${due.short}`, "accepted");
}

const CALLS = { quiet: "be quiet", play: "play it", again: "play again", silent: "no sound", sounds: "it sounds" };

function tune(screen, stands) {
  const { due, advice, live } = stands;
  put(screen.querySelector(".of"), `tuning, ${stands.left} ${stands.left === 1 ? "reed" : "reeds"} left`);
  put(screen.querySelector(".place"), due ? due.short : "done");
  put(screen.querySelector(".note"), due ? `${due.note} · target ${due.target} · within ${due.tolerance.toFixed(1)} cents` : "");
  screen.dataset.call = stands.call;
  if (stands.call === "file") {
    put(screen.querySelector(".call"), `${advice.way === "raise" ? "▲" : "▼"} ${advice.way}: ${advice.n || "1 light"} at the ${advice.part}`);
    put(screen.querySelector(".reason"), `${advice.strokes}, then play. ${advice.why}`);
    if (document.activeElement !== $("filed-part")) $("filed-part").value = advice.part;
  } else if (stands.call === "waits") {
    put(screen.querySelector(".call"), `wait ${Math.round(stands.waits_s)} s`);
    put(screen.querySelector(".reason"), "The tongue is warm from the hand and settles: play it once more then, or now.");
  } else {
    put(screen.querySelector(".call"), CALLS[stands.call]);
    put(screen.querySelector(".reason"), { quiet: "the noise of the room is being learnt", silent: "the input is muted, turned down, or its plug is out", again: "hold it evenly for two seconds, then stop", play: "hold it evenly for two seconds, then stop" }[stands.call] || "");
  }
  // What lies so far off is another reed, or the room; it is no deviation of this one.
  const own = live && Math.abs(live.cents) <= 150 ? live : null;
  const now = own || due?.last;
  put($("tune-cents"), now ? `${number(now.cents)} ± ${now.uncertainty.toFixed(1)} cents` : "– cents");
  scale(screen, due, now, Boolean(own));
  const goes = (due?.history || []).slice(-8).map((play, k, all) => `${k > 0 && play.goes > all[k - 1].goes ? "✎ " : ""}${number(play.cents)}`);
  put($("tune-history"), goes.length ? `this sitting: ${goes.join("  ")}${due.filings.length ? `; filed ${due.filings.at(-1)}` : ""}` : "this sitting: nothing played yet");
}

/** Six tolerances to either side; flat to the left. The bar is the 95 % interval. */
function scale(screen, due, now, isLive) {
  const box = screen.querySelector(".scale-box");
  const reach = 6 * (due?.tolerance || 2);
  const at = (cents) => 50 + (50 * Math.max(-reach, Math.min(reach, cents))) / reach;
  const half = due ? (50 * due.tolerance) / reach : 0;
  Object.assign(box.querySelector(".band").style, { left: `${50 - half}%`, right: `${50 - half}%` });
  const interval = box.querySelector(".interval");
  interval.hidden = !now;
  interval.classList.toggle("was", !isLive);
  if (now) {
    const [from, to] = [at(now.cents - now.uncertainty), at(now.cents + now.uncertainty)];
    Object.assign(interval.style, { left: `min(${from}%, calc(100% - 10px))`, width: `${to - from}%` });
  }
  const figures = [-reach, -reach / 2, 0, reach / 2, reach].map((cents) => (cents ? number(cents, Number.isInteger(cents) ? 0 : 1) : "0"));
  const marks = box.querySelector(".marks");
  if (marks.dataset.of === figures.join()) return;
  marks.dataset.of = figures.join();
  marks.replaceChildren(...figures.map((text, k) => Object.assign(element("li", text), { style: `left: ${25 * k}%` })));
}

function seal(screen, stands) {
  const { finding, call: now } = stands;
  put(screen.querySelector(".of"), `sealing test, pass ${stands.pass}`);
  put(screen.querySelector(".place"), stands.short);
  put(screen.querySelector(".note"), `play ${stands.play}: ${stands.is_sealed ? "sealed" : "open"}`);
  screen.dataset.call = now === "play" && stands.is_sealed ? "sealed" : now;
  put(screen.querySelector(".call"), now === "play" ? (stands.is_sealed ? "seal it, play" : "open, play") : CALLS[now]);
  const how = stands.is_sealed ? stands.how.replace(/^(press|draw): /, "") : "nothing on the plate; the hand rests beside it as it will when it is sealed";
  put(screen.querySelector(".reason"), now === "silent" ? "the input is muted, turned down, or its plug is out" : now === "quiet" ? "the noise of the room is being learnt" : `${how}. Caution: ${stands.cautions.at(-1)}.`);
  const has = finding && finding.difference_db !== null;
  put($("seal-difference"), has ? `${number(finding.difference_db)}${finding.uncertainty_db === null ? "" : ` ± ${finding.uncertainty_db.toFixed(1)}`} dB` : "– dB");
  const pairs = finding ? (finding.pairs === 1 ? "after 1 pair" : `after ${finding.pairs} pairs`) : "";
  put($("seal-verdict"), finding ? `Sealed against open, ${pairs}: ${{ leaks: "it leaks", suspect: "suspect", tight: "tight", unclear: "not settled yet", refused: "cannot be compared" }[finding.verdict]}; ${finding.reason}${finding.next ? `; ${finding.next}` : ""}.` : "The difference shows after the first pair: open, sealed, open.");
  const list = stands.plays.map((play) => `${play.sealed ? "sealed" : "open"} ${number(play.level_db)}`);
  if ($("seal-plays").dataset.of !== list.join()) {
    $("seal-plays").dataset.of = list.join();
    $("seal-plays").replaceChildren(...list.slice(-6).map((text) => element("li", text, text.startsWith("sealed") ? "sealed" : "")));
  }
}

// What came of it, told once where it was played.
document.addEventListener("stood", ({ detail }) => {
  if (shown in SCREENS) say(detail, Boolean(detail.error));
});

$("filed").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  if (await act("filed", { part: form.elements.part.value, strokes: Number(form.elements.strokes.value) })) form.elements.strokes.value = "";
});

$("tune-by").value = localStorage.getItem("by") || "";
$("tune-by").addEventListener("change", () => localStorage.setItem("by", $("tune-by").value));

// Buttons that lead here from elsewhere bring their place along.
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-seal], [data-tune]");
  if (!button) return;
  const { seal: valve, tune: reed } = button.dataset;
  if (valve) $("seal-valve").value = valve;
  else $("tune-places").value = reed;
  location.hash = valve ? "#seal" : "#tune";
});

document.addEventListener("keydown", (event) => {
  const screen = SCREENS[shown];
  if (!screen || where()[0] !== shown || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, select, textarea, summary, a")) return;
  const key = [...screen.querySelectorAll(".keys button")].find((one) => one.dataset.key === event.key.toLowerCase());
  if (!key) return;
  event.preventDefault();
  act(key.dataset.order);
});
