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
from dataclasses import dataclass, field
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
VERDICT = "data/verdict.json"
_KEPT = {*_MANIFESTS, DECLARATION, BAG_INFO, VERDICT}
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

    `opening` makes the page that is opened first, of the bag and what its bag-info.txt says. The payload
    should be on disk before (`sync_tree`); the bag's own files are when it is placed. Raises ArchiveError.
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
        sync_file(path)


def sync_file(path: Path) -> None:
    """The file is on disk when this returns."""
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
    return _labels(text)


def _labels(text: str) -> dict[str, str]:
    info: dict[str, str] = {}
    label = ""
    for line in text.splitlines():
        if line[:1] in (" ", "\t") and label:
            info[label] += " " + line.strip()
        elif ":" in line:
            label, _, value = line.partition(":")
            info[label] = value.strip()
    return info


@dataclass(frozen=True, slots=True)
class ReadBag:
    """A bag every byte of which was read once: what is wrong with it (`problems`, empty when every byte is as
    it was closed), the labels of its description, the SHA-256 of each file by its path, the bytes of its
    verdict."""

    problems: tuple[str, ...]
    info: Mapping[str, str] = field(default_factory=dict)
    sha256: Mapping[str, str] = field(default_factory=dict)
    verdict: bytes = b""


def bag_problems(bag: Path) -> list[str]:
    """What is wrong with the bag, judged by what stands in it; empty when every byte is as it was closed."""
    return list(read_whole(bag).problems)


def read_whole(bag: Path) -> ReadBag:
    """Read and check a bag.

    Stricter than RFC 8493 asks for: both kinds of digests must name every file, manifests must be written as
    this program writes them (a changed letter case is no other digest), and no other file may lie about.
    """
    if not (bag / DECLARATION).is_file():
        return ReadBag((f"{DECLARATION} is missing: this is no bag",))
    if bag.is_symlink():
        return ReadBag(("is a link",))
    try:
        if missing := [name for name in _MANIFESTS if not (bag / name).is_file()]:
            return ReadBag(tuple(f"{name} is missing" for name in missing))
        return _BagFiles(bag).whole()
    except OSError as error:
        return ReadBag((f"cannot be read: {error}",))


class _BagFiles:
    """The files of a bag by their paths, each read once."""

    def __init__(self, bag: Path) -> None:
        self.bag = bag
        self.links: list[str] = []
        self.others: list[str] = []  # pipes, devices: nothing to read
        self.sizes: dict[str, int] = {}
        for name, entry in _found(os.fspath(bag), ""):
            if entry.is_symlink():
                self.links.append(name)
            elif entry.is_file():
                self.sizes[name] = entry.stat().st_size
            else:
                self.others.append(name)
        self.kept: dict[str, bytes] = {}
        self.digests: dict[str, dict[str, str]] = {}
        for name in self.sizes:
            self._read(name)
        self.lines = {name: _manifest_lines(self.kept[name]) for name in _MANIFESTS}

    def _read(self, name: str) -> None:
        both = {algorithm: hashlib.new(algorithm) for algorithm in ALGORITHMS}
        kept = name in _KEPT
        blocks = []
        with (self.bag / name).open("rb", buffering=0) as stream:
            while block := stream.read(1 << 20):
                for one in both.values():
                    one.update(block)
                if kept:
                    blocks.append(block)
        if kept:
            self.kept[name] = b"".join(blocks)
        self.digests[name] = {algorithm: one.hexdigest() for algorithm, one in both.items()}

    def whole(self) -> ReadBag:
        checks = (self._strays, self._declared, self._changed, self._rewritten)
        found = dict.fromkeys(problem for check in checks for problem in check())
        info = self.kept.get(BAG_INFO, b"").decode("utf-8", "replace")
        sha256 = {name: digests["sha256"] for name, digests in self.digests.items()}
        return ReadBag(tuple(found), _labels(info), sha256, self.kept.get(VERDICT, b""))

    def _strays(self) -> list[str]:
        """Files that no manifest names, manifests that leave one out, and links."""
        named = {name: {path for _, path in lines} for name, lines in self.lines.items()}
        known = set().union(*named.values()) | set(named) | {SIGNATURE_FILE}
        found = [f"{name} is a link" for name in self.links]
        found += [f"{name} was added" for name in (*self.sizes, *self.others) if name not in known]
        # Where one kind of digest names a file, the other must too: else its line could be taken out unseen.
        for kind in ("manifest-", "tagmanifest-"):
            whole = set().union(*(names for name, names in named.items() if name.startswith(kind)))
            short = [name for name, names in named.items() if name.startswith(kind) and names != whole]
            found += [f"{name} leaves files out" for name in short]
        return found

    def _declared(self) -> list[str]:
        """The declaration must be one of BagIt, and the payload as large as bag-info.txt says."""
        version = rb"BagIt-Version: (0\.97|1\.0)\nTag-File-Character-Encoding: UTF-8\n"
        if not re.fullmatch(version, self.kept[DECLARATION]):
            return [f"{DECLARATION} is none of BagIt 1.0"]
        try:
            oxum = _labels(self.kept[BAG_INFO].decode("utf-8")).get("Payload-Oxum", "")
        except (KeyError, UnicodeDecodeError) as error:
            return [f"{BAG_INFO} cannot be read: {error}"]
        sizes = [size for name, size in self.sizes.items() if name.startswith("data/")]
        now = f"{sum(sizes)}.{len(sizes)}"
        return [] if oxum in ("", now) else [f"holds {now} (bytes.files), and {BAG_INFO} says {oxum}"]

    def _changed(self) -> list[str]:
        """Files that are missing or not what the manifests say."""
        wanted: dict[str, dict[str, str]] = {}
        for name, lines in self.lines.items():
            algorithm = name.rpartition("-")[2].removesuffix(".txt")
            for digest, path in lines:
                wanted.setdefault(path, {})[algorithm] = digest
        found = []
        for path, digests in wanted.items():
            if path.startswith("/") or ".." in path.split("/"):
                found.append(f"{path} leads out of the bag")
            elif path not in self.digests:
                found.append(f"{path} is missing")
            elif self.digests[path] != digests:
                found.append(f"{path} was changed")
        return found

    def _rewritten(self) -> list[str]:
        """Manifests whose bytes are not exactly the digests they hold, written in one way."""
        found = []
        for name, lines in self.lines.items():
            data = self.kept[name]
            forms = []
            for gap in (b"  ", b" "):  # bags of version 0.1 have one space in their tag manifests
                pairs = [(digest, path.replace("%", "%25")) for digest, path in lines]
                forms.append(b"".join(d.encode() + gap + p.encode() + b"\n" for d, p in pairs))
            if data not in forms or not _plainly_written(data):
                found.append(f"{name} was rewritten")
        return found


def _found(folder: str, above: str) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """(path in the bag, entry) of every file and every link below a folder, in the order of their names."""
    with os.scandir(folder) as entries:
        here = sorted(entries, key=lambda entry: entry.name)
    for entry in here:
        if entry.is_dir(follow_symlinks=False):
            yield from _found(entry.path, f"{above}{entry.name}/")
        else:
            yield above + entry.name, entry


def state_of_files(bag: Path) -> str:
    """A digest of the names, sizes and times of a bag's files: it tells apart what was written since."""
    state = hashlib.sha256()
    for name, entry in _found(os.fspath(bag), ""):
        told = entry.stat(follow_symlinks=False)
        state.update(f"{name}\0{told.st_size}\0{told.st_mtime_ns}\0{told.st_ctime_ns}\n".encode())
    return state.hexdigest()


def _plainly_written(data: bytes) -> bool:
    """True when every line is a digest in small letters and a plain name: readers of bags differ in what
    else they take for the end of a line."""
    lines = data.decode("utf-8", "replace").split("\n")
    return lines[-1] == "" and all(
        line.isprintable() and re.match(r"[0-9a-f]+ ", line) is not None for line in lines[:-1]
    )


def _manifest_lines(data: bytes) -> list[tuple[str, str]]:
    """(digest, path) of every line that looks like one."""
    lines = data.decode("utf-8", "replace").split("\n")
    matches = (re.fullmatch(r"([0-9a-fA-F]+)[ \t]+(\S.*)", line) for line in lines)
    return [(match[1], match[2].replace("%25", "%")) for match in matches if match]


def _files(folder: Path) -> Iterator[Path]:
    for place, _, names in os.walk(folder):
        for name in sorted(names):
            yield Path(place) / name
