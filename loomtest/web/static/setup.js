// Starting another run: what it is called, with which meter.
async function post(address, what) {
  const answer = await fetch(address, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(what) });
  return answer.json();
}

export function setUp(base) {
  const by = (id) => document.getElementById(id);
  const form = by("setup");
  form.closest("details").addEventListener("toggle", async () => {
    const found = await (await fetch(`${base}/measure/ports`)).json();
    const select = by("meter");
    found.ports.filter((port) => !select.querySelector(`option[value="${CSS.escape(port.port)}"]`))
      .forEach((port) => select.append(new Option(port.text, port.port)));
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const said = await post(`${base}/measure/begin`, { stage: by("stage").value, instrument: by("instrument").value, meter: by("meter").value, hands: by("hands").checked ? "free" : "" });
    by("setup-said").textContent = said.text;
    if (said.done) { form.closest("details").open = false; }
  });
}
setUp.goOn = (base, run) => post(`${base}/measure/begin`, { run });
