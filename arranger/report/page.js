"use strict";
/* Without this script every link works; with it an entry stays lit beside its note, and the
   up and down keys walk through the list while the score follows. */
const places = [...document.querySelectorAll(".entries > li > a")];
const goal = (place) => document.getElementById(place.getAttribute("href").slice(1));
function light(...elements) {
  for (const lit of document.querySelectorAll(".here")) lit.classList.remove("here");
  for (const element of elements) element?.classList.add("here");
}
document.getElementById("notes").addEventListener("keydown", (event) => {
  const at = places.indexOf(document.activeElement);
  const next = places[at + ({ ArrowDown: 1, ArrowUp: -1 }[event.key] ?? NaN)];
  if (at < 0 || !next) return;
  event.preventDefault();
  next.focus({ preventScroll: true });
  next.scrollIntoView({ block: "nearest" });
  goal(next)?.scrollIntoView({ block: "center", inline: "center" });
  light(next.parentElement, goal(next));
});
for (const place of places) {
  place.addEventListener("click", () => light(place.parentElement, goal(place)));
}
for (const mark of document.querySelectorAll(".mark")) {
  mark.addEventListener("click", () => light(mark, document.getElementById(
    mark.getAttribute("href").slice(1))));
}
