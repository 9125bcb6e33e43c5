// Keeping a run, and starting the next after mending.
const keep = document.getElementById("keep");
const said = document.getElementById("kept");
if (keep) {
  keep.addEventListener("click", async () => {
    keep.disabled = true;
    said.textContent = "Keeping …";
    const answer = await fetch(`${keep.dataset.base}/keep?run=${encodeURIComponent(keep.dataset.run)}`, { method: "POST" });
    const told = await answer.json();
    said.textContent = told.text;
    keep.disabled = told.done;
  });
}
const mended = document.getElementById("mended");
if (mended) {
  mended.addEventListener("click", async () => {
    const answer = await fetch(`${mended.dataset.base}/measure/begin`, {
      method: "POST", headers: { "content-type": "application/json" },
      body: JSON.stringify({ stage: "after", after: mended.dataset.run }),
    });
    const told = await answer.json();
    if (told.done) { location.assign(`${mended.dataset.base}/measure`); } else { said.textContent = told.text; }
  });
}
