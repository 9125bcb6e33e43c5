"""What one running bench page holds: the folder, the keys, the sittings, and how it can be reached."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.web.hub import Hub
from loomtest.web.keys import Keyring
from loomtest.web.place import Place

ALONE_S = 3600.0  # without anyone for so long, it closes by itself


@dataclass
class Served:
    """`origins`: every address it answers to, this machine's own first; `phone`: that for other screens."""

    place: Place
    keyring: Keyring
    origins: tuple[str, ...]
    cookie: str
    archive: Path
    phone: str = ""
    fingerprint: str = ""
    demo: bool = False
    hub: Hub = field(default_factory=Hub)
    seen_s: float = field(default_factory=time.monotonic)
    closing: bool = False

    def see(self) -> None:
        """Someone is here."""
        self.seen_s = time.monotonic()

    @property
    def alone(self) -> bool:
        """Whether nobody was here for an hour."""
        if self.hub.screens:
            self.see()
        return time.monotonic() - self.seen_s > ALONE_S
