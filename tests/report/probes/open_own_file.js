// Hand the page a file as a user would; is there a player for it, and does it keep the page's time?
(async () => {
  const rate = 8000;
  const seconds = 2;
  const bytes = new DataView(new ArrayBuffer(44 + rate * seconds));
  const put = (at, text) => [...text].forEach((c, k) => bytes.setUint8(at + k, c.charCodeAt(0)));
  put(0, "RIFF");
  bytes.setUint32(4, 36 + rate * seconds, true);
  put(8, "WAVEfmt ");
  [[16, 16], [24, rate], [28, rate], [40, rate * seconds]].forEach(([at, v]) => bytes.setUint32(at, v, true));
  [[20, 1], [22, 1], [32, 1], [34, 8]].forEach(([at, v]) => bytes.setUint16(at, v, true));
  put(36, "data");
  const input = document.querySelector("input[type=file]");
  const audio = document.querySelector("audio");
  const before = audio.hidden;
  const chosen = new DataTransfer();
  chosen.items.add(new File([bytes], "own.wav", { type: "audio/wav" }));
  input.files = chosen.files;
  const loaded = new Promise((go) => audio.addEventListener("loadedmetadata", go));
  input.dispatchEvent(new Event("change"));
  await loaded;
  return [before, audio.hidden, audio.src.slice(0, 5), audio.duration];
})()
