// The program ended, or was started again: say so, and find it.
import { $ } from "./bench.js";

const own = location.pathname;

/** This page reached its program: whoever still shows an older address at this port may follow it here. */
export function arrived() {
  try {
    localStorage.setItem("address", own);
  } catch {
    // Without storage the page says where to look instead.
  }
}

// The port is kept for the job; a newer page at it belongs to a newer run of the program.
window.addEventListener("storage", (event) => {
  if (event.key !== "address" || !event.newValue || event.newValue === own) return;
  if (/^\/[0-9a-f]{32}\/$/.test(event.newValue) && !$("lost").hidden) location.replace(event.newValue + location.hash);
});

/** The stream broke off: gone, or another run of the program at the same port. */
export async function lost() {
  const box = $("lost");
  if (document.body.classList.contains("ended")) return;
  let words = "The program does not answer: it may have ended. What was recorded is stored. Start Platenote again, from its icon or with the command `platenote bench`; this page then finds it by itself, or a new one opens.";
  try {
    const answer = await fetch("state");
    if (answer.ok) return;
    if (answer.status === 404) {
      const newest = localStorage.getItem("address");
      if (newest && newest !== own) {
        const there = await fetch(`${newest}state`).catch(() => null);
        if (there?.ok) {
          location.replace(newest + location.hash);
          return;
        }
      }
      words = "Platenote was started again and has a new address. Go on in the page that it opened, or open the address in the terminal; this page then follows by itself.";
    }
  } catch {
    // It does not answer at all.
  }
  // It may have come back while it was asked for.
  if (!document.body.classList.contains("cut-off")) return;
  if (box.textContent !== words) box.textContent = words;
  box.hidden = false;
}
