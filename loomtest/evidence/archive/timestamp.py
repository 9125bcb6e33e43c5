"""Time-stamps from outside (RFC 3161): when the ledger's lines up to then were no later than that.

A time-stamp server gets one SHA-256 and nothing else, that of the ledger's lines so far, and signs it with
the time of its own clock. What it answers is kept in `time-stamps/` as it came; OpenSSL checks it too:

    head -n 3 tag-manifests.sha256 > lines
    openssl ts -verify -data lines -in time-stamps/NAME.tsr -CAfile CERT.pem
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from loomtest.errors import ArchiveError, InputError, Problem
from loomtest.evidence.archive.anchor import chain_digests
from loomtest.evidence.archive.folder import STAMPS, Archive, ledger_line
from loomtest.evidence.archive.verify import Checked

if TYPE_CHECKING:
    from rfc3161_client import TimeStampResponse, Verifier

_QUERY = "application/timestamp-query"  # RFC 3161, 3.4
_WAIT_S = 30.0
_MOST_BYTES = 1_000_000  # an answer with its certificates has a few thousand
_GRANTED = 0  # RFC 3161, 2.4.2; nothing is asked for that could be granted with modifications
_EXTRA = "pip install 'loomtest[time-stamp]'"


@dataclass(frozen=True, slots=True)
class Stamp:
    """A time-stamp as kept: its file, how many runs it stands for, and the server's time."""

    path: Path
    runs: int
    time: str


class Stamper:
    """A time-stamp server. Raises InputError for an address that is none, ArchiveError without the client."""

    def __init__(self, url: str) -> None:
        try:
            parts = urlsplit(url)
            known = parts.scheme in ("http", "https") and bool(parts.hostname)
        except ValueError:
            known = False
        if not known:
            expected = "the address of a time-stamp server, http://… or https://…"
            raise InputError([Problem("--time-stamp", None, "", f'"{url}"', expected)])
        self.url = url
        _client()

    def stamp(self, archive: Archive) -> Stamp:
        """Have all runs kept so far stamped, and keep the answer.

        Raises ArchiveError where nothing is kept yet, or the server is away or answers something else.
        """
        entries = archive.entries()
        if not entries:
            raise ArchiveError(f"{archive.folder} holds no kept run that could be stamped")
        client = _client()
        lines = "".join(map(ledger_line, entries)).encode()  # hashed by the client: SHA-256 as in the chain
        builder = client.TimestampRequestBuilder().hash_algorithm(client.HashAlgorithm.SHA256)
        request = builder.data(lines).build()
        answered = self._ask(request.as_bytes())
        answer = _decoded(answered)
        if answer is None or answer.status != _GRANTED:
            raise ArchiveError(f"{self.url} did not answer with a time-stamp")
        if _stamped(answer) != chain_digests(entries)[-1] or answer.tst_info.nonce != request.nonce:
            raise ArchiveError(f"{self.url} answered with the time-stamp of something else")
        return _kept(archive, len(entries), answered, answer)

    def _ask(self, query: bytes) -> bytes:
        from http.client import HTTPException
        from urllib.request import Request, urlopen

        try:
            with urlopen(Request(self.url, query, {"Content-Type": _QUERY}), timeout=_WAIT_S) as answer:
                data: bytes = answer.read(_MOST_BYTES)
        except (OSError, HTTPException, ValueError) as error:
            reason = getattr(error, "reason", None) or error
            raise ArchiveError(f"the time-stamp server {self.url} cannot be reached: {reason}") from None
        return data


def load_authority(path: Path) -> Verifier:
    """What checks stamps against certificates in a PEM file: the authority's own, and those above it.

    Raises InputError for a file without a certificate that signs itself, ArchiveError without the client.
    """
    from cryptography.x509 import load_pem_x509_certificates

    client = _client()
    expected = "certificates of a time-stamp authority (PEM), up to the one that signs itself"
    try:
        found = load_pem_x509_certificates(path.read_bytes())
    except (OSError, ValueError) as error:
        said = f"nothing that can be read as that ({error})"
        raise InputError([Problem(str(path), None, "", said, expected)]) from None
    roots = [each for each in found if each.subject == each.issuer]
    if not roots:
        said = "no certificate that signs itself"
        raise InputError([Problem(str(path), None, "", said, expected)])
    between = [each for each in found if each not in roots]
    verifier: Verifier = client.VerifierBuilder(roots=roots, intermediates=between).build()
    return verifier


def check_stamps(archive: Archive, authority: Verifier | None = None) -> list[Checked]:
    """Every kept time-stamp against the ledger; with an authority its signature too.

    With an authority, runs that no stamp covers are told as not checked.
    """
    entries = archive.entries()
    digests = chain_digests(entries)
    folder = archive.folder / STAMPS
    paths = sorted(folder.glob("*.tsr")) if folder.is_dir() else []
    checked, covered = [], 0
    for path in paths:
        one, runs = _check(path, digests, authority)
        checked.append(one)
        covered = max(covered, runs)
    if authority is not None and covered < len(entries):
        newest = f"{len(entries) - covered} of {len(entries)} kept runs, the newest, have no time-stamp"
        checked.append(Checked(STAMPS, (), (), (f"{newest} that holds",)))
    return checked


def _check(path: Path, digests: Sequence[bytes], authority: Verifier | None) -> tuple[Checked, int]:
    """What is to say of one stamp, and how many runs it covers beyond doubt."""
    name = f"{STAMPS}/{path.name}"
    try:
        data = b"" if path.is_symlink() or path.stat().st_size > _MOST_BYTES else path.read_bytes()
        answer = _decoded(data)
    except OSError as error:
        return Checked(name, (f"cannot be read: {error.strerror}",)), 0
    except ArchiveError as error:
        return Checked(name, (), (), (str(error),)), 0
    if answer is None:
        return Checked(name, ("is no time-stamp (RFC 3161)",)), 0
    stamped = _stamped(answer)
    if stamped not in digests:
        return Checked(name, (f"stands for other runs than these: of {_time(answer)}",)), 0
    runs = digests.index(stamped) + 1
    said = f"the first {runs} of {len(digests)} kept runs were these on {_time(answer)}"
    if authority is None:
        return Checked(name, (), (said, "its signature was not checked (--time-stamp-authority does)")), 0
    from rfc3161_client import VerificationError

    try:
        authority.verify(answer, stamped)
    except (VerificationError, ValueError):
        return Checked(name, ("is not signed by that time-stamp authority",)), 0
    return Checked(name, (), (said, "signed by that time-stamp authority")), runs


def _kept(archive: Archive, runs: int, answered: bytes, answer: TimeStampResponse) -> Stamp:
    """The answer as it came, in a file of its own: beside what is there, never over it."""
    time = answer.tst_info.gen_time.strftime("%Y%m%dT%H%M%SZ")
    name = f"{runs:06d}-{time}-{hashlib.sha256(answered).hexdigest()[:8]}.tsr"
    path = archive.folder / STAMPS / name
    aside = path.with_suffix(".part")
    try:
        path.parent.mkdir(exist_ok=True)
        with aside.open("wb") as stream:
            stream.write(answered)
            stream.flush()
            os.fsync(stream.fileno())
        aside.replace(path)
    except OSError as error:
        raise ArchiveError(f"{path} cannot be written: {error.strerror}") from error
    return Stamp(path, runs, _time(answer))


def _stamped(answer: TimeStampResponse) -> bytes:
    return answer.tst_info.message_imprint.message


def _time(answer: TimeStampResponse) -> str:
    return answer.tst_info.gen_time.strftime("%Y-%m-%d %H:%M:%S UTC")


def _decoded(data: bytes) -> TimeStampResponse | None:
    """The answer read; None for anything that is none, a refusal without a token included."""
    client = _client()
    try:
        answer: TimeStampResponse = client.decode_timestamp_response(data)
        _ = _time(answer), _stamped(answer)
    except ValueError:
        return None
    return answer


def _client() -> Any:
    try:
        import rfc3161_client
    except ImportError:
        raise ArchiveError(f"time-stamps need one more package: {_EXTRA}") from None
    return rfc3161_client
