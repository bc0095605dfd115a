// Click where 95 s lies in the picture; where sound, words and hair line then are.
(async () => {
  const slider = document.querySelector("[role=slider]");
  const audio = document.querySelector("#whole");
  if (audio.readyState < 1) {
    await new Promise((go) => audio.addEventListener("loadedmetadata", go));
  }
  const data = JSON.parse(document.getElementById("cursor-data").textContent);
  const [left, right] = data.spans[innerWidth <= 640 ? "narrow" : "wide"];
  const box = slider.getBoundingClientRect();
  const x = box.left + box.width * (left + ((right - left) * 95) / data.end_s);
  const click = { clientX: x, clientY: box.top + 5, bubbles: true };
  slider.dispatchEvent(new MouseEvent("click", click));
  const hair = document.querySelector(".hair").getBoundingClientRect();
  const words = slider.getAttribute("aria-valuetext");
  return [audio.currentTime, audio.duration, words, hair.left + hair.width / 2 - x];
})()
