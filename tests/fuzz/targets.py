"""One function a reader: bytes in; a value that prints back to itself, or a LoomtestError; nothing else.

A target raises nothing for input that is refused in the program's own words, and AssertionError where a
value was read wrongly: whatever else comes out of it is a fault of the reader.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loomtest.errors import InputError, LoomtestError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from tests.fuzz import bags, files, lines, oracle, requests, sheets

MEMORY = Path("/dev/shm")
_WIRES = "from,to,wire,colour\nX1:1,X2:1,W1,RD\nX1:2,SP1,W2,BKWH\nSP1,GND1,W3,BK\nSP1,X2:2,W4,RD\n"


@dataclass(frozen=True)
class Target:
    """A reader to be fuzzed. `seeds`: good inputs to begin with. `words`: pieces that it looks for."""

    run: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    words: tuple[bytes, ...] = ()
    longest: int = 600


class Workplace:
    """A folder in memory where there is one: a hundred thousand files go through it."""

    def __init__(self) -> None:
        self._kept = tempfile.TemporaryDirectory(
            prefix=f"loomtest-fuzz-{os.getpid()}-", dir=MEMORY if MEMORY.is_dir() else None
        )
        self.folder = Path(self._kept.name)
        (self.folder / "wires.csv").write_text(_WIRES, "utf-8")
        self.harness = load_harness(self.folder / "wires.csv")

    @contextmanager
    def empty(self, name: str):
        """A fresh folder, gone afterwards."""
        place = self.folder / name
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        yield place


_WORKPLACE: list[Workplace] = []


def workplace() -> Workplace:
    if not _WORKPLACE:
        _WORKPLACE.append(Workplace())
    return _WORKPLACE[0]


def told(error: LoomtestError) -> None:
    """A refusal names what was found and what was expected, and commands no terminal."""
    from loomtest.commands.terminal.text import shown_lines

    assert str(error).strip()
    assert all(line.isprintable() for line in shown_lines(str(error)).split("\n"))
    if isinstance(error, InputError):
        assert error.problems
        assert all(problem.found and problem.expected for problem in error.problems)


def wire_list(data: bytes) -> None:
    place = workplace().folder / "list.csv"
    place.write_bytes(data)
    try:
        harness = load_harness(place)
    except LoomtestError as error:
        return told(error)
    return wires_print_back(harness)


def wires_print_back(harness: Harness) -> None:
    """What was read of each wire, written with our own columns, reads to the same."""
    assert harness.nets and len(harness.start) == len(harness.wires)
    rewritten = io.StringIO()
    writer = csv.writer(rewritten, lineterminator="\n")
    rewritten.write("from,to,wire,kind,colour,size,length,ohms_min,ohms_max,amps,circuit,note\n")
    for wire in harness.wires:
        numbers = (wire.size_mm2, wire.length_m, wire.ohms_min, wire.ohms_max, wire.amps)
        shown = ["" if n is None else repr(n) for n in numbers]
        writer.writerow([wire.start, wire.end, wire.name, wire.kind, wire.colour, *shown,
                         wire.circuit, wire.note])  # fmt: skip
    again_at = workplace().folder / "again.csv"
    again_at.write_text(rewritten.getvalue(), "utf-8", newline="")
    again = load_harness(again_at)
    for one, two in zip(harness.wires, again.wires, strict=True):
        for field in ("start", "end", "name", "kind", "colour", "size_mm2", "length_m", "ohms_min",
                      "ohms_max", "amps", "circuit", "note"):  # fmt: skip
            assert getattr(one, field) == getattr(two, field), (field, one, two)


def harness_toml(data: bytes) -> None:
    from loomtest.harness.swap.files import settings_text

    with workplace().empty("toml") as folder:
        (folder / "wires.csv").write_text(_WIRES, "utf-8")
        (folder / "harness.toml").write_bytes(data)
        try:
            harness = load_harness(folder)
        except LoomtestError as error:
            return told(error)
        (folder / "harness.toml").write_text(settings_text(harness, harness), "utf-8", newline="")
        again = load_harness(folder)
        for field in ("name", "expect", "limits", "cavities", "faces", "places", "unreachable", "worked_on",
                      "points"):  # fmt: skip
            assert getattr(harness, field) == getattr(again, field), field
    return None


def readings(data: bytes) -> None:
    from loomtest.readings.bulk import bulk_table
    from loomtest.readings.columns import NeedsCareError
    from loomtest.readings.load import assemble, load_readings

    harness = workplace().harness
    place = workplace().folder / "readings.csv"
    place.write_bytes(data)
    careful, fast = None, None
    try:
        careful = load_readings(place, harness)
    except LoomtestError as error:
        told(error)
    if sum(data) % 8:  # the reader of large files takes ten times as long on a small one
        return _checked(data, careful, None)
    try:
        table = bulk_table(data, "readings.csv")
        fast = assemble(table, harness) if table is not None else None
    except (LoomtestError, NeedsCareError):
        return _checked(data, careful, None)
    assert fast is None or careful is not None, "the reader of large files takes what the other refuses"
    return _checked(data, careful, fast)


def _checked(data: bytes, careful, fast) -> None:
    harness = workplace().harness
    if careful is None:
        return
    for field in ("start", "end", "quantity", "value", "above_ohm", "uncertainty", "current_a", "row"):
        if fast is not None:
            np.testing.assert_array_equal(getattr(careful, field), getattr(fast, field), field)
    readings_print_back(careful, harness)
    _readings_mean_what_is_written(data, careful)


def readings_print_back(found, harness: Harness) -> None:
    from loomtest.readings.load import load_readings
    from loomtest.readings.model import Quantity

    out = ["from,to,value,quantity,current\n"]
    for row in range(len(found)):
        quantity = Quantity(int(found.quantity[row]))
        value = float(found.value[row])
        shown = "OL" if np.isinf(value) else repr(value)
        if np.isinf(value) and not np.isnan(found.above_ohm[row]):
            shown = f">{float(found.above_ohm[row])!r}"
        if quantity is Quantity.CONTINUITY:
            shown = "yes" if value else "no"
        current = found.current_a[row]
        ends = [found.points[int(code[row])] for code in (found.start, found.end)]
        buffer = io.StringIO()
        csv.writer(buffer, lineterminator="\n").writerow(
            [*ends, shown, quantity.name.lower(), "" if np.isnan(current) else repr(float(current))]
        )
        out.append(buffer.getvalue())
    place = workplace().folder / "printed.csv"
    place.write_text("".join(out), "utf-8", newline="")
    again = load_readings(place, harness)
    for field in ("value", "quantity", "current_a"):
        np.testing.assert_array_equal(getattr(found, field), getattr(again, field), field)


def _readings_mean_what_is_written(data: bytes, found) -> None:
    """Plain files of three columns: each value against decimal arithmetic."""
    from loomtest.readings.values import is_over_range

    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError:
        return  # read as another encoding, and that is said
    if not text.startswith("from,to,value\n") or '"' in text:
        return
    written = text.split("\n")
    for row, line in enumerate(found.row.tolist()):
        cell, value = written[line - 1].split(",", 2)[2].rstrip(",").strip(), float(found.value[row])
        exact = oracle.ohms_of(cell)
        if np.isinf(value):
            assert is_over_range(cell) or cell[0] in ">≥" or lines.far(cell), cell
        elif exact is not None:
            assert oracle.same(value, exact), (cell, value)
        else:
            assert oracle.has_digit(cell), cell


def instrument(data: bytes) -> None:
    from loomtest.bench.meter.settings import read_settings
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.runfile import instrument_text

    place = workplace().folder / "meter.toml"
    place.write_bytes(data)
    try:
        found = load_instrument(place)
    except LoomtestError as error:
        return told(error)
    place.write_text(instrument_text(found), "utf-8", newline="\n")
    assert load_instrument(place) == found
    try:
        read_settings(data.decode("utf-8-sig", "replace"), "meter.toml")
    except LoomtestError as error:
        told(error)
    return None


def run_folder(data: bytes) -> None:
    """What stands before the first `%%%` is run.toml, what comes behind it readings.csv."""
    from datetime import UTC, datetime

    from loomtest.readings.load import load_readings
    from loomtest.readings.run import Reading, resume_run

    harness = workplace().harness
    with workplace().empty("run") as folder:
        about, _, rows = data.partition(b"%%%")
        (folder / "run.toml").write_bytes(about)
        (folder / "readings.csv").write_bytes(rows)
        (folder / "harness").mkdir()
        (folder / "harness" / "wires.csv").write_text(_WIRES, "utf-8")
        before = None
        try:
            before = load_readings(folder, harness)
        except LoomtestError as error:
            told(error)
        whole = rows[: rows.rstrip(b"\0").rfind(b"\n") + 1]
        try:
            with resume_run(folder, clock=lambda: datetime(2026, 5, 1, tzinfo=UTC)) as writer:
                writer.record(Reading("X1:1", "X2:1", "0.125"))
        except LoomtestError as error:
            told(error)
        assert (folder / "readings.csv").read_bytes().startswith(whole)  # nothing recorded is rewritten
        assert (
            b"".join(rows.split(b"\0"))
            in ((folder / "readings.csv").read_bytes() + _aside(folder)).replace(b"\0", b"")
            or whole != rows
        )
        if before is not None:
            after = load_readings(folder, harness)
            np.testing.assert_array_equal(after.value[: len(before)], before.value)


def _aside(folder: Path) -> bytes:
    place = folder / "set-aside.txt"
    return place.read_bytes() if place.exists() else b""


def connector_map(data: bytes) -> None:
    from loomtest.harness.swap.files import write_harness
    from loomtest.harness.swap.map import read_map
    from loomtest.harness.swap.swap import swap

    harness = workplace().harness
    place = workplace().folder / "map.csv"
    place.write_bytes(data)
    try:
        swapped = swap(harness, read_map(place, harness))
    except LoomtestError as error:
        return told(error)
    with workplace().empty("swap") as folder:
        write_harness(harness, swapped, place, folder / "new", {})
        after = load_harness(folder / "new")
        assert [(w.name, w.start, w.end) for w in after.wires] == [
            (w.name, w.start, w.end) for w in swapped.harness.wires
        ]
    return None


def flex_stream(data: bytes) -> None:
    from loomtest.bench.meter.stream import read_stream

    place = workplace().folder / "stream.csv"
    place.write_bytes(data)
    try:
        time_s, ohms = read_stream(place)
    except LoomtestError as error:
        return told(error)
    assert len(time_s) == len(ohms) and (np.diff(time_s) >= 0).all()
    rows = [f"{t!r},{'OL' if np.isinf(v) else repr(v)}\n" for t, v in zip(time_s.tolist(), ohms.tolist(),
                                                                          strict=True)]  # fmt: skip
    place.write_text("".join(rows), "utf-8")
    again = read_stream(place)
    np.testing.assert_array_equal(time_s, again[0])
    np.testing.assert_array_equal(ohms, again[1])
    return None


_READINGS = (
    b"from,to,value\nX1:1,X2:1,0.3\nX1:2,SP1,OL\nSP1,GND1,420 m\xce\xa9\nX1:1,X1:2,>40M\nX1:2,GND1,4R7\n",
    b"from;to;value;unit;quantity;current;uncertainty;range;bonded_from;bonded;time;withdraws;note\n"
    b"X1:1;X2:1;0,3;ohm;resistance;;0,01;200;;;2026-05-01T14:03:00+02:00;;a\n"
    b"X1:2;SP1;12;mV;voltage_drop;5;;;;;;;\nSP1;GND1;yes;;continuity;;;;;;;;\nX1:1;X2:1;;;;;;;;;;1;\n"
    b"X1:1;GND1;OL;;;;;2M;;X2:2 SP1;;;\n",
    b"from,to,value,instrument,temperature\r\nX1:1,X2:1,9.9E37,bench,21.5\r\nX2:1,X2:9,1.2k,,\r\n",
)
_TOML = (
    b'name = "a"\nwires = "wires.csv"\nunreachable = ["SP1"]\nworked_on = ["X1"]\n[expect]\n'
    b"temperature_c = 21.0\njoint_milliohms = 2\n[limits]\nbad_joint_milliohms = 20.0\nisolation = "
    b'"bonded"\nconfidence = 0.95\n[cavities]\nX1 = 8\nX2 = ["1", "2", "A"]\n[faces]\nX1 = {rows = 2, '
    b'numbering = "across"}\n[places]\nX1 = "left"\n',
)
_METER = (
    b'name = "m"\nmethod = "two-wire"\nautorange = false\nlead_ohms = 0.1\nlead_uncertainty_ohms = 0.03\n'
    b"touch_ohms = 0.02\nopen_above_ohms = 4.0e7\nbeep_below_ohms = 50.0\n[[range]]\nup_to_ohms = 200.0\n"
    b'percent = 0.8\ncounts = 3\nresolution_ohms = 0.1\n[serial]\nbaud = 9600\nparity = "none"\n'
    b"pattern = '(?P<value>[0-9.]+)'\nterminator = \"\\r\\n\"\n",
)
_RUN = (
    b'format = "loomtest-run/1"\nstage = "before"\noperator = "A"\nstarted = "2026-05-01T12:00:00+02:00"\n'
    b'temperature_c = 21.0\n[harness]\nname = "n"\ndigest = ""\n[events]\n1 = {what = "started"}\n'
    b'2 = {what = "leads", when = "start", ohms = 0.1, uncertainty_ohms = 0.03}\n%%%'
    b"from,to,value,quantity,unit,current,uncertainty,range,bonded_from,bonded,time,withdraws,instrument,"
    b"temperature,note\nX1:1,X2:1,0.5,,,,,,,,2026-05-01T12:00:00+02:00,,,,\n",
)
_LIST = (
    _WIRES.encode(),
    b"wire;from;to;colour;size;length;kind;ohms_min;ohms_max;amps;circuit;note\nW1;X1:1;X2:1;RD;1,5;0,85;;;;5;"
    b"horn;\nW2;X1:2;GND1;BK/WH;AWG 16;33 in;lamp;2;6;;lamp;n\n"
    b"W3;-X1:3;SP1;;0.5 mm2;2'9\";fuse;;1;500 mA;;\n",
)  # fmt: skip
_CELLS = (b"from", b"to", b"value", b"X1:1", b"SP1", b"\r\n", b";", b"\t", b"\xef\xbb\xbf", b"OL", b"nan",
          b"inf", b"1e308", b"\xe2\x84\xa6", b"\xce\xa9", b"\xc2\xb5", b"\xce\xbc", b"\xe2\x80\x8f", b"0,5",
          b"1,234", b"sep=;", b"m", b"M", b"\"", b"\x00", b"9.91E37", b"-0", b"12:03:00", b"#")  # fmt: skip
_KEYS = (b"name", b"[limits]", b"[cavities]", b"nan", b"inf", b"0x", b"1e400", b"[[range]]", b"'''",
         b"[[[[[[", b"a.b.c.d", b"{a = 1}", b"1979-05-27", b"true", b"\\u0000")  # fmt: skip

TARGETS: dict[str, Target] = {
    "wire-list": Target(wire_list, _LIST, _CELLS),
    "harness-toml": Target(harness_toml, _TOML, _KEYS),
    "readings": Target(readings, _READINGS, _CELLS),
    "instrument": Target(instrument, _METER, _KEYS),
    "run-folder": Target(run_folder, _RUN, _CELLS + _KEYS, 1200),
    "notepad": Target(lines.notepad, lines.NOTEPAD_SEEDS, lines.NOTEPAD_WORDS, 200),
    "connector-map": Target(
        connector_map,
        (b"old,new,mark\nX1:1,X9:1,\nX1:2,unused,unused\n", b"colour;new\nRD;X9:1\nBKWH;X9:2\n"),
        (*_CELLS, b"old", b"new", b"mark", b"splice", b"split", b"unused", b"colour"),
    ),
    "flex-stream": Target(flex_stream, (b"# X1:1 X2:1\ntime_s,value_ohms\n0.0,0.1\n0.5,OL\n",), _CELLS),
    "scanner-bytes": Target(lines.scanner, lines.SCANNER_SEEDS, lines.SCANNER_WORDS),
    "meter-bytes": Target(lines.meter, lines.METER_SEEDS, lines.METER_WORDS),
    "scpi-bytes": Target(lines.scpi, lines.SCPI_SEEDS, lines.METER_WORDS),
    "typed-line": Target(lines.typed, lines.TYPED_SEEDS, _CELLS, 120),
    "value": Target(lines.value, lines.VALUE_SEEDS, lines.METER_WORDS + _CELLS, 40),
    "bag": Target(bags.bag, bags.BAG_SEEDS, bags.BAG_WORDS),
    "zip": Target(bags.packed, bags.ZIP_SEEDS, (b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06", b"../"), 4000),
    "xlsx": Target(sheets.excel, sheets.XLSX_SEEDS, sheets.SHEET_WORDS, 6000),
    "ods": Target(sheets.open_document, sheets.ODS_SEEDS, sheets.SHEET_WORDS, 6000),
    "parquet": Target(sheets.parquet, sheets.PARQUET_SEEDS, sheets.PARQUET_WORDS),
    "exchange": Target(sheets.exchange, sheets.EXCHANGE_SEEDS, sheets.EXCHANGE_WORDS, 12_000),
    "kit": Target(files.kit, files.KIT_SEEDS, _CELLS),
    "archive-toml": Target(files.archive_toml, files.ADDRESS_SEEDS, files.ADDRESS_WORDS + _KEYS, 300),
    "shop-toml": Target(files.shop_toml, files.SHOP_SEEDS, files.SHOP_WORDS, 1200),
    "index": Target(files.index, files.INDEX_SEEDS, files.INDEX_WORDS, 400),
    "requests": Target(requests.requests, requests.REQUEST_SEEDS, requests.REQUEST_WORDS, 1500),
}
