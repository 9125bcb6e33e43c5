"""One kept run as a BagIt bag (RFC 8493): how it is closed, and how every byte of it is checked.

NAME/
  bagit.txt, bag-info.txt              what this is, in words
  manifest-sha256.txt, -sha512.txt     digests of everything in data/
  tagmanifest-sha256.txt, -sha512.txt  digests of the files above
  signature-ed25519.txt                only where a key was given
  data/run/                            the run folder as recorded, with its copy of the harness
  data/verdict.json                    what was judged when it was kept
  data/report/                         the page and the pictures, where they were drawn
  open-this-first.html                 what this is, and how to check it without this program
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.sign import SIGNATURE_FILE
from loomtest.harness.outward import visible

ALGORITHMS = ("sha256", "sha512")
TAG_MANIFEST = "tagmanifest-sha256.txt"
BAG_INFO = "bag-info.txt"
DECLARATION = "bagit.txt"
OPENING = "open-this-first.html"
_MANIFESTS = tuple(f"{kind}-{each}.txt" for each in ALGORITHMS for kind in ("manifest", "tagmanifest"))
FIRST = "none, this is the first"

# Labels of bag-info.txt that RFC 8493 does not reserve.
HARNESS, STAGE, OPERATOR, STARTED = "Harness", "Stage", "Operator", "Run-Started"
REHEARSAL = "Rehearsal"
JOB, UNIT, CUSTOMER, BENCH = "Job", "Unit", "Customer", "Bench"
TOOL, KEPT, PREVIOUS, SEQUENCE, KEY = (
    "Tool-Version",
    "Kept",
    "Previous-Tag-Manifest",
    "Sequence",
    "Signing-Key",
)
READINGS = "Readings-SHA256"  # of the readings file as it was recorded, where the bag holds it packed


def close_bag(
    folder: Path, info: Mapping[str, str], opening: Callable[[Path, Mapping[str, str]], str] | None = None
) -> str:
    """Make a bag of a folder that holds the payload, in place; the SHA-256 of its tag manifest.

    `opening` makes the page that is opened first, of the bag and what its bag-info.txt says. Everything is
    on disk when this returns. Raises ArchiveError.
    """
    try:
        payload = folder / "data"
        aside = folder.with_name(f"{folder.name}.payload")
        folder.rename(aside)
        folder.mkdir()
        aside.rename(payload)
        files = sorted(_files(payload), key=lambda path: path.relative_to(folder).as_posix())
        octets = sum(path.stat().st_size for path in files)
        clean = {label: visible(" ".join(text.split())) for label, text in info.items() if text.strip()}
        clean["Payload-Oxum"] = f"{octets}.{len(files)}"
        lines = [f"{label}: {text}\n" for label, text in sorted(clean.items())]
        _write(folder / DECLARATION, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
        _write(folder / BAG_INFO, "".join(lines))
        if opening is not None:
            _write(folder / OPENING, opening(folder, read_info(folder)))
        for algorithm in ALGORITHMS:
            _write(folder / f"manifest-{algorithm}.txt", _manifest(folder, files, algorithm))
        tags = [
            DECLARATION,
            BAG_INFO,
            *([OPENING] if opening is not None else []),
            *(f"manifest-{algorithm}.txt" for algorithm in ALGORITHMS),
        ]
        for algorithm in ALGORITHMS:
            text = _manifest(folder, [folder / name for name in sorted(tags)], algorithm)
            _write(folder / f"tagmanifest-{algorithm}.txt", text)
        sync_tree(folder)
    except OSError as error:
        raise ArchiveError(f"{folder} cannot be made a bag: {error.strerror or error}") from error
    return digest_of(folder / TAG_MANIFEST)


def _manifest(bag: Path, files: Sequence[Path], algorithm: str) -> str:
    """One line a file: its digest, two spaces, its path in the bag (RFC 8493, 2.1.3)."""
    lines = []
    for path in files:
        name = path.relative_to(bag).as_posix().replace("%", "%25")
        lines.append(f"{digest_of(path, algorithm)}  {name}\n")
    return "".join(lines)


def _write(path: Path, text: str) -> None:
    path.write_text(text, "utf-8", newline="\n")


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

    Stricter than RFC 8493 asks for: both kinds of digests must name every file, manifests must be written as
    this program writes them (a changed letter case is no other digest), and no other file may lie about.
    """
    if not (bag / DECLARATION).is_file():
        return [f"{DECLARATION} is missing: this is no bag"]
    if bag.is_symlink():
        return ["is a link"]
    try:
        if missing := [name for name in _MANIFESTS if not (bag / name).is_file()]:
            return [f"{name} is missing" for name in missing]
        checks = (_stray_problems, _declared_problems, _digest_problems, _spelling_problems)
        found = [problem for check in checks for problem in check(bag)]
    except OSError as error:
        return [f"cannot be read: {error}"]
    return list(dict.fromkeys(found))


def _declared_problems(bag: Path) -> list[str]:
    """The declaration must be one of BagIt, and the payload as large as bag-info.txt says."""
    version = rb"BagIt-Version: (0\.97|1\.0)\nTag-File-Character-Encoding: UTF-8\n"
    if not re.fullmatch(version, (bag / DECLARATION).read_bytes()):
        return [f"{DECLARATION} is none of BagIt 1.0"]
    try:
        oxum = read_info(bag).get("Payload-Oxum", "")
    except ArchiveError as error:
        return [str(error)]
    sizes = [path.stat().st_size for path in _files(bag / "data")]
    now = f"{sum(sizes)}.{len(sizes)}"
    return [] if oxum in ("", now) else [f"holds {now} (bytes.files), and {BAG_INFO} says {oxum}"]


def _digest_problems(bag: Path) -> list[str]:
    """Files that are missing or not what the manifests say; each is read once for both kinds of digest."""
    wanted: dict[str, dict[str, str]] = {}
    for algorithm in ALGORITHMS:
        for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            for digest, path in _manifest_lines(bag / name):
                wanted.setdefault(path, {})[algorithm] = digest
    found = []
    for path, digests in wanted.items():
        if path.startswith("/") or ".." in path.split("/"):
            found.append(f"{path} leads out of the bag")
        elif not (bag / path).is_file():
            found.append(f"{path} is missing")
        elif _digests_of(bag / path) != digests:
            found.append(f"{path} was changed")
    return found


def _digests_of(path: Path) -> dict[str, str]:
    both = {algorithm: hashlib.new(algorithm) for algorithm in ALGORITHMS}
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            for one in both.values():
                one.update(block)
    return {algorithm: one.hexdigest() for algorithm, one in both.items()}


def _stray_problems(bag: Path) -> list[str]:
    """Files that no manifest names, manifests that are missing or leave one out, and links."""
    named: dict[str, set[str]] = {}
    for name in _MANIFESTS:
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
    for name in _MANIFESTS:
        data = (bag / name).read_bytes()
        forms = []
        for gap in (b"  ", b" "):  # bags of version 0.1 have one space in their tag manifests
            pairs = [(d, p.replace("%", "%25")) for d, p in _manifest_lines(bag / name)]
            lines = [d.encode() + gap + p.encode() + b"\n" for d, p in pairs]
            forms.append(b"".join(lines))
        if data not in forms or not _plainly_written(data):
            found.append(f"{name} was rewritten")
    return found


def _plainly_written(data: bytes) -> bool:
    """True when every line is a digest in small letters and a plain name: readers of bags differ in what
    else they take for the end of a line."""
    lines = data.decode("utf-8", "replace").split("\n")
    return lines[-1] == "" and all(
        line.isprintable() and re.match(r"[0-9a-f]+ ", line) is not None for line in lines[:-1]
    )


def _manifest_lines(path: Path) -> list[tuple[str, str]]:
    """(digest, path) of every line that looks like one."""
    lines = path.read_bytes().decode("utf-8", "replace").split("\n")
    matches = (re.fullmatch(r"([0-9a-fA-F]+)[ \t]+(\S.*)", line) for line in lines)
    return [(match[1], match[2].replace("%25", "%")) for match in matches if match]


def _files(folder: Path, *, links: bool = False) -> Iterator[Path]:
    for place, folders, names in os.walk(folder):
        for name in sorted(names):
            yield Path(place) / name
        if links:
            for name in folders:
                if (Path(place) / name).is_symlink():
                    yield Path(place) / name
