"use strict";
(() => {
  const form = document.querySelector(".filter");
  const search = form.querySelector("input[type=search]");
  const boxes = [...form.querySelectorAll("input[type=checkbox]")];
  const shown = form.querySelector(".shown");
  const rows = [...document.querySelectorAll(".rows > li:not(.none)")];
  // The words of ten thousand rows are gathered when they are first searched, not before.
  const text = new Map();
  const wordsOf = (row) => {
    if (!text.has(row)) text.set(row, row.textContent.toLowerCase());
    return text.get(row);
  };
  const apply = () => {
    const wanted = new Set(boxes.filter((box) => box.checked).map((box) => box.value));
    const parts = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    for (const row of rows) {
      const fits = wanted.has(row.classList[0]) && parts.every((part) => wordsOf(row).includes(part));
      if (row.hidden === fits) row.hidden = !fits;
      count += fits;
    }
    shown.textContent = `${count} of ${rows.length} shown`;
  };
  let waiting = 0;
  search.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(apply, 120);
  });
  for (const box of boxes) box.addEventListener("change", apply);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  document.querySelector(".plain").hidden = true;
  apply();
})();
