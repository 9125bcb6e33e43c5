"""The bench page: from a typed value to the next prompt on a second screen, its memory, its first load.

python -m tests.speed.bench [WIRES] [READINGS]
"""

from __future__ import annotations

import json
import re
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

from tests.web.serving import Serving, request, served


def loom(folder: Path, wires: int) -> None:
    """`wires` wires between invented connectors of twelve cavities, colour and circuit of each."""
    colours = ("red", "black", "yellow", "green", "blue", "white")
    rows = ["from,to,colour,size,length,circuit"]
    for k in range(wires):
        hub, cavity = divmod(k, 12)
        rows.append(
            f"A{hub + 1}:{cavity + 1},B{hub + 1}:{cavity + 1},{colours[k % 6]},1.5,{1 + k % 7 / 10},c{k}"
        )
    folder.mkdir(parents=True)
    (folder / "wires.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def screen(serving: Serving, cookie: str) -> ClientConnection:
    """One screen on the measuring page."""
    address = serving.base.replace("http", "ws") + "/measure/socket"
    return connect(address, additional_headers={"Cookie": cookie}, origin=serving.base, proxy=None)  # type: ignore[arg-type]


def heard(socket: ClientConnection, kinds: tuple[str, ...]) -> dict[str, Any]:
    """The next message of one of these kinds."""
    while True:
        message: dict[str, Any] = json.loads(socket.recv(timeout=60))
        if message["kind"] in kinds:
            return message


def memory_mb(pid: int) -> float:
    """What the process holds in memory now."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    found = re.search(r"VmRSS:\s+(\d+)", status)
    return int(found[1]) / 1024 if found else float("nan")


def first_load(serving: Serving, cookie: str) -> int:
    """Bytes of the measuring page with everything that it loads."""
    seen: dict[str, int] = {}
    waiting = ["/measure"]
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        body = request(serving, "GET", path, {"Cookie": cookie}).body
        seen[path] = len(body)
        text = body.decode("utf-8", "replace")
        waiting += re.findall(r'(?:src|href)="(/static/[^"]+)"', text)
        waiting += [f"/static/{name}" for name in re.findall(r'from "\./([^"]+)"', text)]
    return sum(seen.values())


def main(wires: int = 360, readings: int = 1000) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "loom"
        loom(folder, wires)
        began_s = time.monotonic()
        with served(folder, Path(place)) as serving:
            started_s = time.monotonic() - began_s
            cookie = serving.cookie()
            before_mb = memory_mb(serving.process.pid)
            with screen(serving, cookie) as first, screen(serving, cookie) as second:
                state = heard(first, ("state",))
                heard(second, ("state",))
                took_ms: list[float] = []
                while len(took_ms) < readings and state["prompt"]:
                    prompt = state["prompt"]
                    joined = prompt["from"][1:] == prompt["to"][1:]
                    seen = {"row": state["last_row"], "from": prompt["from"], "to": prompt["to"]}
                    text = "0.2" if joined else "OL"
                    command = {"id": f"n{len(took_ms)}", "do": "value", "text": text, "seen": seen}
                    sent_s = time.perf_counter()
                    first.send(json.dumps(command))
                    heard(second, ("change",))
                    took_ms.append(1e3 * (time.perf_counter() - sent_s))
                    state = heard(first, ("change",))
            took_ms.sort()
            after_mb = memory_mb(serving.process.pid)
            print(f"{wires} wires, {len(took_ms)} readings typed on one screen, two screens")
            print(f"page answers {started_s:.2f} s after the command")
            for share in (50, 95, 99):
                within_ms = took_ms[len(took_ms) * share // 100]
                print(f"next prompt on the second screen, p{share}: {within_ms:.0f} ms")
            print(f"memory: {before_mb:.0f} MB at the start, {after_mb:.0f} MB after the readings")
            print(f"first load of the measuring page: {first_load(serving, cookie) / 1e3:.0f} kB")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
