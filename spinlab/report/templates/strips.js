"use strict";
(() => {
  // One sound at a time, and along each strip a cursor at what is heard.
  const sounds = [...document.querySelectorAll("audio")];
  for (const sound of sounds) {
    sound.addEventListener("play", () => {
      for (const other of sounds) if (other !== sound) other.pause();
    });
  }
  const words = JSON.parse(document.getElementById("strip-words").textContent);
  const clock = (seconds) => {
    const tenths = Math.round(10 * seconds);
    return Math.floor(tenths / 600) + ":" + String(Math.floor(tenths / 10) % 60).padStart(2, "0") + words.mark + (tenths % 10);
  };
  for (const strip of document.querySelectorAll(".strip")) {
    const sound = strip.querySelector("audio");
    const hand = strip.querySelector(".track");
    const hair = strip.querySelector(".hair");
    const at = strip.querySelector(".at");
    const length = Number(hand.getAttribute("aria-valuemax"));
    const show = () => {
      const time = Math.min(length, sound.currentTime);
      const told = words.at.replace("{time}", clock(Number(strip.dataset.start) + time * Number(strip.dataset.pace)));
      hair.style.left = 100 * time / (length || 1) + "%";
      hand.setAttribute("aria-valuenow", time.toFixed(2));
      hand.setAttribute("aria-valuetext", told);
      at.textContent = told;
    };
    const seek = (time) => {
      sound.currentTime = Math.min(length, Math.max(0, time));
      show();
    };
    const follow = () => {
      show();
      if (!sound.paused) requestAnimationFrame(follow);
    };
    hand.hidden = false;
    show();
    sound.addEventListener("play", () => requestAnimationFrame(follow));
    sound.addEventListener("seeking", show);
    hand.addEventListener("click", (event) => {
      const box = hand.getBoundingClientRect();
      seek(length * (event.clientX - box.left) / box.width);
      sound.play().catch(() => {});
    });
    const steps = { ArrowLeft: -0.25, ArrowDown: -0.25, ArrowRight: 0.25, ArrowUp: 0.25, Home: -length, End: length };
    hand.addEventListener("keydown", (event) => {
      if (event.key in steps) seek(sound.currentTime + steps[event.key]);
      else if (event.key === " " || event.key === "Enter") sound.paused ? sound.play().catch(() => {}) : sound.pause();
      else return;
      event.preventDefault();
    });
  }
})();
