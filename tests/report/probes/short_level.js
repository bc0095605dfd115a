// Choose the short level; is the expert's part shown, is the verdict, is the button pressed?
(() => {
  const button = document.querySelector("[data-level=short]");
  button.click();
  const shown = (name) => getComputedStyle(document.querySelector(name)).display !== "none";
  return [shown(".expert"), shown(".verdict"), button.ariaPressed];
})()
