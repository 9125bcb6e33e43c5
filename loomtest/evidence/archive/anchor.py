"""An anchor outside the archive: one short code that stands for everything kept so far.

Whoever can write to an archive can write the newest run, ledger and index anew, all of it in good order. A
code written into the job book cannot be reached from there: the ledger's lines up to a run have exactly one.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence

from loomtest.evidence.archive.folder import Entry, Ledger, ledger_line

_BYTES = 15  # 120 bits in 24 characters: nobody finds a second archive with the same code
_GROUP = 4
# RFC 4648 base32 without padding; what people read as one another is taken for what it stands for.
_ALIKE = str.maketrans({"0": "O", "1": "I", "8": "B"})


def chain_digests(entries: Sequence[Entry]) -> list[bytes]:
    """For each run of a ledger, in its order, the SHA-256 of the ledger's lines up to its own.

    `head -n 3 tag-manifests.sha256 | sha256sum` gives the third of them without this program.
    """
    chain, digests = hashlib.sha256(), []
    for entry in entries:
        chain.update(ledger_line(entry).encode())
        digests.append(chain.digest())
    return digests


def chain_code(ledger: Ledger, runs: int) -> str:
    """The code of the first so many runs of a ledger."""
    return _code(hashlib.sha256(ledger.up_to(runs)).digest())


def chain_codes(entries: Sequence[Entry]) -> list[str]:
    """For each run of a ledger, in its order, the code of all runs up to it: `ABCD-EFGH-…`."""
    return [_code(digest) for digest in chain_digests(entries)]


def _code(digest: bytes) -> str:
    text = base64.b32encode(digest[:_BYTES]).decode("ascii")
    return "-".join(text[at : at + _GROUP] for at in range(0, len(text), _GROUP))


def found_at(code: str, entries: Sequence[Entry]) -> int | None:
    """How many runs the archive held when the code was written down; None where it never had that code."""
    wanted = "".join(c for c in code.upper().translate(_ALIKE) if c.isalnum())
    plain = [each.replace("-", "") for each in chain_codes(entries)]
    return plain.index(wanted) + 1 if wanted in plain else None
