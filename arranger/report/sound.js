"use strict";
/* The sound of the page: plucked strings, computed here, started at the moments the page carries.
   A row of notes is [id, seconds, MIDI number, name, hand, bar index]. */
const sound = (() => {
  const RATE = 24000;   // samples a second of a string; the browser fits them to its own rate
  const AHEAD = 1.5;    // seconds of notes that are handed to the browser before they sound
  const PLUCKED = 0.38; // place of the finger on the string, of its length (assumption)
  const data = JSON.parse(document.getElementById("time")?.textContent || "{}");
  const strings = new Map();

  /* Seconds to fall by 60 dB: rule P2. */
  function ring(midi) {
    const [middle, hertz, exponent, longest] = data.ring;
    return Math.min(longest, middle * (hertz / pitch(midi)) ** exponent);
  }
  const pitch = (midi) => 440 * 2 ** ((midi - 69) / 12);

  /* A string's partials, each a decaying sine; the higher ones die sooner. */
  function pluck(midi) {
    if (strings.has(midi)) return strings.get(midi);
    const rings = ring(midi), samples = new Float32Array(Math.ceil(rings * RATE));
    for (let k = 1; k <= 14 && k * pitch(midi) < RATE * 0.45; k++) {
      const step = 2 * Math.PI * k * pitch(midi) / RATE;
      const sooner = 1 + 0.35 * (k - 1), last60 = Math.floor(samples.length / sooner);
      const decay = 10 ** (-3 * sooner / (rings * RATE));
      const size = Math.sin(k * Math.PI * PLUCKED) / k ** 1.7;
      let last = 0, now = size * Math.sin(step);
      const turn = 2 * Math.cos(step) * decay, fall = decay * decay;
      for (let n = 1; n < last60; n++) {
        samples[n] += now;
        [last, now] = [now, turn * now - fall * last];
      }
    }
    for (let n = 0; n < 60; n++) samples[n] *= n / 60; // the finger lets go in 2.5 ms
    strings.set(midi, samples);
    return samples;
  }

  /* [id, seconds after the start of bar, MIDI number, string] of all notes from a bar on. */
  function schedule(version, bar, pace = 1) {
    const begin = data.bars[bar - 1][1];
    return data[version].filter((row) => row[5] >= bar).map((row) => [
      row[0], Math.max(row[1] - begin, 0) / pace, row[2],
      version === "draft" ? row[3].replace(/[#b]+/, "") : String(row[2])]);
  }

  function stage(context) {
    const out = context.createGain(), soft = context.createWaveShaper();
    out.gain.value = 0.12;
    soft.curve = Float32Array.from({ length: 513 }, (_, i) => Math.tanh((i - 256) / 128));
    out.connect(soft).connect(context.destination);
    return { context, out, ringing: new Map() };
  }

  /* Start one note; the same string, if it still rings, is stopped by the finger that takes it. */
  function start(on, [, , midi, string], when) {
    const { context, out, ringing } = on;
    const samples = pluck(midi), buffer = context.createBuffer(1, samples.length, RATE);
    buffer.copyToChannel(samples, 0);
    const note = context.createBufferSource(), level = context.createGain();
    note.buffer = buffer;
    note.connect(level).connect(out);
    const before = ringing.get(string);
    if (before) {
      before.gain.setValueAtTime(1, when);
      before.gain.linearRampToValueAtTime(0, when + 0.01);
    }
    ringing.set(string, level);
    note.onended = () => { level.disconnect(); if (ringing.get(string) === level) ringing.delete(string); };
    note.start(when);
  }

  let context, playing = null;
  function stop() {
    if (!playing) return;
    clearInterval(playing.timer);
    cancelAnimationFrame(playing.frame);
    const { out } = playing.on, ended = playing.ended;
    out.gain.setTargetAtTime(0, context.currentTime, 0.05);
    setTimeout(() => out.disconnect(), 400);
    playing = null;
    ended();
  }

  /* Play from a bar; `at` is told the rows that begin to sound, `ended` that it is over. */
  function play(version, bar, pace, at, ended) {
    stop();
    context ??= new AudioContext();
    context.resume();
    const rows = schedule(version, bar, pace), on = stage(context);
    for (const row of rows) if (row[1] < AHEAD) pluck(row[2]); // before the clock is read
    const begin = context.currentTime + 0.15, begun = data.bars[bar - 1][1];
    const run = playing = { version, bar, on, begin, ended, log: [], timer: 0, frame: 0 };
    let next = 0, seen = 0;
    const feed = () => {
      while (next < rows.length && begin + rows[next][1] < context.currentTime + AHEAD) {
        const when = begin + rows[next][1];
        run.log.push([rows[next][0], when - begin]);
        start(on, rows[next], when);
        next++;
      }
    };
    const follow = () => {
      const now = context.currentTime - begin;
      const fresh = [];
      while (seen < rows.length && rows[seen][1] <= now) fresh.push(rows[seen++][0]);
      if (now >= 0) at(fresh, begun + now * pace);
      if (now * pace > data.end - begun + 1) stop();
      else if (playing === run) run.frame = requestAnimationFrame(follow);
    };
    feed();
    run.timer = setInterval(() => {
      feed();
      if (document.hidden && (context.currentTime - begin) * pace > data.end - begun + 1) stop();
    }, 250);
    run.frame = requestAnimationFrame(follow);
  }

  /* The same graph, computed at once: [samples of the first seconds], for listening by machine. */
  async function render(version, bar, seconds, pace = 1, rate = 44100) {
    const offline = new OfflineAudioContext(1, Math.ceil(seconds * rate), rate), on = stage(offline);
    for (const row of schedule(version, bar, pace)) if (row[1] < seconds) start(on, row, row[1]);
    return (await offline.startRendering()).getChannelData(0);
  }

  return { data, ring, schedule, play, stop, render, get playing() { return playing; } };
})();
