"use strict";
// The workbench: asks, waits, and draws what the server has written. What it knows lies on the disk
// of the server, so that a reload or a restart changes nothing.
const find = (name) => document.getElementById(name);
const bench = document.querySelector("[data-work]");
const work = bench ? `/works/${bench.dataset.work}` : "";
const AWAY = "The program does not answer. Start arranger serve again; nothing is lost.";

function say(words, grave = false) {
  const said = find("said");
  if (!said || said.textContent === words) return;
  said.textContent = words;
  said.classList.toggle("grave", grave);
}

async function send(method, path, content, type) {
  let answer;
  try {
    answer = await fetch(path, { method, body: content, headers: type ? { "Content-Type": type } : {} });
  } catch {
    say(AWAY, true);
    return null;
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) say(told.why || "This could not be done. Load the page again.", true);
  return answer.ok ? told : null;
}
const ask = (path, told) => send("POST", path, JSON.stringify(told), "application/json");

async function lay(file) {
  if (!file) return;
  if (file.size > 32 * 2 ** 20) {
    say("This file is larger than 32 MB, and no score is. Give the score itself, without recordings.", true);
    return;
  }
  say(`Taking in ${file.name} …`);
  const told = await send("POST", `/works?name=${encodeURIComponent(file.name)}`, file, "application/octet-stream");
  if (told) location.href = `/works/${told.id}`;
}

// --- the first page
if (find("lay")) {
  const strings = find("lay");
  find("file").addEventListener("change", (event) => lay(event.target.files[0]));
  for (const name of ["dragenter", "dragover"]) document.addEventListener(name, (event) => {
    event.preventDefault();
    strings.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) strings.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    strings.classList.remove("over");
    if (event.dataTransfer.files.length > 1) say("Lay down one score at a time.", true);
    else lay(event.dataTransfer.files[0]);
  });
}

async function remove(button) {
  if (button.dataset.sure === undefined) {
    button.dataset.sure = "";
    button.textContent = "Remove for good";
    button.addEventListener("blur", () => {
      delete button.dataset.sure;
      button.textContent = "Remove";
    }, { once: true });
    return;
  }
  if (!await send("DELETE", `/works/${button.dataset.remove}`)) return;
  find("kept").innerHTML = await (await fetch("/shelf")).text();
  say("Removed.");
}

// --- the page of a work
let drawn = null, goal = 0, shownSheet = "";

function settings() {
  const { parts, harp, player, tempo, transpose, part_is_harp: as, chords } = find("ask").elements;
  const ticks = parts instanceof RadioNodeList ? [...parts] : [parts];
  return { parts: ticks.filter((t) => t.checked).map((t) => t.value), harp: harp.value,
    player: player.value, tempo: tempo.value.trim().replace(",", "."),
    transpose: transpose.value, part_is_harp: as.checked, chords: chords.checked };
}

async function begin(told) {
  if (await ask(`${work}/job`, told)) await look();
}

function sheet(state) {
  const kinds = Object.keys(state.sheets);
  if (!kinds.length) return;
  const latest = kinds.sort((a, b) => state.sheets[b] - state.sheets[a])[0];
  const name = `${work}/files/${latest}/report.html?${state.sheets[latest]}`;
  if (name === shownSheet) return;
  shownSheet = name;
  const frame = document.createElement("iframe");
  frame.title = latest === "check" ? "The part, checked" : "The harp draft and its report";
  frame.setAttribute("sandbox", "allow-scripts");
  frame.src = name + (goal ? `#bar-${goal}` : "");
  find("sheet").replaceChildren(frame);
}

function show(bar) {
  goal = bar;
  find("sheet").scrollIntoView({ block: "nearest" }); // on a telephone it lies below
  const frame = find("sheet").querySelector("iframe");
  if (frame) frame.contentWindow.location.replace(new URL(`${shownSheet}#bar-${bar}`, location.href));
}

async function redraw() {
  const answer = await fetch(`${work}/desk`, { headers: { Accept: "text/html" } });
  const form = find("ask"), held = form && settings(), bars = document.querySelector("[name=bars]")?.value;
  const open = find("asked")?.open, focus = document.activeElement?.dataset;
  const kept = focus && ["ask", "take", "leave"].map((k) => focus[k] && `[data-${k}="${CSS.escape(focus[k])}"]`).find(Boolean);
  find("desk").innerHTML = await answer.text();
  if (held && find("ask")) for (const field of find("ask").elements) {
    if (field.type === "checkbox" && field.name === "parts") field.checked = held.parts.includes(field.value);
    else if (field.type === "checkbox") field.checked = held[field.name];
    else if (field.name in held) field.value = held[field.name];
  }
  if (open && find("progress").classList.contains("going")) find("asked").open = true;
  const again = document.querySelector("[name=bars]");
  if (bars && again) again.value = bars;
  if (kept) (document.querySelector(kept) ?? find("undo"))?.focus();
}

async function look() {
  let state;
  try {
    const answer = await fetch(`${work}/state`);
    if (answer.status === 404) return location.reload();
    state = await answer.json();
    const mark = JSON.stringify([state.state, state.kind, state.sheets]);
    if (mark !== drawn) {
      sheet(state); // the score first: it is what one waits for
      if (drawn !== null || find("said").textContent !== state.said) await redraw();
      drawn = mark;
    }
  } catch {
    drawn = null;
    say(AWAY, true);
    return;
  }
  document.querySelector("h1").textContent = state.title;
  document.title = `${state.title}: harp`;
  say(state.said, state.state === "failed");
  if (find("stage")) find("stage").textContent = state.stage;
}

if (work) {
  const turn = async () => {
    await look();
    setTimeout(turn, document.querySelector("#progress.going") ? 100 : 1500);
  };
  turn();
}

document.addEventListener("click", async (event) => {
  const on = event.target.closest("button, a[data-bar]");
  if (!on) return;
  const { ask: kind, take, leave, demo, remove: gone, bar } = on.dataset;
  if (kind || take || leave || bar) event.preventDefault();
  if (demo) {
    const told = await ask("/demo", { name: demo });
    if (told) location.href = `/works/${told.id}`;
  } else if (gone) await remove(on);
  else if ("stop" in on.dataset) {
    if (await ask(`${work}/stop`, {})) await look();
  } else if (take) {
    goal = Number(bar);
    await begin({ kind: "take", take });
  } else if (leave) {
    goal = 0;
    await begin({ kind: "leave", leave });
  } else if (kind === "convert" || kind === "check") await begin({ kind, ...settings() });
  else if (kind === "ways") await begin({ kind, bars: document.querySelector("[name=bars]").value.trim() });
  else if (kind) await begin({ kind });
  else if (bar) show(Number(bar));
});
document.addEventListener("submit", (event) => event.preventDefault());
