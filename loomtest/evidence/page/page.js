// Sorts a table by the column whose heading is pressed, and shows the way of a wire through the picture;
// the page is whole without it.
document.querySelectorAll("table.sorts").forEach(function (table) {
  var heads = table.tHead.rows[0].cells;
  Array.prototype.forEach.call(heads, function (head, column) {
    if (head.hasAttribute("data-fixed")) { return; }
    var button = document.createElement("button");
    button.type = "button";
    button.setAttribute("aria-label", "Sort by " + head.textContent.trim());
    head.appendChild(button);
    head.addEventListener("click", function () {
      var up = head.getAttribute("aria-sort") !== "ascending";
      Array.prototype.forEach.call(heads, function (other) { other.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      var body = table.tBodies[0];
      var rows = Array.prototype.slice.call(body.rows);
      var key = function (row) {
        var cell = row.cells[column];
        var text = cell.hasAttribute("data-value") ? cell.getAttribute("data-value") : cell.textContent.trim();
        var number = Number(text);
        return text !== "" && !isNaN(number) ? number : text.toLowerCase();
      };
      var order = function (a, b) {
        if (typeof a === typeof b && typeof a === "number") { return a - b; }
        return String(a).localeCompare(String(b), "en", { numeric: true });
      };
      rows.sort(function (a, b) { return (up ? 1 : -1) * order(key(a), key(b)); });
      rows.forEach(function (row) { body.appendChild(row); });
    });
  });
});

(function () {
  var board = document.querySelector(".board");
  var ways = board ? Array.prototype.slice.call(board.querySelectorAll(".way")) : [];
  if (!ways.length) { return; }
  var dots = Array.prototype.slice.call(board.querySelectorAll("[data-wires]"));
  var names = function (dot) { return dot.getAttribute("data-wires").split("\n"); };
  var line = document.createElement("p");
  var label = document.createElement("label");
  var select = document.createElement("select");
  line.className = "follow small";
  select.id = "follow";
  label.htmlFor = select.id;
  label.textContent = "Follow a wire: ";
  select.appendChild(new Option("none", ""));
  var told = ways.filter(function (way) { return way.hasAttribute("data-told"); });
  told.sort(function (a, b) {
    return a.getAttribute("data-wire").localeCompare(b.getAttribute("data-wire"), "en", { numeric: true });
  });
  told.forEach(function (way) {
    select.appendChild(new Option(way.getAttribute("data-told"), way.getAttribute("data-wire")));
  });
  line.appendChild(label);
  line.appendChild(select);
  board.parentNode.insertBefore(line, board);
  var show = function () {
    var name = select.value;
    ways.forEach(function (way) {
      way.classList.toggle("lit", name !== "" && way.getAttribute("data-wire") === name);
    });
    dots.forEach(function (dot) { dot.classList.toggle("lit", name !== "" && names(dot).indexOf(name) >= 0); });
  };
  select.addEventListener("change", show);
  board.addEventListener("click", function (event) {
    var here = event.target.getAttribute("data-wires");
    if (!here) { return; }
    var own = here.split("\n");
    select.value = own[(own.indexOf(select.value) + 1) % own.length];
    show();
  });
})();
