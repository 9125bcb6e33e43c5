// The picture, alive: a touch on a cavity, a splice or a row shows where its wire goes.
const board = document.querySelector(".board");
const ways = [...board.querySelectorAll(".way")];
const dots = [...board.querySelectorAll("[data-wires]")];
const rows = [...document.querySelectorAll("tr[data-wire]")];
const told = document.createElement("p");
told.className = "told";
told.setAttribute("role", "status");
board.after(told);
let name = "";

function show(wire) {
  name = wire;
  ways.forEach((way) => way.classList.toggle("lit", way.dataset.wire === wire));
  dots.forEach((dot) => dot.classList.toggle("lit", dot.dataset.wires.split("\n").includes(wire)));
  rows.forEach((row) => row.classList.toggle("lit", row.dataset.wire === wire));
  const way = ways.find((each) => each.dataset.wire === wire && each.dataset.told);
  told.textContent = way ? way.dataset.told : "";
}
board.addEventListener("click", (event) => {
  const dot = event.target.closest("[data-wires]");
  if (!dot) { return; }
  const own = dot.dataset.wires.split("\n");
  show(own[(own.indexOf(name) + 1) % own.length]);
});
rows.forEach((row) => {
  row.tabIndex = 0;
  row.addEventListener("click", () => show(row.dataset.wire));
  row.addEventListener("keydown", (event) => { if (event.key === "Enter") { show(row.dataset.wire); } });
});
