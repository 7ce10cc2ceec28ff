// Calls for whoever has no eye for the screen: spoken where the browser can, as tones where not.
import { $, ask } from "./bench.js";

const speech = window.speechSynthesis;
let context = null;

const voices = () => speech?.getVoices?.() || [];
const mode = () => (localStorage.getItem("calls") === "speech" && !voices().length ? "tones" : localStorage.getItem("calls") || "");

/** Pitches in Hz of 0.1 s each: rising is good, the same twice is once more, one long low one is stop. */
const TONES = { accepted: [880, 1320], again: [440, 440], stop: [660, 660, 660], next: [] };

/** Say `text`, or sound what stands for it; the program does not listen meanwhile. */
export function call(text, tone) {
  $("spoken").textContent = text;
  if (mode() === "speech") {
    speech.cancel();
    const said = new SpeechSynthesisUtterance(text);
    Object.assign(said, { lang: "en", rate: 1.1 });
    said.onstart = () => hush(true);
    said.onend = said.onerror = () => hush(false);
    speech.speak(said);
  } else if (mode() === "tones" && TONES[tone]?.length) sound(TONES[tone]);
}

function sound(pitches) {
  context ||= new AudioContext();
  hush(true);
  pitches.forEach((hz, k) => {
    const [tone, gain] = [context.createOscillator(), context.createGain()];
    tone.frequency.value = hz;
    gain.gain.value = 0.2;
    tone.connect(gain).connect(context.destination);
    tone.start(context.currentTime + 0.14 * k);
    tone.stop(context.currentTime + 0.14 * k + 0.1);
  });
  setTimeout(() => hush(false), 140 * pitches.length + 60);
}

function hush(on) {
  ask("do/hush", { on }).catch(() => {});
}

/** `−3.2`, as it is said. */
export function saidCents(text) {
  return text.replace(/^[−-]/, "minus ").replace(/^\+/, "plus ").replace(".", " point ");
}

const chosen = $("calls");
chosen.value = localStorage.getItem("calls") || "";
chosen.addEventListener("change", () => {
  localStorage.setItem("calls", chosen.value);
  call(chosen.value === "speech" && !voices().length ? "This browser has no voice; tones are used" : "Calls are on", "accepted");
});
