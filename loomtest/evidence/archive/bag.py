"""One kept run as a BagIt bag (RFC 8493): how it is closed, and how every byte of it is checked.

NAME/
  bagit.txt, bag-info.txt              what this is, in words
  manifest-sha256.txt, -sha512.txt     digests of everything in data/
  tagmanifest-sha256.txt, -sha512.txt  digests of the files above
  signature-ed25519.txt                only where a key was given
  data/run/                            the run folder as recorded, with its copy of the harness
  data/verdict.json                    what was judged when it was kept
  data/report/                         the page and the pictures
"""

from __future__ import annotations

import hashlib
import logging
import os
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.sign import SIGNATURE_FILE
from loomtest.harness.outward import visible

ALGORITHMS = ("sha256", "sha512")
TAG_MANIFEST = "tagmanifest-sha256.txt"
BAG_INFO = "bag-info.txt"
FIRST = "none, this is the first"

# Labels of bag-info.txt that RFC 8493 does not reserve.
HARNESS, STAGE, OPERATOR, STARTED = "Harness", "Stage", "Operator", "Run-Started"
REHEARSAL = "Rehearsal"
JOB, UNIT, CUSTOMER = "Job", "Unit", "Customer"
TOOL, KEPT, PREVIOUS, SEQUENCE, KEY = (
    "Tool-Version",
    "Kept",
    "Previous-Tag-Manifest",
    "Sequence",
    "Signing-Key",
)


def close_bag(folder: Path, info: Mapping[str, str]) -> str:
    """Make a bag of a folder that holds the payload, in place; the SHA-256 of its tag manifest.

    Everything is on disk when this returns. Raises ArchiveError.
    """
    _quiet()
    import bagit

    clean = {label: visible(" ".join(text.split())) for label, text in info.items() if text.strip()}
    try:
        bagit.make_bag(str(folder), clean, checksums=list(ALGORITHMS))
        # The library writes version 0.97; the bag keeps the stricter rules of 1.0 as well (two complete
        # manifests, plain names), so it says so, and the tag manifests are made again over that.
        declaration = folder / "bagit.txt"
        text = declaration.read_text("utf-8").replace("BagIt-Version: 0.97", "BagIt-Version: 1.0")
        declaration.write_text(text, "utf-8", newline="\n")
        bagit.Bag(str(folder)).save()
    except (bagit.BagError, OSError) as error:
        raise ArchiveError(f"{folder} cannot be made a bag: {error}") from error
    return digest_of(folder / TAG_MANIFEST)


def prepare(folder: Path) -> None:
    """What closing a bag can have done before it: so much less time is spent while others wait."""
    _quiet()
    import bagit  # noqa: F401  (its first import takes a fifth of a second)

    sync_tree(folder)


def sync_tree(folder: Path) -> None:
    """Every file below the folder is on disk when this returns."""
    for path in _files(folder):
        with path.open("r+b") as stream:
            os.fsync(stream.fileno())


def digest_of(path: Path, algorithm: str = "sha256") -> str:
    """Hexadecimal digest of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, algorithm).hexdigest()


def read_info(bag: Path) -> dict[str, str]:
    """The labels of bag-info.txt. Raises ArchiveError."""
    try:
        text = (bag / BAG_INFO).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ArchiveError(f"{bag / BAG_INFO} cannot be read: {error}") from error
    info: dict[str, str] = {}
    label = ""
    for line in text.splitlines():
        if line[:1] in (" ", "\t") and label:
            info[label] += " " + line.strip()
        elif ":" in line:
            label, _, value = line.partition(":")
            info[label] = value.strip()
    return info


def bag_problems(bag: Path) -> list[str]:
    """What is wrong with the bag, judged by what stands in it; empty when every byte is as it was closed.

    The `bagit` library validates the manifests; on top of it every tag manifest must be written as
    this program writes it (a changed letter case passes the library), and no other file may lie about.
    """
    if not (bag / "bagit.txt").is_file():
        return ["bagit.txt is missing: this is no bag"]
    try:
        found = _library_problems(bag) + _stray_problems(bag) + _spelling_problems(bag)
    except OSError as error:
        return [f"cannot be read: {error}"]
    return list(dict.fromkeys(found))


def _library_problems(bag: Path) -> list[str]:
    _quiet()
    import bagit

    try:
        bagit.Bag(str(bag)).validate()
    except bagit.BagValidationError as error:
        details = [str(detail) for detail in error.details]
        return details or [str(error)]
    except (bagit.BagError, UnicodeDecodeError, ValueError, KeyError) as error:
        return [f"no longer a readable bag: {error}"]
    return []


def _stray_problems(bag: Path) -> list[str]:
    """Files that no manifest names, manifests that are missing or leave one out, and links."""
    named: dict[str, set[str]] = {}
    for algorithm in ALGORITHMS:
        for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            if not (bag / name).is_file():
                return [f"{name} is missing"]
            named[name] = {path for _, path in _manifest_lines(bag / name)}
    known = set().union(*named.values()) | set(named) | {SIGNATURE_FILE}
    found = []
    for path in _files(bag, links=True):
        name = path.relative_to(bag).as_posix()
        if path.is_symlink():
            found.append(f"{name} is a link")
        elif name not in known:
            found.append(f"{name} was added")
    # Where one kind of digest names a file, the other must too: else its line could be taken out unseen.
    for kind in ("manifest-", "tagmanifest-"):
        whole = set().union(*(names for name, names in named.items() if name.startswith(kind)))
        short = [name for name, names in named.items() if name.startswith(kind) and names != whole]
        found += [f"{name} leaves files out" for name in short]
    return found


def _spelling_problems(bag: Path) -> list[str]:
    """Manifests whose bytes are not exactly the digests they hold, written in one way."""
    found = []
    for algorithm in ALGORITHMS:
        for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            data = (bag / name).read_bytes()
            forms = []
            for gap in (b"  ", b" "):  # the library writes two spaces in one kind and one in the other
                lines = [d.encode() + gap + p.encode() + b"\n" for d, p in _manifest_lines(bag / name)]
                forms.append(b"".join(lines))
            if data not in forms or not _plainly_written(data):
                found.append(f"{name} was rewritten")
    return found


def _plainly_written(data: bytes) -> bool:
    """True when every line is a digest in small letters and a plain name.

    The library also takes a vertical tab, and other separators of text, for the end of a line.
    """
    lines = data.decode("utf-8", "replace").split("\n")
    return lines[-1] == "" and all(
        line.isprintable() and re.match(r"[0-9a-f]+ ", line) is not None for line in lines[:-1]
    )


def _manifest_lines(path: Path) -> list[tuple[str, str]]:
    """(digest, path) of every line that looks like one."""
    lines = path.read_bytes().decode("utf-8", "replace").split("\n")
    matches = (re.fullmatch(r"([0-9a-fA-F]+)[ \t]+(\S.*)", line) for line in lines)
    return [(match[1], match[2]) for match in matches if match]


def _files(folder: Path, *, links: bool = False) -> Iterator[Path]:
    for place, folders, names in os.walk(folder):
        for name in sorted(names):
            yield Path(place) / name
        if links:
            for name in folders:
                if (Path(place) / name).is_symlink():
                    yield Path(place) / name


def _quiet() -> None:
    """The library logs what it also raises; a program that has no log would print it twice."""
    log = logging.getLogger("bagit")
    if not log.handlers:
        log.addHandler(logging.NullHandler())
