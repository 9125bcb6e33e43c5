// What the readings mean so far: each fault with where to look, what to do, and a way to measure it again.
export function drawFound(message, base, again) {
  const place = document.getElementById("found");
  place.replaceChildren();
  if (!message.faults.length) { return; }
  const head = document.createElement("h2");
  head.textContent = message.faults.length === 1 ? "Found so far" : `Found so far: ${message.faults.length}`;
  const list = document.createElement("ol");
  list.className = "faults";
  message.faults.forEach((fault) => {
    const item = document.createElement("li");
    item.className = `tone-${fault.tone}`;
    const title = document.createElement("h3");
    const tag = document.createElement("span");
    tag.className = "tag";
    tag.innerHTML = fault.mark; // drawn by the server
    tag.append(` ${fault.number} ${fault.word}`);
    title.append(tag, ` ${fault.where}`);
    item.append(title);
    [fault.text, fault.next && `Next: ${fault.next}`, fault.probes].filter(Boolean).forEach((text) => {
      const line = document.createElement("p");
      line.textContent = text;
      item.append(line);
    });
    if (fault.faces.length) {
      const faces = document.createElement("div");
      faces.className = "closeups";
      faces.innerHTML = fault.faces.join(""); // drawn by the server
      item.append(faces);
    }
    if (fault.from) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "key quiet";
      button.textContent = "Measure this place";
      button.addEventListener("click", () => again(fault.from, fault.to));
      item.append(button);
    }
    list.append(item);
  });
  place.append(head, list);
}
