// The measuring screen. What it shows comes from the server; it decides nothing about a reading.
import { connect } from "./link.js";
import { sound, soundsOn } from "./sound.js";
import { sayPrompt, sayValue, voiceOn } from "./voice.js";
import { keepAwake } from "./awake.js";
import { drawRows, openCorrection } from "./rows.js";
import { drawFound } from "./found.js";
import { setUp } from "./setup.js";

const by = (id) => document.getElementById(id);
const base = by("bench").dataset.base;
const field = by("value");
let standing = null; // the last state: prompt, last_row and so on
let shown = "";

const link = connect(base, { heard, lost });

function lost(yes, waiting) {
  const banner = by("lost");
  banner.hidden = !yes && !waiting.length;
  document.body.classList.toggle("is-lost", yes);
  const kept = waiting.filter((each) => each.do === "value" || each.do === "over-range" || each.do === "same")
    .map((each) => `${each.text || each.do} (${each.seen.from} ${each.seen.to})`);
  banner.textContent = (yes ? "No connection to the program." : "Sending…") +
    (kept.length ? ` Kept on this screen, not recorded yet: ${kept.join(", ")}.` : " Nothing is lost; it is tried again by itself.");
}

function heard(message) {
  if (message.kind === "state" || message.kind === "change") {
    standing = message;
    drawPrompt(message);
    drawRows(message.rows, message.kind === "state");
    if (message.said.text || message.kind === "change") { say(message.said.text, message.said.tone); }
    message.bells.forEach(sound);
    by("left").textContent = message.left;
    by("progress").max = Math.max(1, message.total);
    by("progress").value = message.done;
    drawQuestion(message.question);
    drawMeter(message.meter);
    const untouched = message.last_row === 0;
    by("cautions").hidden = by("first").hidden = !untouched;
    by("start").hidden = message.leads || Boolean(message.ended) || !untouched || Boolean(message.meter);
  } else if (message.kind === "live") {
    drawMeter(message.meter);
  } else if (message.kind === "faces") {
    by("faces").innerHTML = Object.keys(message).filter((key) => key !== "kind").map((key) =>
      `<figure class="face lead-${key}">${message[key]}</figure>`).join("");
  } else if (message.kind === "found") {
    drawFound(message, base, (from, to) => send("pair", { text: `${from} ${to}` }));
  } else if (message.kind === "trouble") {
    say(message.text, message.tone || "bad");
    if (message.stays) { by("next").innerHTML = ""; by("next").append(element("p", "bad", message.text)); }
  } else if (message.kind === "go") {
    location.assign(base + message.way);
  } else if (message.kind === "closed") {
    say("The bench page was closed.", "doubt");
  }
}

function element(name, kind, text) {
  const made = document.createElement(name);
  made.className = kind;
  made.textContent = text;
  return made;
}

function say(text, tone) {
  const line = by("said");
  line.textContent = text;
  line.className = `said tone-${tone}`;
  if (text) { sayValue(text); }
}

function lead(which, point, stays) {
  const row = element("p", `lead lead-${which}`, "");
  const [hub, cavity] = point.includes(" cavity ") ? point.split(" cavity ") : [point, ""];
  row.append(element("span", "which", which), " ");
  const big = element("span", "point", "");
  big.append(element("span", "hub", hub));
  if (cavity) { big.append(element("span", "unseen", " cavity "), element("span", "cavity", cavity)); }
  if (`${hub}${cavity}`.length > 8) { big.classList.add("long"); }
  row.append(big);
  if (stays) { row.append(" ", element("span", "stays", "stays")); }
  return row;
}

function drawPrompt(state) {
  const next = by("next"), prompt = state.prompt;
  const key = JSON.stringify(prompt) + state.ended;
  if (key === shown) { return; }
  shown = key;
  const parts = [];
  if (prompt && prompt.red) {
    if (prompt.first) { parts.push(element("p", "before", prompt.first)); }
    parts.push(lead("red", prompt.red, prompt.stays === "red"), lead("black", prompt.black, prompt.stays === "black"));
  } else if (prompt) {
    parts.push(element("p", "sentence", prompt.sentence));
  } else {
    parts.push(element("p", "sentence", state.ended === "complete" ? "Everything that was asked is measured." : "Stopped. All readings are safe."));
    const links = element("p", "row", "");
    const answer = element("a", "key main", "See the answer");
    answer.href = `${base}/answer?run=${encodeURIComponent(state.run)}`;
    links.append(answer);
    if (state.ended !== "complete") {
      const on = element("button", "key", "Go on measuring");
      on.type = "button";
      on.addEventListener("click", () => setUp.goOn(base, state.run));
      links.append(on);
    }
    parts.push(links);
  }
  if (prompt) {
    const about = element("ul", "about", "");
    prompt.about.forEach((line) => about.append(element("li", "", line)));
    if (prompt.in_a_row) { about.append(element("li", "", prompt.in_a_row)); }
    if (prompt.expected) { about.append(element("li", "expected", prompt.expected)); }
    parts.push(about);
    if (prompt.cautions.length) {
      const care = element("ul", "care", "");
      prompt.cautions.forEach((line) => care.append(element("li", "", line)));
      parts.push(care);
    }
  }
  next.replaceChildren(...parts);
  next.dataset.from = prompt ? prompt.from : "";
  next.dataset.to = prompt ? prompt.to : "";
  next.dataset.quantity = prompt ? prompt.quantity : "";
  drawUnits(prompt ? prompt.quantity : "");
  by("faces").replaceChildren();
  if (prompt && prompt.from) { link.ask({ do: "faces", from: prompt.from, to: prompt.to }); }
  if (prompt) { sayPrompt(prompt); }
  document.body.classList.toggle("over", !prompt);
}

function drawUnits(quantity) {
  const keys = [...by("units").children];
  keys.forEach((key) => { key.hidden = key.dataset.for !== quantity; });
  const wanted = keys.some((key) => !key.hidden);
  by("units").hidden = !wanted;
  document.querySelectorAll("[data-do=over-range]").forEach((key) => { key.disabled = wanted; });
  field.inputMode = wanted ? "text" : by("pad").hidden ? "decimal" : "none";
}

function drawQuestion(question) {
  const place = by("question");
  place.hidden = !question;
  place.replaceChildren();
  (question ? question.choices : []).forEach((choice) => {
    const button = element("button", "key", choice.text);
    button.type = "button";
    button.addEventListener("click", () => send("answer", { text: choice.what }));
    place.append(button);
  });
}

function drawMeter(meter) {
  const live = by("live");
  live.hidden = !meter;
  by("rehearsal").hidden = !(meter && meter.rehearsal);
  if (!meter) { return; }
  const states = { open: "tips apart", touching: "touching", settling: "settling, hold still", taken: "recorded, lift the probes" };
  live.textContent = meter.trouble ? `Meter: ${meter.trouble}` : `Meter: ${meter.shows || "…"} · ${states[meter.state] || ""}`;
}

function send(what, more = {}) {
  if (!standing) { return; }
  const prompt = standing.prompt || { from: "", to: "" };
  link.send({ do: what, seen: { row: standing.last_row, from: prompt.from, to: prompt.to }, ...more });
}

function enter() {
  const text = field.value.trim();
  if (!text && standing && !standing.prompt) { return; }
  send(text ? "value" : "keep", { text });
  field.value = "";
  draft();
}

function draft() { sessionStorage.setItem(`typed${base}`, field.value); }

by("take").addEventListener("submit", (event) => { event.preventDefault(); enter(); });
field.addEventListener("input", draft);
field.value = sessionStorage.getItem(`typed${base}`) || "";
document.querySelectorAll("[data-do]").forEach((button) => button.addEventListener("click", () => {
  send(button.dataset.do, button.dataset.do === "over-range" ? { text: "OL" } : {});
  if (matchMedia("(pointer: fine)").matches) { field.focus(); }
}));
document.querySelectorAll("[data-type]").forEach((button) => button.addEventListener("click", () => {
  field.value = button.dataset.type ? `${field.value}${button.dataset.type}`.trimStart() : field.value.slice(0, -1);
  draft();
}));
by("note").addEventListener("click", () => {
  const text = prompt("Note for the next reading:");
  if (text !== null) { send("note", { text, seen: null }); }
});
by("leads").addEventListener("submit", (event) => {
  event.preventDefault();
  send("leads", { text: by("leads-value").value, seen: null });
});
by("rows").addEventListener("click", (event) => {
  const button = event.target.closest("button[data-row]");
  if (!button) { return; }
  const row = Number(button.dataset.row);
  if (button.dataset.what === "correct") {
    openCorrection(button.closest("li"), (text) => send("correct", { row, text, seen: null }));
  } else {
    send(button.dataset.what, { row, seen: null });
  }
});

// A presenter's button and a pedal send page keys: forward takes, backward takes back; neither scrolls or reloads.
document.addEventListener("keydown", (event) => {
  if (event.key === "PageDown") {
    event.preventDefault();
    if (!event.repeat) { send(standing && standing.meter ? "pedal" : "same"); }
  } else if (event.key === "PageUp") {
    event.preventDefault();
    if (!event.repeat) { send("back"); }
  } else if (event.target === document.body && event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) {
    field.focus();
  }
});

const coarse = matchMedia("(pointer: coarse)").matches;
function pads(open) {
  by("pad").hidden = !open;
  by("pads").setAttribute("aria-expanded", String(open));
  field.inputMode = open ? "none" : "decimal";
}
pads(coarse);
by("pads").addEventListener("click", () => pads(by("pad").hidden));
if (!coarse) { field.focus(); }
soundsOn(by("sound"));
voiceOn(by("voice"));
keepAwake(by("awake"));
setUp(base);
const sun = by("sun");
sun.checked = localStorage.getItem("sun") === "yes";
function bright() { document.documentElement.toggleAttribute("data-sun", sun.checked); }
sun.addEventListener("change", () => { localStorage.setItem("sun", sun.checked ? "yes" : "no"); bright(); });
bright();
