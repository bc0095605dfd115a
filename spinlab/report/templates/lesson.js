"use strict";
(() => {
  // Without this script the answers still open; with it, choices are checked and counted.
  const words = JSON.parse(document.getElementById("lesson-words").textContent);
  const score = document.querySelector(".score");
  const questions = [...document.querySelectorAll(".question")];
  const done = new Map();
  const count = () => {
    const right = [...done.values()].filter(Boolean).length;
    const numbers = { right, done: done.size, left: questions.length - done.size };
    if (done.size) score.textContent = words.score.replace(/\{(\w+)\}/g, (_, name) => numbers[name]);
  };
  for (const question of questions) {
    const check = question.querySelector(".act");
    const told = question.querySelector(".told");
    const reveal = question.querySelector("details");
    check.hidden = false;
    check.addEventListener("click", () => {
      const chosen = question.querySelector("input:checked");
      if (!chosen) {
        told.textContent = words.choose;
        return;
      }
      const right = chosen.value === question.dataset.answer;
      told.textContent = right ? words.right : words.wrong;
      if (!done.has(question)) done.set(question, right);
      reveal.open = true;
      count();
    });
    // Once the answer has been looked at, a choice no longer counts.
    reveal.addEventListener("toggle", () => {
      if (reveal.open && !done.has(question)) {
        done.set(question, false);
        told.textContent = words.revealed;
        count();
      }
    });
  }
  score.hidden = false;
  score.textContent = words.start;
  count();
})();
