// The list of readings: one item a reading, crossed out where it was taken back.
const list = document.getElementById("rows");

export function drawRows(rows, all) {
  if (all) { list.replaceChildren(); }
  rows.forEach((row) => {
    const item = made(row);
    const old = list.querySelector(`[data-row="${row.row}"]`);
    if (old) { old.replaceWith(item); } else { list.append(item); }
  });
  if (rows.length) { list.scrollTop = list.scrollHeight; }
}

function made(row) {
  const item = document.createElement("li");
  item.dataset.row = row.row;
  item.className = row.back ? "back" : row.good ? "tone-good" : "tone-bad";
  const pair = document.createElement("span");
  pair.className = "pair";
  pair.textContent = `${row.from} – ${row.to}`;
  const value = document.createElement(row.back ? "s" : "b");
  value.textContent = row.value;
  const told = document.createElement("span");
  told.className = "told";
  told.textContent = row.back ? "taken back" : row.text;
  item.append(pair, " ", value, " ", told);
  if (!row.back) {
    [["correct", "Correct"], ["again", "Redo"], ["withdraw", "Cross out"]].forEach(([what, text]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "small";
      button.dataset.row = row.row;
      button.dataset.what = what;
      button.textContent = text;
      button.setAttribute("aria-label", `${text} ${row.from} – ${row.to}, ${row.value}`);
      item.append(" ", button);
    });
  }
  return item;
}

export function openCorrection(item, done) {
  const old = item.querySelector("form");
  if (old) { old.remove(); return; }
  const form = document.createElement("form");
  form.className = "entry";
  const field = document.createElement("input");
  field.setAttribute("aria-label", "The right value");
  field.maxLength = 60;
  const button = document.createElement("button");
  button.className = "small";
  button.textContent = "Save";
  form.append(field, button);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (field.value.trim()) { done(field.value.trim()); }
    form.remove();
  });
  item.append(form);
  field.focus();
}
