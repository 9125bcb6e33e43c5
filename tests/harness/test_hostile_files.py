"""Whatever is in the files: a harness, or InputError with places; never another exception."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.measures import read_length, read_ohms, read_size
from loomtest.harness.model import Harness
from loomtest.harness.swap.files import write_harness
from loomtest.harness.swap.map import read_map
from loomtest.harness.swap.swap import swap

CELLS = st.one_of(
    st.sampled_from(
        [
            "X1:1", "X1:2", "x1:1", "X1:01", "SP1", "GND1", "-X2:3", "BATT+", "", " ", "unused", "splice",
            "RD", "BKWH", "red/blue", "B", "1.5", "1,5", "AWG 16", "16", "-3", "1e400", "nan", "0,85 m",
            "33 in", "2'9\"", "fuse", "lamp", "W1", "W2", "#", "\x00", "\x1b[2J", "\u202e", "X1:1:2", ":",
        ]
    ),
    st.text(max_size=6),
)  # fmt: skip
COLUMNS = st.sampled_from(
    ["from", "to", "wire", "colour", "color", "size", "length", "kind", "ohms_min", "ohms_max", "amps",
     "circuit", "note", "old", "new", "mark", "photo", "From ", "", "lenght"]
)  # fmt: skip


@st.composite
def tables(draw: st.DrawFn, *sure: str) -> bytes:
    """Bytes of a CSV file that is often nearly right."""
    header = [*sure, *draw(st.lists(COLUMNS, max_size=5))]
    rows = draw(st.lists(st.lists(CELLS, min_size=len(header), max_size=len(header) + 1), max_size=6))
    separator = draw(st.sampled_from([",", ";", "\t"]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = end.join(separator.join(row) for row in [header, *rows])
    bom = draw(st.sampled_from([b"", b"\xef\xbb\xbf", b"\xff\xfe", b"# words\n"]))
    return bom + text.encode("utf-8", "surrogatepass")


VALUES = st.recursive(
    st.one_of(
        st.sampled_from(
            ["1", "-1", "nan", "inf", "1e309", "true", '"X1"', '"X1:1"', "[]", '["X1:1"]', "1979-05-27"]
        ),
        st.integers().map(str),
        st.text(max_size=4).map(repr),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[" + ", ".join(items) + "]"),
        inner.map(lambda item: f"{{rows = {item}}}"),
    ),
    max_leaves=4,
)
KEYS = st.sampled_from(
    [
        "name",
        "wires",
        "unreachable",
        "worked_on",
        "expect",
        "limits",
        "cavities",
        "faces",
        "places",
        "[expect]",
        "[limits]",
        "[cavities]",
        "[faces]",
        "[places]",
        "temperature_c",
        "isolation",
        "confidence",
        "X1",
        "GND1",
        "rows",
    ]
)


@st.composite
def documents(draw: st.DrawFn) -> bytes:
    """Bytes that look like a harness.toml."""
    lines = []
    for key in draw(st.lists(KEYS, max_size=8, unique=True)):
        lines.append(key if key[0] == "[" else f"{key} = {draw(VALUES)}")
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def load(folder: Path, wires: bytes, toml: bytes | None) -> Harness | None:
    (folder / "wires.csv").write_bytes(wires)
    if toml is not None:
        (folder / "harness.toml").write_bytes(toml)
    try:
        harness = load_harness(folder)
    except InputError as error:
        assert error.problems and all(problem.found and problem.expected for problem in error.problems)
        assert all(line.isprintable() for line in str(error).split("\n"))
        return None
    assert harness.nets and len(harness.start) == len(harness.wires)
    assert all(line.isprintable() for warning in harness.warnings for line in [str(warning)])
    return harness


hostile = settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("hostile")


@hostile
@given(wires=st.one_of(tables("from", "to"), st.binary(max_size=60)), toml=st.one_of(st.none(), documents()))
def test_a_harness_or_a_reason(folder: Path, wires: bytes, toml: bytes | None) -> None:
    (folder / "harness.toml").unlink(missing_ok=True)
    load(folder, wires, toml)


@hostile
@given(
    chart=st.one_of(tables("old", "new"), tables("colour", "new"), tables("old", "new", "mark")),
    count=st.integers(0, 10**9),
)
def test_a_map_is_carried_out_or_refused(folder: Path, chart: bytes, count: int) -> None:
    (folder / "harness.toml").unlink(missing_ok=True)
    wires = b"from,to,colour\nX1:1,X2:3,RD\nX1:2,SP1,BKWH\nSP1,GND1,\nSP1,X2:1,RD\n"
    harness = load(folder, wires, None)
    assert harness is not None
    path = folder / "map.csv"
    path.write_bytes(chart)
    try:
        swapped = swap(harness, read_map(path, harness))
    except InputError as error:
        assert all(line.isprintable() for line in str(error).split("\n"))
        return
    out = folder / f"out{count}-{len(list(folder.iterdir()))}"
    write_harness(harness, swapped, path, out, {})
    after = load_harness(out)  # what was written is what was meant
    assert [(w.name, w.start, w.end) for w in after.wires] == [
        (w.name, w.start, w.end) for w in swapped.harness.wires
    ]


@given(st.floats(1e-3, 900, allow_nan=False))
def test_a_number_that_is_read_is_the_number_that_was_written(value: float) -> None:
    text = f"{value:.6f}"
    for reader, unit in ((read_size, " mm²"), (read_length, " m"), (read_ohms, " ohm")):
        assert reader(text) == reader(text.replace(".", ",")) == reader(text + unit) == float(text)


@given(st.text(max_size=12))
def test_nothing_that_is_no_number_becomes_one(text: str) -> None:
    for reader in (read_size, read_length, read_ohms):
        try:
            value = reader(text)
        except ValueError:
            continue
        assert any(letter in "0123456789" for letter in text)
        assert 0 <= value < 1e12
