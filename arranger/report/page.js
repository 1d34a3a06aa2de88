/* Without this script every link works. With it a bar can be chosen, compared and heard, the lists
   can be sifted, an entry stays lit beside its note, and the keys walk through bars and entries. */
const find = (id) => document.getElementById(id);
const all = (what, within = document) => [...within.querySelectorAll(what)];
const places = all(".entries > li > a");
const goal = (place) => find(decodeURIComponent(place.getAttribute("href").slice(1)));

function light(...elements) {
  for (const lit of all(".here")) lit.classList.remove("here");
  for (const element of elements) element?.classList.add("here");
}

/* ---- the chosen bar ---- */
const panel = find("bar"), { data } = sound, count = data.bars?.length ?? 0;
let chosen = 0, pairs = [];

async function unpack(name) {
  const store = find(name);
  if (!store || !("DecompressionStream" in window)) return [];
  const bytes = Uint8Array.from(atob(store.textContent), (sign) => sign.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return JSON.parse(await new Response(stream).text());
}

const barOf = (element) => {
  const id = element?.closest(".measure")?.id || element?.id || "";
  return id.startsWith("bar-") ? Number(id.slice(4)) : 0;
};

function choose(bar, scroll = false) {
  if (!panel || !count) return;
  bar = Math.min(Math.max(bar, 1), count);
  if (bar !== chosen) {
    for (const old of all(".chosen")) old.classList.remove("chosen");
    for (const link of all(".strip a")) {
      link.removeAttribute("aria-current");
      link.tabIndex = -1; // the strip is one stop for the tab key; the arrows go along it
    }
    chosen = bar;
    const link = document.querySelector(`.strip a[data-bar="${bar}"]`);
    link?.setAttribute("aria-current", "true");
    if (link) link.tabIndex = 0;
    keepInside(link);
    for (const field of all(`rect[data-bar="${bar}"]`)) field.classList.add("chosen");
    find(`bar-${bar}`)?.classList.add("chosen");
    find("which").textContent =
      data.bars[bar - 1][0] === "0" ? "Upbeat" : `Bar ${data.bars[bar - 1][0]}`;
    find("earlier").disabled = bar === 1;
    find("later").disabled = bar === count;
    show();
  }
  if (scroll) find(`bar-${bar}`)?.scrollIntoView({ block: "center", inline: "center" });
}

/* A bar chosen by hand: what is being heard goes on from there. */
function pick(bar, scroll = false) {
  choose(bar, scroll);
  if (sound.playing) hear(sound.playing.version);
}

/* Keep the strip's link in sight without moving the page. */
function keepInside(link) {
  const box = link?.closest("ol");
  if (!box || box.scrollWidth <= box.clientWidth) return;
  box.scrollLeft = link.offsetLeft - box.clientWidth / 2;
}

function show() {
  const pair = find("pair");
  pair.innerHTML = pairs[chosen - 1] ?? "";
  pair.hidden = !pairs.length;
  sift();
  const here = places.filter((place) => barOf(goal(place)) === chosen);
  find("here-notes").replaceChildren(...here.map((place) => {
    const row = document.createElement("li"), back = document.createElement("a");
    back.href = `#${place.parentElement.id}`;
    back.textContent = `${place.querySelector("b").textContent} `;
    const said = place.parentElement.cloneNode(true);
    all(".rule, .remedies, a", said).forEach((part) => part.remove());
    const kind = place.closest(".group").dataset.kind;
    row.append(back, `${place.querySelector("span").textContent}: ${kind}; ${said.textContent.trim()}`);
    return row;
  }));
  find("here-none").hidden = here.length > 0;
  if (find("in-words").open) inWords();
}

function inWords() {
  const rows = all("tbody", find("words"))[0];
  const beats = new Map();
  const versions = ["source", "draft"].slice(-all("th", find("words")).length + 1);
  for (const [column, version] of versions.entries()) {
    for (const [, seconds, , name, hand, bar] of data[version] ?? []) {
      if (bar !== chosen) continue;
      const at = (seconds - data.bars[chosen - 1][1]).toFixed(2);
      if (!beats.has(at)) beats.set(at, versions.map(() => []));
      beats.get(at)[column].push(label(name) + (hand ? ` ${hand === "R" ? "right" : "left"}` : ""));
    }
  }
  rows.replaceChildren(...[...beats].sort((a, b) => a[0] - b[0]).map(([at, sides]) => {
    const row = document.createElement("tr");
    for (const text of [`${at} s`, ...sides.map((side) => side.join(", ") || "rest")]) {
      row.insertCell().textContent = text;
    }
    return row;
  }));
}
const label = (name) => name.replaceAll("#", "♯").replace(/(?<=^[A-G])b+/, (flats) => "♭".repeat(flats.length));

/* ---- hearing ---- */
let lit = [];
function followed(ids, seconds) {
  let bar = sound.playing.bar;
  while (bar < count && data.bars[bar][1] <= seconds + 1e-6) bar++;
  if (bar !== chosen) choose(bar, outOfSight(bar));
  if (!ids.length) return;
  for (const note of lit) note.classList.remove("sounding");
  const { version } = sound.playing;
  lit = ids.flatMap((id) => [find(id), ...all(`#pair .${version}[data-note="${CSS.escape(id)}"]`)])
    .filter(Boolean);
  for (const note of lit) note.classList.add("sounding");
}
function outOfSight(bar) {
  const box = find(`bar-${bar}`)?.getBoundingClientRect();
  return box && (box.top < 80 || box.bottom > innerHeight || box.left < 0 || box.right > innerWidth);
}
function hear(version) {
  sound.play(version, chosen || 1, Number(find("pace").value) / 100, followed, silent);
  for (const button of all("[data-play]")) {
    button.setAttribute("aria-pressed", String(button.dataset.play === version));
  }
  find("stop").disabled = false;
}
function silent() {
  for (const note of lit) note.classList.remove("sounding");
  lit = [];
  for (const button of all("[data-play]")) button.setAttribute("aria-pressed", "false");
  find("stop").disabled = true;
}

/* ---- sifting ---- */
function sift() {
  const off = new Set(all("[data-sift]").filter((box) => !box.checked).map((box) => box.dataset.sift));
  for (const group of all(".group")) group.hidden = off.has(group.dataset.kind);
  for (const mark of all(".mark")) mark.classList.toggle("off", off.has(mark.dataset.kind));
}

/* ---- clicks and keys ---- */
document.addEventListener("click", (event) => {
  const mark = event.target.closest(".mark"), place = event.target.closest(".entries > li > a");
  const field = event.target.closest(".engraving .measure"), bar = event.target.closest("[data-bar]");
  const link = event.target.closest('a[href^="#bar-"]');
  if (mark) {
    light(mark, find(mark.getAttribute("href").slice(1)));
    choose(barOf(mark));
  } else if (place) {
    light(place.parentElement, goal(place));
    choose(barOf(goal(place)));
  } else if (field && !field.closest("#pair")) pick(barOf(field));
  else if (bar) pick(Number(bar.dataset.bar));
  else if (link) pick(Number(link.getAttribute("href").slice(5)));
});
find("notes").addEventListener("keydown", (event) => {
  const at = places.indexOf(document.activeElement);
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (at < 0 || !step) return;
  event.preventDefault();
  let to = at + step;
  while (places[to]?.closest("[hidden]")) to += step;
  const next = places[to];
  if (!next) return;
  next.focus({ preventScroll: true });
  next.scrollIntoView({ block: "nearest" });
  goal(next)?.scrollIntoView({ block: "center", inline: "center" });
  light(next.parentElement, goal(next));
  choose(barOf(goal(next)));
});
/* These keys work on the score and on the strip of bars only. */
document.addEventListener("keydown", (event) => {
  if (!event.target.closest("#score, .strip") || event.ctrlKey || event.metaKey || event.altKey) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const step = { ArrowRight: 1, ArrowLeft: -1 }[key];
  if (step) {
    pick(Number(event.target.dataset.bar || chosen) + step, true);
    if (event.target.closest(".strip")) document.querySelector('.strip [aria-current]')?.focus();
  } else if (key === " ") sound.playing ? sound.stop() : hear("draft");
  else if (key === "d" || (key === "s" && data.source?.length)) hear(key === "d" ? "draft" : "source");
  else return;
  event.preventDefault();
});

if (panel && count) {
  panel.hidden = false;
  find("earlier").addEventListener("click", () => pick(chosen - 1, true));
  find("later").addEventListener("click", () => pick(chosen + 1, true));
  find("stop").addEventListener("click", () => sound.stop());
  for (const button of all("[data-play]")) {
    button.hidden = !data[button.dataset.play]?.length;
    button.addEventListener("click", () => hear(button.dataset.play));
  }
  const tell = () => { find("crotchet").value = Math.round(data.tempo * find("pace").value / 100); };
  find("pace").addEventListener("input", tell);
  find("pace").addEventListener("change", () => { if (sound.playing) hear(sound.playing.version); });
  find("in-words").addEventListener("toggle", () => { if (find("in-words").open) inWords(); });
  tell();
  const named = () => barOf(find(decodeURIComponent(location.hash.slice(1))));
  choose(named() || 1);
  addEventListener("hashchange", () => choose(named() || chosen)); // an address told from outside
  unpack("pairs").then((drawn) => { pairs = drawn; show(); });
  find("fold").addEventListener("click", () => {
    const open = panel.classList.toggle("open");
    find("fold").textContent = open ? "fold away" : "look closer";
    find("fold").setAttribute("aria-expanded", String(open));
  });
}

/* ---- a telephone gets the score in short lines ---- */
const phone = matchMedia("(max-width: 44rem)"), wide = all(".sheet");
let short = null;
async function lay() {
  if (phone.matches && !short) {
    short = (await unpack("narrow")).map((drawing) => {
      const sheet = document.createElement("section"), box = document.createElement("div");
      sheet.className = "sheet short";
      box.innerHTML = drawing;
      sheet.append(box);
      return sheet;
    });
  }
  const sheets = phone.matches && short?.length ? short : wide;
  const score = find("score");
  if (sheets[0]?.isConnected) return;
  for (const old of all(".sheet")) old.remove();
  score.append(...sheets);
  const bar = chosen;
  chosen = 0;
  choose(bar);
  sift();
}
phone.addEventListener("change", lay);
if (phone.matches) lay();
for (const box of all("[data-sift]")) box.addEventListener("change", sift);
sift();
