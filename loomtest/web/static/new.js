// A new loom: notes, a dropped spreadsheet or a grid. Everything typed is kept on the server's disk as it is typed.
import { grid } from "./grid.js";

const by = (id) => document.getElementById(id);
const draft = await (await fetch("/new/draft")).json();
const table = grid(by("grid"), changed);
let way = draft.way || "notes";
let answers = draft.answers || {};
let timer = 0, asked = 0, leave = false;

async function post(address, body) {
  const answer = await fetch(address, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
  return answer.json();
}

function all() {
  return { name: by("name").value, notes: by("notes").value, rows: table.rows(), answers, way };
}

function changed() {
  leave = false;
  by("kept").textContent = "…";
  clearTimeout(timer);
  timer = setTimeout(async () => {
    try {
      const kept = await post("/new/draft", all());
      by("kept").textContent = kept.kept ? "Saved as you type." : kept.error;
    } catch {
      by("kept").textContent = "No connection: what you type stays on this screen.";
    }
    if (way === "notes") { await readNotes(); }
  }, 350);
}

async function readNotes() {
  const mine = ++asked;
  const said = await post("/new/read", { notes: by("notes").value, answers });
  if (mine !== asked) { return; }
  const place = by("read");
  place.replaceChildren();
  if (said.error) { place.textContent = said.error; return; }
  if (!said.lines.length) { return; }
  const head = document.createElement("h2");
  const waiting = said.lines.filter((line) => line.why).length;
  head.textContent = `Read as ${said.wires} ${said.wires === 1 ? "wire" : "wires"}` + (waiting ? `, ${waiting} not read` : "");
  const list = document.createElement("ol");
  list.className = "lines-read";
  said.lines.forEach((line) => {
    const item = document.createElement("li");
    item.value = line.line;
    item.className = line.why ? "tone-doubt" : "";
    const written = document.createElement("code");
    written.textContent = line.part || line.text;
    const meant = document.createElement("span");
    meant.className = "meant";
    meant.textContent = line.why ? line.why : line.said;
    item.append(written, " ", meant);
    const ways = line.why ? [...line.readings, ""] : [];
    const answered = line.asked in answers;
    if (answered || (line.wires && !line.why)) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "small";
      button.textContent = answered ? "Undo" : "Not a wire";
      button.setAttribute("aria-label", `${button.textContent}: line ${line.line}`);
      button.addEventListener("click", () => {
        if (answered) { delete answers[line.asked]; } else { answers[line.asked] = ""; }
        changed();
      });
      item.append(" ", button);
    }
    ways.forEach((reading) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "small";
      button.textContent = reading || "Only a remark";
      button.addEventListener("click", () => { answers[line.asked] = reading; changed(); });
      item.append(" ", button);
    });
    list.append(item);
  });
  place.append(head, list);
  if (said.look_at.length) {
    const look = document.createElement("ul");
    said.look_at.forEach((text) => { const item = document.createElement("li"); item.textContent = text; look.append(item); });
    place.append(look);
  }
}

function choose(next) {
  way = next;
  document.querySelectorAll("[data-way]").forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.way === way)));
  ["notes", "sheet", "grid"].forEach((each) => { by(`way-${each}`).hidden = each !== way; });
}

async function take(file) {
  if (!file) { return; }
  by("made").textContent = `Reading ${file.name} …`;
  const answer = await fetch(`/new/sheet?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
  const said = await answer.json();
  if (said.error) { by("made").textContent = said.error; return; }
  table.fill(said.rows);
  if (!by("name").value) { by("name").value = file.name.replace(/\.\w+$/, "").replaceAll("_", " "); }
  by("made").textContent = [`${said.rows.length} wires read. Look them through, then make the loom.`, ...said.look_at].join("\n");
  choose("grid");
  changed();
}

by("name").value ||= draft.name || ""; // what was typed while the page was loading stays
by("notes").value ||= draft.notes || "";
table.fill(draft.rows || []);
choose(way);
if (by("notes").value) { readNotes(); }
if (by("name").value !== (draft.name || "") || by("notes").value !== (draft.notes || "")) { changed(); }
by("name").addEventListener("input", changed);
by("notes").addEventListener("input", changed);
document.querySelectorAll("[data-way]").forEach((button) => button.addEventListener("click", () => { choose(button.dataset.way); changed(); }));
by("file").addEventListener("change", () => take(by("file").files[0]));
["dragover", "drop"].forEach((kind) => document.addEventListener(kind, (event) => {
  event.preventDefault();
  if (kind === "drop") { choose("sheet"); take(event.dataTransfer.files[0]); }
}));
by("make").addEventListener("click", async () => {
  clearTimeout(timer);
  const whole = all();
  const waiting = way === "notes" ? document.querySelectorAll(".lines-read .tone-doubt") : [];
  if (waiting.length && !leave) {
    leave = true;
    const numbers = [...waiting].map((item) => item.value).join(", ");
    by("made").textContent = `Not read yet: line ${numbers}. Choose what is meant, or change the line. Press again to leave it out.`;
    return;
  }
  const said = await post("/new/make", { name: whole.name, notes: way === "notes" ? whole.notes : "", rows: way === "notes" ? [] : whole.rows, answers });
  by("made").textContent = said.error || "";
  if (said.address) { location.assign(said.address); }
});
