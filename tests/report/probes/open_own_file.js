// Hand the page a file as a user would; is there a player for it, and what does it play?
(() => {
  const input = document.querySelector("input[type=file]");
  const audio = document.querySelector("#whole");
  const before = audio.hidden;
  const chosen = new DataTransfer();
  chosen.items.add(new File(["not really sound"], "own.wav", { type: "audio/wav" }));
  input.files = chosen.files;
  input.dispatchEvent(new Event("change"));
  return [before, audio.hidden, audio.src.slice(0, 5)];
})()
