"use strict";
const table = document.getElementById("scores"), said = document.getElementById("said");
const body = table?.tBodies[0], rows = body ? [...body.rows] : [];
const order = new Intl.Collator(undefined, {numeric: true});
const value = (row, at) => row.cells[at].dataset.v ?? row.cells[at].textContent;

function sort(head) {
  const at = head.cellIndex, number = head.classList.contains("n") || head.dataset.by === "n";
  const down = head.getAttribute("aria-sort") === "ascending";
  for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", down ? "descending" : "ascending");
  const sign = down ? -1 : 1;
  rows.sort((a, b) => {
    const x = value(a, at), y = value(b, at);
    if (x === "" || y === "") return (x === "") - (y === "");  // what is not known stays last
    return sign * (number ? x - y : order.compare(x, y)) || a.dataset.at - b.dataset.at;
  });
  body.append(...rows);
  said.textContent = `Sorted by ${head.dataset.name}, ${down ? "highest" : "lowest"} first`;
}

function sieve(text) {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  let left = 0;
  for (const row of rows) {
    const found = words.every(word => row.textContent.toLowerCase().includes(word));
    row.hidden = !found;
    left += found;
  }
  said.textContent = `${left} of ${rows.length} scores`;
}

table?.tHead.addEventListener("click", event => {
  const button = event.target.closest("button");
  if (button) sort(button.parentElement);
});
document.getElementById("words")?.addEventListener("input", event => sieve(event.target.value));
