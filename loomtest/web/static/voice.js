// The prompts aloud, by the browser's own voice.
let on = false;

function speak(text, cut) {
  if (!on || !window.speechSynthesis) { return; }
  if (cut) { speechSynthesis.cancel(); }
  const said = new SpeechSynthesisUtterance(text);
  said.lang = "en";
  speechSynthesis.speak(said);
}

const spelled = (point) => point.replace(" cavity ", ", ");

export function sayPrompt(prompt) {
  if (prompt.red) {
    speak(`${prompt.first} red: ${spelled(prompt.red)}. black: ${spelled(prompt.black)}.`, false);
  } else {
    speak(prompt.sentence, false);
  }
}

export function sayValue(text) { speak(text.replace("Ω", "ohms"), true); }

export function voiceOn(box) {
  on = localStorage.getItem("voice") === "yes";
  box.checked = on;
  box.addEventListener("change", () => {
    on = box.checked;
    localStorage.setItem("voice", on ? "yes" : "no");
    if (on) { speak("The prompts are said aloud.", true); } else if (window.speechSynthesis) { speechSynthesis.cancel(); }
  });
}
