// 2 x 10 s and 5 x 1 s forward by keyboard; what the slider then says.
(() => {
  const slider = document.querySelector("[role=slider]");
  const press = (key) => slider.dispatchEvent(new KeyboardEvent("keydown", { key }));
  for (let k = 0; k < 2; k++) press("PageUp");
  for (let k = 0; k < 5; k++) press("ArrowRight");
  return [slider.getAttribute("aria-valuenow"), slider.getAttribute("aria-valuetext")];
})()
