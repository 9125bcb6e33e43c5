"""Who may come in: keys and pairing codes that work once, and the cookies that they become.

Only hashes are kept. They stand in a file that its owner alone reads, so that a cookie outlives a crash of
the server; the file goes when the page is closed.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # without I and O, which look like digits
CODE_LENGTH = 8
CODE_LASTS_S = 600.0
WRONG_CODES = 5  # within WRONG_WITHIN_S, then every code is refused until the minute is over
WRONG_WITHIN_S = 60.0
MOST_COOKIES = 50


class Keyring:
    """Keys, the pairing code and the cookies of one served folder. `clock` counts seconds.

    `file`: where the cookies outlive a crash; None keeps them in memory alone.
    """

    def __init__(self, file: Path | None, clock: Callable[[], float]) -> None:
        self._file, self._clock = file, clock
        self._cookies: list[str] = []
        self._keys: set[str] = set()
        self._code = ""
        self._code_until_s = 0.0
        self._wrong: deque[float] = deque()
        self.port = 0
        self.after_crash = self._read()

    def new_key(self) -> str:
        """A key that becomes a cookie once."""
        key = secrets.token_urlsafe(32)
        self._keys.add(_hash(key))
        return key

    def spend_key(self, key: str) -> str:
        """The cookie that a key becomes; "" for a key that is not known, or was used."""
        known = _hash(key)
        if known not in self._keys:
            return ""
        self._keys.discard(known)
        return self._new_cookie()

    def code(self) -> str:
        """The pairing code that is good now; a new one where the last was used or is too old."""
        if not self._code or self._clock() >= self._code_until_s:
            self._code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
            self._code_until_s = self._clock() + CODE_LASTS_S
        return self._code

    @property
    def locked(self) -> bool:
        """Too many wrong codes came within the last minute."""
        now_s = self._clock()
        while self._wrong and now_s - self._wrong[0] >= WRONG_WITHIN_S:
            self._wrong.popleft()
        return len(self._wrong) >= WRONG_CODES

    def spend_code(self, text: str) -> str:
        """The cookie that a pairing code becomes; "" for a wrong, old or used one, and while locked."""
        if self.locked:
            return ""
        given = "".join(letter for letter in text.upper() if letter.isalnum())
        good = bool(self._code) and self._clock() < self._code_until_s
        if not good or not secrets.compare_digest(given.encode(), self._code.encode()):
            self._wrong.append(self._clock())
            return ""
        self._code = ""
        return self._new_cookie()

    def knows(self, cookie: str) -> bool:
        """Whether this cookie was given out."""
        return bool(cookie) and _hash(cookie) in self._cookies

    def keep(self) -> None:
        """Write the file again, as after a change of `port`."""
        if self._file is None:
            return
        text = json.dumps({"cookies": self._cookies, "port": self.port})
        partial = self._file.with_name(f"{self._file.name}.{os.getpid()}")
        try:
            self._file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            partial.unlink(missing_ok=True)
            handle = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(text)
            partial.replace(self._file)
        except OSError:  # then a crash asks for a new key; nothing else is lost
            with suppress(OSError):
                partial.unlink(missing_ok=True)

    def forget(self) -> None:
        """The page is closed: no cookie is good any more."""
        self._cookies.clear()
        self._keys.clear()
        self._code = ""
        if self._file is not None:
            with suppress(OSError):
                self._file.unlink(missing_ok=True)

    def _new_cookie(self) -> str:
        cookie = secrets.token_urlsafe(32)
        self._cookies = [*self._cookies, _hash(cookie)][-MOST_COOKIES:]
        self.keep()
        return cookie

    def _read(self) -> bool:
        """What a crashed server left; whether there was anything."""
        if self._file is None:
            return False
        try:
            kept = json.loads(self._file.read_text(encoding="utf-8"))
            self._cookies = [str(each) for each in kept["cookies"]][-MOST_COOKIES:]
            self.port = int(kept["port"])
        except (OSError, ValueError, KeyError, TypeError):
            return False
        return True


def keyring_file(folder: Path) -> Path:
    """Where the cookies of a served folder are kept: in the home folder, never beside the looms."""
    name = hashlib.sha256(str(folder.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return Path.home() / ".loomtest" / f"bench-{name}.json"


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()
