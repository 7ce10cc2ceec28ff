// The microphone tried before a pass is opened: what comes in, and how to play so that it can be read.
import { $, act } from "./bench.js";

const button = $("try-input");
const box = $("trial");
let isOn = false;

button.addEventListener("click", async () => {
  if (isOn) await act("stop-trial");
  else await act("trial", { input: $("inputs").value });
});

document.addEventListener("trial", ({ detail }) => {
  isOn = Boolean(detail);
  box.hidden = !detail;
  const words = isOn ? "End the trial" : "Try the microphone";
  if (button.textContent !== words) button.textContent = words;
  if (!detail) return;
  const part = (db) => `${Math.max(0, Math.min(100, (100 * (db + 80)) / 80))}%`;
  box.querySelector(".bar").style.width = part(detail.level_db);
  box.querySelector(".room").style.left = detail.floor_db === null ? "-1rem" : part(detail.floor_db);
  box.querySelector(".words").textContent = `${detail.input}: ${Math.round(detail.level_db)} dBFS${detail.floor_db === null ? "" : `, room ${Math.round(detail.floor_db)}`}`.replaceAll("-", "−");
  const advice = box.querySelector(".advice");
  if (advice.textContent !== detail.advice) advice.textContent = detail.advice;
});

