// Looks now and then whether a job is done, and shows the page anew once its state has changed.
"use strict";
const waiting = document.getElementById("waiting");
async function look() {
  try {
    const answer = await fetch(`/api/jobs/${waiting.dataset.job}`, { headers: { Accept: "application/json" } });
    if (answer.status === 401) { location.assign("/sign-in"); return; }
    if (answer.ok && (await answer.json()).state !== waiting.dataset.state) { location.reload(); return; }
  } catch { /* no network for a moment */ }
  setTimeout(look, document.hidden ? 15000 : 3000);
}
setTimeout(look, 2000);
