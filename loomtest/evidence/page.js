// Sorts a table by the column whose heading is pressed; the page is whole without it.
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
