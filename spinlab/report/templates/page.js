"use strict";
(() => {
  const data = JSON.parse(document.getElementById("cursor-data").textContent);
  const track = document.querySelector(".track");
  const hair = document.querySelector(".hair");
  const readout = document.querySelector(".readout");
  const audio = document.querySelector("#whole");
  const clips = [...document.querySelectorAll(".clip audio")];
  const picker = document.querySelector("input[type=file]");
  const rate = document.querySelector(".rate");
  const narrow = window.matchMedia("(max-width: 640px)");
  let soundStart = data.sound_start_s;
  let now = data.start_s;

  const clock = (seconds) => {
    const whole = Math.floor(Math.abs(seconds));
    const part = (value) => String(value).padStart(2, "0");
    const hours = Math.floor(whole / 3600);
    const minutes = Math.floor(whole / 60) % 60;
    return (seconds < 0 ? "−" : "") + (hours ? hours + ":" + part(minutes) : minutes) + ":" + part(whole % 60);
  };

  const number = (value) => value.toFixed(1).replace(".", data.decimal_mark);

  const nearest = (time) => {
    let low = 0;
    let high = data.time_s.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (data.time_s[middle] < time) low = middle + 1;
      else high = middle;
    }
    return low > 0 && time - data.time_s[low - 1] < data.time_s[low] - time ? low - 1 : low;
  };

  const describe = (time) => {
    const frame = nearest(time);
    const speed = data.speed_rpm[frame];
    const spread = data.standard_uncertainty_rpm[frame];
    if (speed === undefined || speed === null) return clock(time) + " · " + data.unknown;
    const half = spread === null ? "" : " ± " + number(data.coverage * spread);
    return clock(time) + " · " + number(speed) + (speed > 0 ? half : "") + " " + data.unit + " · " + data.motions[data.motion[frame]];
  };

  const show = (time) => {
    hair.hidden = false;
    now = Math.min(data.end_s, Math.max(data.start_s, time));
    const [left, right] = data.spans[narrow.matches ? "narrow" : "wide"];
    const share = (now - data.start_s) / (data.end_s - data.start_s || 1);
    hair.style.left = 100 * (left + share * (right - left)) + "%";
    const words = describe(now);
    readout.textContent = words;
    track.setAttribute("aria-valuenow", now.toFixed(1));
    track.setAttribute("aria-valuetext", words);
  };

  const ready = () => audio && !audio.hidden;
  const seek = (time, play) => {
    show(time);
    if (!ready()) return;
    audio.currentTime = Math.max(0, now - soundStart);
    if (play) audio.play().catch(() => {});
  };

  const timeAt = (event) => {
    const box = track.getBoundingClientRect();
    const [left, right] = data.spans[narrow.matches ? "narrow" : "wide"];
    const share = ((event.clientX - box.left) / box.width - left) / (right - left);
    return data.start_s + share * (data.end_s - data.start_s);
  };

  track.hidden = false;
  readout.hidden = false;
  track.addEventListener("click", (event) => seek(timeAt(event), true));
  track.addEventListener("pointermove", (event) => {
    if (event.pointerType === "mouse" && event.buttons === 0 && !(ready() && !audio.paused)) show(timeAt(event));
    else if (event.buttons === 1) seek(timeAt(event), false);
  });
  const span = data.end_s - data.start_s;
  const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10, Home: -span, End: span };
  track.addEventListener("keydown", (event) => {
    if (event.key in steps) {
      event.preventDefault();
      seek(now + steps[event.key], false);
    } else if ((event.key === " " || event.key === "Enter") && ready()) {
      event.preventDefault();
      if (audio.paused) audio.play().catch(() => {});
      else audio.pause();
    }
  });
  for (const button of document.querySelectorAll(".jump")) {
    button.addEventListener("click", () => {
      seek(Number(button.dataset.time), true);
      document.querySelector(".whole").scrollIntoView({ block: "center" });
    });
  }
  const levels = document.querySelector(".levels");
  levels.hidden = false;
  for (const button of levels.children) {
    button.addEventListener("click", () => {
      document.body.classList.toggle("short", button.dataset.level === "short");
      for (const other of levels.children) other.setAttribute("aria-pressed", String(other === button));
    });
  }
  const hint = readout.textContent;
  show(data.start_s);
  readout.textContent = hint;
  hair.hidden = true;
  narrow.addEventListener("change", () => { if (!hair.hidden) show(now); });

  // One sound at a time; the cursor follows whichever plays, at that clip's own pace.
  const fileTime = (player) => player === audio
    ? player.currentTime + soundStart
    : Number(player.dataset.start) + player.currentTime * Number(player.dataset.pace);
  for (const player of audio ? [audio, ...clips] : clips) {
    const follow = () => {
      show(fileTime(player));
      if (!player.paused) requestAnimationFrame(follow);
    };
    player.addEventListener("play", () => {
      for (const other of [audio, ...clips]) if (other && other !== player) other.pause();
      requestAnimationFrame(follow);
    });
  }
  if (!audio) return;
  // Only what a person seeks: some browsers seek to the start by themselves once a sound has loaded.
  audio.addEventListener("seeking", () => {
    if (audio.currentTime > 0 || !hair.hidden) show(audio.currentTime + soundStart);
  });
  if (rate) {
    rate.addEventListener("change", () => {
      // Slower and lower: a hum below hearing stays below, a squeal comes within reach.
      audio.preservesPitch = false;
      audio.playbackRate = Number(rate.value);
    });
  }
  if (picker) {
    picker.addEventListener("change", () => {
      if (!picker.files.length) return;
      soundStart = 0;
      audio.src = URL.createObjectURL(picker.files[0]);
      audio.hidden = false;
    });
  }
})();
