// Keeps the screen lit where the browser allows it: on this computer, and over an encrypted page.
export function keepAwake(line) {
  if (!navigator.wakeLock) {
    line.textContent = "This browser cannot keep the screen lit here: lengthen the time until it goes dark in the phone’s settings.";
    return;
  }
  const ask = async () => {
    try {
      await navigator.wakeLock.request("screen");
      line.textContent = "The screen is kept lit while this page is open.";
    } catch {
      line.textContent = "";
    }
  };
  ask();
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") { ask(); } });
}
