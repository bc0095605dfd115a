"use strict";
(() => {
  // Without this script the answers still open; with it, choices are checked and counted.
  const score = document.querySelector(".score");
  const questions = [...document.querySelectorAll(".question")];
  const done = new Map();
  const count = () => {
    const right = [...done.values()].filter(Boolean).length;
    if (done.size) score.textContent = right + " of " + done.size + " answered right, " + (questions.length - done.size) + " to go.";
  };
  const pauseOthers = (playing) => {
    for (const audio of document.querySelectorAll("audio")) if (audio !== playing) audio.pause();
  };
  for (const audio of document.querySelectorAll("audio")) {
    audio.addEventListener("play", () => pauseOthers(audio));
  }
  for (const question of questions) {
    const check = question.querySelector(".act");
    const told = question.querySelector(".told");
    const reveal = question.querySelector("details");
    check.hidden = false;
    check.addEventListener("click", () => {
      const chosen = question.querySelector("input:checked");
      if (!chosen) {
        told.textContent = "Choose an answer first.";
        return;
      }
      const right = chosen.value === question.dataset.answer;
      told.textContent = right ? "Right. The proof is below." : "Not so. Listen again with the proof below.";
      if (!done.has(question)) done.set(question, right);
      reveal.open = true;
      count();
    });
    // Once the answer has been looked at, a choice no longer counts.
    reveal.addEventListener("toggle", () => {
      if (reveal.open && !done.has(question)) {
        done.set(question, false);
        told.textContent = "Revealed before a choice was made.";
        count();
      }
    });
  }
  score.hidden = false;
  score.textContent = questions.length + (questions.length === 1 ? " question." : " questions.");
  count();
})();
