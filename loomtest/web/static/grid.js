// A table that behaves like a spreadsheet: arrow keys, Enter, paste of a block, undo.
const COLUMNS = ["from", "to", "colour", "size", "length", "kind", "amps", "circuit", "note"];
const HEADS = ["From", "To", "Colour", "Size (mm²)", "Length (m)", "Part", "Amps", "Circuit", "Note"];
const SPARE = 5;

export function grid(table, changed) {
  const past = [];
  table.innerHTML = `<thead><tr><th scope="col"><span class="unseen">Row</span></th>${HEADS.map((head) => `<th scope="col">${head}</th>`).join("")}</tr></thead><tbody></tbody>`;
  const body = table.tBodies[0];
  const cell = (row, column) => body.rows[row]?.cells[column + 1]?.firstChild;
  const rows = () => [...body.rows].map((row) => COLUMNS.map((_, column) => row.cells[column + 1].firstChild.value));
  const used = () => { const all = rows(); while (all.length && all.at(-1).every((text) => !text.trim())) { all.pop(); } return all; };

  function add() {
    const row = body.insertRow();
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = body.rows.length;
    row.append(head);
    COLUMNS.forEach((name) => {
      const field = document.createElement("input");
      field.setAttribute("aria-label", `${HEADS[COLUMNS.indexOf(name)]}, row ${body.rows.length}`);
      field.autocapitalize = "none";
      field.spellcheck = false;
      row.insertCell().append(field);
    });
  }
  function fill(all, keep = false) {
    if (!keep) { past.length = 0; }
    body.replaceChildren();
    const count = Math.max(8, all.length + SPARE);
    for (let row = 0; row < count; row++) { add(); }
    all.forEach((texts, row) => texts.forEach((text, column) => { const place = cell(row, column); if (place) { place.value = text; } }));
  }
  function where(field) { return [field.closest("tr").sectionRowIndex, field.closest("td").cellIndex - 1]; }
  function go(row, column) {
    while (row >= body.rows.length) { add(); }
    const place = cell(row, column);
    if (place) { place.focus(); place.select(); }
  }
  function remember() { past.push(JSON.stringify(used())); if (past.length > 200) { past.shift(); } }

  body.addEventListener("focusin", remember, true);
  body.addEventListener("input", () => {
    const last = body.rows.length - 1;
    if (COLUMNS.some((_, column) => cell(last, column).value)) { add(); }
    changed();
  });
  body.addEventListener("keydown", (event) => {
    const field = event.target, [row, column] = where(field);
    const atStart = field.selectionStart === 0 && field.selectionEnd === 0 || field.selectionEnd - field.selectionStart === field.value.length;
    const atEnd = field.selectionStart === field.value.length || field.selectionEnd - field.selectionStart === field.value.length;
    const moves = { ArrowDown: [row + 1, column], Enter: [row + 1, column], ArrowUp: [row - 1, column],
      ...(atStart ? { ArrowLeft: [row, column - 1] } : {}), ...(atEnd ? { ArrowRight: [row, column + 1] } : {}) };
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
      event.preventDefault();
      const now = JSON.stringify(used());
      let before = past.pop();
      while (before === now && past.length) { before = past.pop(); }
      if (before && before !== now) { fill(JSON.parse(before), true); changed(); go(row, column); }
    } else if (moves[event.key]) {
      event.preventDefault();
      go(...moves[event.key]);
    }
  });
  body.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n$/, "");
    if (!/[\t\n]/.test(text)) { return; }
    event.preventDefault();
    remember();
    const [row, column] = where(event.target);
    text.split("\n").forEach((line, down) => line.split("\t").forEach((each, right) => {
      while (row + down >= body.rows.length) { add(); }
      const place = cell(row + down, column + right);
      if (place) { place.value = each.trim(); }
    }));
    add();
    changed();
  });
  fill([]);
  return { rows: used, fill };
}
