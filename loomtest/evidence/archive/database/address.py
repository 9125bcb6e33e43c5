"""Where an archive's index is: a file beside the bags, or a PostgreSQL database that several benches share.

    archive.toml in the archive folder:
    index = "postgresql://bench@server/loomtest"

A password stands in the environment (PGPASSWORD) or in `~/.pgpass`, which PostgreSQL's own library reads. One
in an address is refused, and no message repeats an address with what stands before its `@`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl, unquote, urlsplit

from loomtest.errors import InputError, Problem
from loomtest.evidence.archive.folder import INDEX, Archive
from loomtest.harness.outward import visible

ARCHIVE_FILE = "archive.toml"
_FORM = "postgresql://USER@HOST/DATABASE"
_EXPECTED = f"{_FORM}, with its password in PGPASSWORD or in ~/.pgpass"
# Others of PostgreSQL's own keys name files to read, or send the password another way: an archive.toml may
# have come from anybody.
_KEYS = ("host", "port", "schema", "sslmode", "sslrootcert")


@dataclass(frozen=True, slots=True)
class Address:
    """A file, or the parts of a database's address. `options`: those of `_KEYS` that were given."""

    file: Path | None = None
    user: str = ""
    host: str = ""
    port: int | None = None
    database: str = ""
    options: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        if self.file is not None:
            return str(self.file)
        options = dict(self.options)
        host = self.host or options.get("host", "")
        port = self.port or options.get("port", "")
        return visible(f"postgresql://{host}{f':{port}' if port else ''}/{self.database}")


def index_address(archive: Archive) -> Address:
    """The address of an archive's index: one that was given, else what archive.toml says, else the file
    beside the bags. Raises InputError."""
    folder = archive.folder
    if archive.index is not None:
        return read_address(archive.index, "--index", "")
    path = folder / ARCHIVE_FILE
    if not path.is_file():
        return Address(folder / INDEX)
    try:
        said = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        # What the parser says of a broken line may hold a piece of it.
        found = error.strerror if isinstance(error, OSError) else "a line that is not TOML"
        raise InputError([Problem(str(path), None, "", str(found), f'index = "{_FORM}"')]) from None
    if strange := [key for key in said if key != "index"]:
        raise InputError([Problem(str(path), None, visible(strange[0]), "an unknown key", "index")])
    if not isinstance(said.get("index"), str):
        return Address(folder / INDEX)
    return read_address(said["index"], str(path), "index")


def read_address(text: str, file: str, key: str) -> Address:
    """The address in a text. Raises InputError, whose message repeats nothing of the text."""

    def refused(found: str, expected: str = _EXPECTED) -> InputError:
        return InputError([Problem(file, None, key, found, expected)])

    try:
        parts = urlsplit(text.strip())
        port, password = parts.port, parts.password
        options = dict(parse_qsl(parts.query, keep_blank_values=True))
    except ValueError:
        raise refused("an address that cannot be read") from None
    if password is not None or any("pass" in name.casefold() for name in options):
        raise refused("a password in the address")
    if parts.scheme != "postgresql":
        raise refused("another kind of address")
    if strange := [name for name in options if name not in _KEYS]:
        named = f" {strange[0][:40]}" if strange[0].isidentifier() else ""  # else it may be a password
        raise refused(f"the unknown option{named}", f"one of {', '.join(_KEYS)}")
    database = unquote(parts.path).strip("/")
    if not database or not text.isprintable():
        raise refused("an address without the name of a database")
    user, host = unquote(parts.username or ""), parts.hostname or ""
    if any("@" in part for part in (database, host, *options.values())):
        raise refused("an @ where none belongs")  # what stands before it may be a password
    return Address(None, user, host, port, database, tuple(options.items()))
