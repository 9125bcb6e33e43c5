// Sounds are made here: one tone for taken, two low ones for doubtful, three rising ones for done.
const TUNES = { taken: [[880, 0, 0.09]], bad: [[220, 0, 0.18], [185, 0.2, 0.25]],
  done: [[660, 0, 0.12], [880, 0.14, 0.12], [1100, 0.28, 0.2]], soon: [[440, 0, 0.05]] };
let context = null, on = true;

export function sound(kind) {
  if (!on || !TUNES[kind] || !context) { return; }
  TUNES[kind].forEach(([pitch, at, length]) => {
    const tone = context.createOscillator(), level = context.createGain();
    const start = context.currentTime + at;
    tone.frequency.value = pitch;
    tone.type = kind === "bad" ? "square" : "sine";
    level.gain.setValueAtTime(0.25, start);
    level.gain.exponentialRampToValueAtTime(0.001, start + length);
    tone.connect(level).connect(context.destination);
    tone.start(start);
    tone.stop(start + length);
  });
}

export function soundsOn(box) {
  on = localStorage.getItem("sound") !== "no";
  box.checked = on;
  box.addEventListener("change", () => { on = box.checked; localStorage.setItem("sound", on ? "yes" : "no"); });
  const wake = () => { if (!context && window.AudioContext) { context = new AudioContext(); } };
  addEventListener("pointerdown", wake, { once: true });
  addEventListener("keydown", wake, { once: true });
}
