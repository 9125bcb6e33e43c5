"""What of a bag goes into the index. The bag may have come from anybody: what has not its usual form is
passed over, and `verify` says what is wrong with it."""

from __future__ import annotations

import hashlib
import json
import struct
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from loomtest.errors import ArchiveError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import Entry
from loomtest.harness.document import finite_number

EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
READINGS_PATH = "data/run/readings.csv"
PACKED = ("ohms", "measured_ohms", "uncertainty_ohms", "limit_ohms")
_NOTHING = float("nan")


@dataclass(frozen=True, slots=True)
class BagRows:
    """The rows of one bag, each by its columns' names; `measured` and `layout` None without ohms."""

    bag: dict[str, Any]
    findings: tuple[dict[str, Any], ...] = ()
    layout: dict[str, Any] | None = None
    measured: dict[str, Any] | None = None


def read_bag(bag: Path, entry: Entry) -> BagRows:
    """The rows of one bag; a bag that is missing or cannot be read leaves its place with empty cells."""
    info: Mapping[str, str] = {}
    verdict, readings = b"", ""
    with suppress(ArchiveError):  # the history goes on without it
        info = archive_bag.read_info(bag)
    with suppress(OSError):
        verdict = (bag / archive_bag.VERDICT).read_bytes()
    with suppress(OSError):
        readings = archive_bag.digest_of(bag / READINGS_PATH)
    return rows_of_bag(entry, info, verdict, readings)


def rows_of_bag(entry: Entry, info: Mapping[str, str], verdict: bytes, readings: str) -> BagRows:
    """The rows of a bag with this description and the bytes of this verdict."""
    try:
        read = json.loads(verdict)
    except (ValueError, RecursionError):
        read = None
    return rows_of(entry, info, read if isinstance(read, dict) else {}, readings)


def rows_of(entry: Entry, info: Mapping[str, str], verdict: Mapping[str, Any], readings: str) -> BagRows:
    """The rows of a bag with this description and verdict; `readings`: the SHA-256 of its readings."""
    readings = info.get(archive_bag.READINGS, "") or readings  # as they were recorded, where they are packed
    circuits = _circuits(verdict)
    findings = _findings(entry.sequence, verdict, circuits)
    return BagRows(
        _bag_row(entry, info, verdict, readings),
        findings,
        *_measured(entry.sequence, verdict, circuits),
    )


def _bag_row(
    entry: Entry, info: Mapping[str, str], verdict: Mapping[str, Any], readings: str
) -> dict[str, Any]:
    labels = {
        "previous": archive_bag.PREVIOUS,
        "harness": archive_bag.HARNESS,
        "stage": archive_bag.STAGE,
        "operator": archive_bag.OPERATOR,
        "started": archive_bag.STARTED,
        "kept": archive_bag.KEPT,
        "tool": archive_bag.TOOL,
        "key": archive_bag.KEY,
        "job": archive_bag.JOB,
        "unit": archive_bag.UNIT,
        "customer": archive_bag.CUSTOMER,
        "bench": archive_bag.BENCH,
    }
    row: dict[str, Any] = {name: _text(info.get(label)) for name, label in labels.items()}
    moment, written = moment_of(row["started"], row["kept"])
    return {
        **row,
        **{key: _text(verdict.get(key)) for key in ("verdict", "wiring", "joints")},
        "sequence": entry.sequence,
        "folder": entry.folder,
        "digest": entry.digest,
        "findings": len(_listed(verdict.get("findings"))),
        "readings": readings,
        "rehearsal": int(archive_bag.REHEARSAL in info or verdict.get("rehearsal") is True),
        "date": written,
        "day": moment,
    }


def moment_of(*texts: str) -> tuple[float, str]:
    """Days since 2000-01-01 UTC, and the date as it was written, of the first text that is a time; (0, "")
    where none is. A time without its offset counts as UTC."""
    for text in texts:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            continue
        written = moment.date().isoformat()
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
        return (moment - EPOCH).total_seconds() / 86400.0, written
    return 0.0, ""


def _circuits(verdict: Mapping[str, Any]) -> dict[str, str]:
    return {
        _text(point): _text(net.get("net"))
        for net in _tables(verdict.get("nets"))
        for point in _listed(net.get("points"))
    }


def _findings(
    sequence: int, verdict: Mapping[str, Any], circuits: Mapping[str, str]
) -> tuple[dict[str, Any], ...]:
    rows = []
    for number, found in enumerate(_tables(verdict.get("findings")), 1):
        points = [_text(point) for point in _listed(found.get("points"))]
        wires = [_text(suspect.get("wire")) for suspect in _tables(found.get("suspects"))]
        touched = dict.fromkeys(circuits[point] for point in points if point in circuits)
        row = {"sequence": sequence, "number": number, "fault": _text(found.get("fault"))}
        row |= {"points": " ".join(points), "wires": " + ".join(wires), "circuits": " + ".join(touched)}
        rows.append(row)
    return tuple(rows)


def _measured(
    sequence: int, verdict: Mapping[str, Any], circuits: Mapping[str, str]
) -> tuple[dict[str, Any] | None, dict[str, Any] | None]:
    """The layout and the packed numbers of a verdict's wires."""
    rows: dict[str, tuple[str, list[float]]] = {}
    for wire in _tables(verdict.get("wires")):
        numbers = [finite_number(wire.get(name)) for name in PACKED]
        if numbers[0] is None:
            continue
        # Wires that cannot be told apart share one value: it is one line of the history.
        wires = " + ".join(sorted(map(_text, [wire.get("wire"), *_listed(wire.get("with"))])))
        known = [_NOTHING if number is None else number for number in numbers]
        rows.setdefault(wires, (circuits.get(_text(wire.get("from")), ""), known))
    if not rows:
        return None, None
    wires_text = json.dumps([[wires, circuit] for wires, (circuit, _) in rows.items()], ensure_ascii=False)
    name = hashlib.sha256(wires_text.encode()).hexdigest()
    packed = {key: _packed([numbers[at] for _, numbers in rows.values()]) for at, key in enumerate(PACKED)}
    return {"layout": name, "wires": wires_text}, {"sequence": sequence, "layout": name, **packed}


def _packed(numbers: list[float]) -> bytes:

    return struct.pack(f"<{len(numbers)}d", *numbers)


def _listed(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _tables(value: object) -> list[dict[str, Any]]:
    return [item for item in _listed(value) if isinstance(item, dict)]


def _text(value: object) -> str:
    """Text that a database can hold: JSON may escape half of a character, or nothing at all."""
    if not isinstance(value, str):
        return ""
    return value.encode("utf-8", "replace").decode("utf-8").replace("\0", "\N{REPLACEMENT CHARACTER}")
