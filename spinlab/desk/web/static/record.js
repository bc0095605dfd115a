// Records in the browser, and sends a recording in parts that survive a broken connection.
"use strict";
const by = (id) => document.getElementById(id);
const form = by("form");
const csrf = document.querySelector('meta[name="csrf"]').content;
const RETRIES = 12;
let recorded = null;
let cancelled = null;

function say(sentence) {
  by("problem").textContent = sentence;
  by("problem").hidden = !sentence;
  if (sentence) by("problem").scrollIntoView({ block: "center" });
}

function clock(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function megabytes(bytes) {
  return `${(bytes / 1e6).toFixed(1)} MB`;
}

// ---- recording ----

// Whatever cleans speech up destroys evidence: the room's echo, steady noise and the level are
// what is to be measured.
const PLAIN_SOUND = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const FORMATS = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];

function offerRecorder() {
  if (navigator.mediaDevices && window.MediaRecorder) {
    by("recorder").hidden = false;
    by("start").addEventListener("click", start);
  } else {
    by("unable").textContent = "This browser cannot record here (it needs a secure connection). Record with the phone's own recorder and choose the file.";
    by("unable").hidden = false;
  }
}

async function start() {
  say("");
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ audio: PLAIN_SOUND });
  } catch {
    say("The microphone is not allowed or not there; allow it in the browser, or choose a file.");
    return;
  }
  const type = FORMATS.find((name) => MediaRecorder.isTypeSupported(name));
  const recorder = new MediaRecorder(stream, { ...(type ? { mimeType: type } : {}), audioBitsPerSecond: 256000 });
  const pieces = [];
  recorder.addEventListener("dataavailable", (event) => { if (event.data.size) pieces.push(event.data); });
  const began = performance.now();
  const awake = navigator.wakeLock ? navigator.wakeLock.request("screen").catch(() => null) : null;
  const unwatch = watchLevel(stream, () => { by("clock").textContent = clock((performance.now() - began) / 1000); });
  recorder.addEventListener("stop", async () => {
    unwatch();
    stream.getTracks().forEach((track) => track.stop());
    const lock = await awake;
    if (lock) lock.release();
    keep(new Blob(pieces, { type: recorder.mimeType }), (performance.now() - began) / 1000);
    showRecording(false);
  }, { once: true });
  by("stop").addEventListener("click", () => recorder.stop(), { once: true });
  // A piece a second: a phone that runs out of memory or power has lost little.
  recorder.start(1000);
  showRecording(true);
}

function showRecording(running) {
  by("start").hidden = running;
  by("stop").hidden = by("clock").hidden = by("level").hidden = !running;
  by("send").disabled = running;
  if (running) { by("stop").focus(); by("listen").hidden = true; by("heard").textContent = ""; }
}

function keep(blob, seconds) {
  const ending = /mp4/.test(blob.type) ? "m4a" : /ogg/.test(blob.type) ? "ogg" : "webm";
  recorded = new File([blob], `recording.${ending}`, { type: blob.type });
  by("file").value = "";
  by("listen").src = URL.createObjectURL(blob);
  by("listen").hidden = false;
  by("start").textContent = "Record again";
  by("heard").textContent = `${clock(seconds)} recorded, ${megabytes(blob.size)}.`;
}

function watchLevel(stream, tick) {
  const context = new AudioContext();
  const meter = context.createAnalyser();
  meter.fftSize = 2048;
  context.createMediaStreamSource(stream).connect(meter);
  const samples = new Float32Array(meter.fftSize);
  let loudest = 0;
  const timer = setInterval(() => {
    meter.getFloatTimeDomainData(samples);
    const peak = samples.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
    loudest = Math.max(loudest, peak);
    by("level").value = Math.sqrt(peak);
    by("heard").textContent = loudest > 0.98 ? "Too loud: the sound clips. Move the phone away a little." : "";
    tick();
  }, 200);
  return () => { clearInterval(timer); context.close(); };
}

// ---- sending ----

class Problem extends Error {}

function identifier() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const text = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return text.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// The same file chosen again goes on where it stopped, even after the page was closed.
function remembered(file) {
  // The name stays out of what the browser keeps.
  const key = `upload ${file.size} ${file.lastModified}`;
  let id = localStorage.getItem(key);
  if (!id) { id = identifier(); localStorage.setItem(key, id); }
  return { id, forget: () => localStorage.removeItem(key) };
}

async function ask(method, path, options = {}) {
  for (let attempt = 0; ; attempt += 1) {
    let answer = null;
    try {
      answer = await fetch(path, {
        method, ...options, signal: cancelled.signal,
        headers: { "X-CSRF-Token": csrf, ...options.headers },
      });
    } catch (error) {
      if (error.name === "AbortError") throw error;
    }
    if (answer && answer.status < 500 && ![423, 429].includes(answer.status)) return answer;
    if (attempt >= RETRIES) throw new Problem("The connection broke off. What was sent is kept: press Send again to go on.");
    by("sent").textContent = "No connection; trying again …";
    await new Promise((resolve) => setTimeout(resolve, Math.min(15000, 500 * 2 ** attempt)));
  }
}

async function sentence(answer) {
  try { return (await answer.json()).sentence; } catch { return "The desk refused this."; }
}

function asJson(value) {
  return { body: JSON.stringify(value), headers: { "Content-Type": "application/json" } };
}

async function send(file) {
  const { id, forget } = remembered(file);
  const path = `/api/uploads/${id}`;
  let answer = await ask("PUT", path, asJson({
    size_bytes: file.size, file_name: (file.name || "recording").slice(-255),
    profile: by("profile").value, reference: by("reference").value.trim(),
    readings: by("readings").value, consent: by("consent").checked,
  }));
  if (!answer.ok) { if (answer.status === 409) forget(); throw new Problem(await sentence(answer)); }
  let { offset_bytes: offset, part_bytes: part } = await answer.json();
  while (offset < file.size) {
    show(offset, file.size);
    answer = await ask("PATCH", path, {
      body: file.slice(offset, offset + part),
      headers: { "Upload-Offset": String(offset), "Content-Type": "application/octet-stream" },
    });
    if (answer.ok) offset = (await answer.json()).offset_bytes;
    else if (answer.headers.has("Upload-Offset")) offset = Number(answer.headers.get("Upload-Offset"));
    else throw new Problem(await sentence(answer));
  }
  show(offset, file.size);
  answer = await ask("POST", `${path}/finish`, asJson({}));
  if (!answer.ok) { forget(); throw new Problem(await sentence(answer)); }
  forget();
  location.assign(`/jobs/${(await answer.json()).job}`);
}

function show(offset, size) {
  by("progress").value = offset / size;
  by("sent").textContent = `${megabytes(offset)} of ${megabytes(size)} sent`;
}

function busy(running) {
  by("sending").hidden = !running;
  by("send").disabled = running;
  by("source").disabled = running;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const file = by("file").files[0] || recorded;
  if (!file) return say("Record the spin test first, or choose a file.");
  if (file.size > Number(form.dataset.most)) return say(`This file is larger than ${megabytes(Number(form.dataset.most))}; send a shorter one.`);
  say("");
  cancelled = new AbortController();
  busy(true);
  try {
    await send(file);
  } catch (error) {
    busy(false);
    if (error instanceof Problem) say(error.message);
    else if (error.name === "AbortError") say("Stopped. What was sent is kept for a while: press Send to go on.");
    else throw error;
  }
});
by("cancel").addEventListener("click", () => cancelled && cancelled.abort());
by("file").addEventListener("change", () => { recorded = null; by("listen").hidden = true; });
offerRecorder();
