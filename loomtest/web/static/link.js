// The socket: it comes back by itself, and what could not be sent waits here, also through a reload.
const BEATS_MISSED_MS = 1800;

export function connect(base, { heard, lost }) {
  const store = `waiting${base}`;
  const waiting = JSON.parse(sessionStorage.getItem(store) || "[]");
  let socket = null, last = 0, away = false, tries = 0, ready = false, finished = false;

  const keep = () => { sessionStorage.setItem(store, JSON.stringify(waiting)); };
  const tell = () => { lost(away, away || waiting.some((each) => Date.now() - each.at > 1500) ? waiting : []); };

  function open() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const mine = new WebSocket(`${scheme}://${location.host}${base}/measure/socket`);
    socket = mine;
    ready = false;
    last = Date.now();
    mine.onmessage = (event) => {
      last = Date.now();
      const message = JSON.parse(event.data);
      if (message.kind === "closed") { finished = true; }
      if (message.kind === "beat") { return; }
      if (message.answers) { answered(message.answers); }
      heard(message);
      if (message.kind === "state") {
        tries = 0;
        ready = true;
        back();
        waiting.forEach((each) => mine.send(JSON.stringify(each)));
      }
    };
    mine.onclose = () => { if (socket === mine) { gone(); } };
  }
  function answered(id) {
    const place = waiting.findIndex((each) => each.id === id);
    if (place >= 0) { waiting.splice(place, 1); keep(); tell(); }
  }
  function gone() {
    if (!away) { away = true; }
    ready = false;
    tell();
    const mine = socket;
    socket = null;
    if (mine) { mine.onclose = null; mine.onmessage = null; mine.close(); }
    if (!finished) { setTimeout(open, Math.min(2000, 200 * 1.6 ** tries++)); }
  }
  function back() { away = false; tell(); }

  setInterval(() => {
    if (socket && Date.now() - last > BEATS_MISSED_MS) { gone(); } else if (waiting.length) { tell(); }
  }, 300);
  addEventListener("offline", () => { if (socket) { gone(); } });
  open();

  return {
    send(command) {
      const random = crypto.getRandomValues(new Uint32Array(3));
      const whole = { id: Array.from(random, (n) => n.toString(36)).join(""), at: Date.now(), ...command };
      waiting.push(whole);
      keep();
      if (ready && socket.readyState === WebSocket.OPEN) { socket.send(JSON.stringify(whole)); } else { tell(); }
    },
    ask(command) {
      if (socket && socket.readyState === WebSocket.OPEN) { socket.send(JSON.stringify(command)); }
    },
  };
}
