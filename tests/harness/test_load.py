"""Reading a harness: what is accepted, and every mistake with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.errors import InputError, Problem
from loomtest.harness.load import load_harness
from loomtest.harness.model import Face, Harness


def load(folder: Path, wires: str | bytes, toml: str | None = None) -> Harness:
    data = wires if isinstance(wires, bytes) else wires.encode()
    (folder / "wires.csv").write_bytes(data)
    if toml is not None:
        (folder / "harness.toml").write_text(toml, encoding="utf-8")
    return load_harness(folder)


def problems(folder: Path, wires: str | bytes, toml: str | None = None) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        load(folder, wires, toml)
    return [problem for problem in caught.value.problems if problem.severity == "error"]


def places(found: list[Problem]) -> list[tuple[str, int | None, str]]:
    return [(Path(problem.file).name, problem.line, problem.column) for problem in found]


def test_from_and_to_are_enough(tmp_path: Path) -> None:
    path = tmp_path / "mower.csv"
    path.write_text("from,to\nX1:1,X2:1\nX1:2,GND1\n")
    loom = load_harness(path)
    assert loom.name == "mower"
    assert [(w.name, w.start, w.end, w.kind, w.row) for w in loom.wires] == [
        ("W1", "X1:1", "X2:1", "wire", 2),
        ("W2", "X1:2", "GND1", "wire", 3),
    ]
    assert loom.points == ("X1:1", "X2:1", "X1:2", "GND1")
    assert [net.points for net in loom.nets] == [(0, 1), (2, 3)]
    assert not any(wire.named for wire in loom.wires)
    assert loom.warnings == ()
    assert loom.files == (path,)


def test_every_column(tmp_path: Path) -> None:
    loom = load(
        tmp_path,
        "Note,COLOR,to,from,wire,size,length,kind,ohms_min,ohms_max,amps,circuit,photo\n"
        'a "long" note,BK/WH,X2:1,-X1:1,W7,AWG 16,33 in,,,0.5,5,horn,img_1.jpg\n'
        ",,X2:2,X1:1,L1,,,Lamp,0.4,0.9,,horn,\n".replace('a "long" note', '"a ""long"", note"'),
    )
    wire, lamp = loom.wires
    assert (wire.name, wire.start, wire.end, wire.colour) == ("W7", "X1:1", "X2:1", "BK/WH")
    assert wire.named
    assert wire.size_mm2 == pytest.approx(1.3087, rel=1e-4)
    assert wire.length_m == pytest.approx(0.8382)
    assert (wire.ohms_min, wire.ohms_max, wire.amps, wire.circuit) == (None, 0.5, 5.0, "horn")
    assert wire.note == 'a "long", note'
    assert wire.extra == (("photo", "img_1.jpg"),)
    assert (lamp.kind, lamp.ohms_min, lamp.ohms_max) == ("lamp", 0.4, 0.9)
    assert not lamp.conducts


@pytest.mark.parametrize(
    "written",
    [
        b"from,to,length\nX1:1,X2:1,0.85\nX1:2,X2:2,850 mm\n",
        b"\xef\xbb\xbffrom,to,length\r\nX1:1,X2:1,0.85\r\nX1:2,X2:2,850 mm\r\n",
        b"from;to;length\nX1:1;X2:1;0,85\nX1:2;X2:2;850 mm\n",
        b"from\tto\tlength\nX1:1\tX2:1\t0,85\nX1:2\tX2:2\t850 mm",
        b"# the helm\n\n# still the helm\nfrom,to,length\n\nX1:1,X2:1,0.85\n,,\nX1:2,X2:2,850 mm\n",
        b"sep=;\nfrom;to;length\nX1:1;X2:1;0,85\nX1:2;X2:2;850 mm\n",
        b'from,to,length,\n"X1:1","X2:1","0,85",\nX1:2,X2:2,850 mm,\n',
    ],
)
def test_dialects_say_the_same(tmp_path: Path, written: bytes) -> None:
    loom = load(tmp_path, written)
    assert [(w.start, w.end, w.length_m) for w in loom.wires] == [
        ("X1:1", "X2:1", 0.85),
        ("X1:2", "X2:2", 0.85),
    ]


def test_a_decimal_comma_is_said(tmp_path: Path) -> None:
    loom = load(tmp_path, "from;to;size;length\nX1:1;X2:1;1,5;0,85\nX1:2;X2:2;2;3\n")
    (said,) = loom.warnings
    assert (said.line, said.column) == (2, "length")
    assert "decimal comma" in said.found and "2 such cells" in said.found
    assert "0.85" in said.expected


def test_comma_and_point_together_are_refused(tmp_path: Path) -> None:
    (found,) = problems(tmp_path, "from;to;size;length\nX1:1;X2:1;1.5;1\nX1:2;X2:2;2,5;1\n")
    assert (found.line, found.column) == (3, "size")
    assert '"1.5"' in found.found and "line 2" in found.found


def test_lines_are_counted_as_an_editor_does(tmp_path: Path) -> None:
    text = '# c\n\nfrom,to,note,length\nX1:1,X2:1,"two\nlines",1\n\nX1:2,X2:2,,-1\n'
    (found,) = problems(tmp_path, text)
    assert (found.line, found.column) == (7, "length")


def test_only_line_ends_end_a_line(tmp_path: Path) -> None:
    rows = "from,to,note,length\r\nX1:1,X2:1,a\u2028b\x0cc\x85d,1\r\nX1:2,X2:2,,-1\r\n"
    (found,) = problems(tmp_path, rows)
    assert (found.line, found.column) == (3, "length")
    (found,) = problems(tmp_path, "from,to\nX1:1,X2:1\n", "name = 'a\u2028b'\r\nnmae = 1\r\n")
    assert found.line == 2


def test_a_comment_among_the_rows_is_left_out_and_said(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to\nX1:1,X2:1\n#X1:2,X2:2\n# later, perhaps, more\n")
    assert len(loom.wires) == 1
    assert [(w.line, w.severity) for w in loom.warnings] == [(3, "warning"), (4, "warning")]


def test_all_mistakes_at_once(tmp_path: Path) -> None:
    found = problems(
        tmp_path,
        "from,to,wire,colour,size,length,kind,ohms_min,ohms_max,amps\n"
        "X1:1,X1:1,A,,,,,,,\n"
        "X1:1,X2:1,A,redd,,,,,,\n"
        "X1:2,X2:2,,,1.5 sqin,-3,,,,\n"
        "X1:9,X2:3,,,,,lampp,,,0\n"
        "X1:3,,,,,,,5,2,\n"
        "X1:4,X2:4\n"
        "X1:5,X2:5,,,,,,,,,one too many\n"
        "X1:6,X 2:6,,,,,,-1,,\n",
        'wirse = "a.csv"\n[cavities]\nX1 = 8\n[limits]\nisolation = "most"\nconfidence = 2\n',
    )
    assert sorted(places(found)) == [
        ("harness.toml", 1, "wirse"),
        ("harness.toml", 5, "limits.isolation"),
        ("harness.toml", 6, "limits.confidence"),
        ("wires.csv", 2, "to"),
        ("wires.csv", 3, "colour"),
        ("wires.csv", 3, "wire"),
        ("wires.csv", 4, "length"),
        ("wires.csv", 4, "size"),
        ("wires.csv", 5, "amps"),
        ("wires.csv", 5, "from"),
        ("wires.csv", 5, "kind"),
        ("wires.csv", 6, "ohms_min"),
        ("wires.csv", 6, "to"),
        ("wires.csv", 7, ""),
        ("wires.csv", 8, ""),
        ("wires.csv", 9, "ohms_min"),
        ("wires.csv", 9, "to"),
    ]
    by_place = {(p.line, p.column): p for p in found}
    assert by_place[1, "wirse"].expected.startswith("wires,")
    assert "1 to 8" in by_place[5, "from"].expected
    assert "line 2" in by_place[3, "wire"].found
    assert "nearest is red" in by_place[3, "colour"].expected
    assert "2 cells" in by_place[7, ""].found and "11 cells" in by_place[8, ""].found


def test_a_missing_column_names_the_nearest(tmp_path: Path) -> None:
    (found,) = problems(tmp_path, "form,to\nX1:1,X2:1\n")
    assert (found.line, found.column) == (1, "from")
    assert '"form"' in found.expected


def test_a_column_twice(tmp_path: Path) -> None:
    (found,) = problems(tmp_path, "from,to,colour,Color\nX1:1,X2:1,RD,BU\n")
    assert (found.line, found.column) == (1, "colour")


def test_a_mistyped_column_is_kept_and_said(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to,lenght\nX1:1,X2:1,0.85\n")
    assert loom.wires[0].extra == (("lenght", "0.85"),)
    (said,) = loom.warnings
    assert said.expected.startswith("length,")


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing\n", "from,to\n", "from,to\n,\n"])
def test_no_rows(tmp_path: Path, text: str) -> None:
    (found,) = problems(tmp_path, text)
    assert "no rows" in found.found or "empty" in found.found


@pytest.mark.parametrize(
    ("encoding", "said"), [("cp1252", "Windows-1252"), ("utf-16", "UTF-16"), ("utf-16-le", "UTF-16")]
)
def test_other_encodings_are_read_and_said(tmp_path: Path, encoding: str, said: str) -> None:
    (tmp_path / "wires.csv").write_bytes("from,to,note\nX1:1,X2:1,café 1.5 mm²\n".encode(encoding))
    loom = load_harness(tmp_path / "wires.csv")
    assert loom.wires[0].note == "café 1.5 mm²"
    assert said in loom.warnings[0].found


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"from,to\nX1:1,X2:1\x00\x01\x02\x03\n", 1, "no text"),
        (b"PK\x03\x04rest of a workbook", 1, "spreadsheet"),
        (b'from,to\nX1:1,"X2:1\nX1:2,X2:2\n', 2, "no CSV reader"),
        (b'from\tto\n"X1:1"2\tX2:1\n', 2, r"'\t' expected"),
        (b"from,to,note\nX1:1,X2:1," + b"x" * 20_000 + b"\n", 2, "enormous"),
        (b"from,to,note\nX1:1,X2:1," + b"x" * 200_000 + b"\n", 2, "no CSV reader"),
    ],
)
def test_files_that_are_no_wire_list(tmp_path: Path, data: bytes, line: int, words: str) -> None:
    (found,) = problems(tmp_path, data)
    assert found.line == line
    assert words in found.found and found.found.isprintable()


@pytest.mark.parametrize(
    ("rows", "column", "words"),
    [
        ("X1:1,X2:1,a\nX1:1,X2:2,b\n", "from", '"a" (line 2)'),
        ("X1:1,X2:1,a\nx1:2,X2:2,b\n", "from", '"X1" in line 2'),
        ("X1:1,X2:1,a\nX1:01,X2:2,b\n", "from", '"X1:1" in line 2'),
        ("X1:1,X2:A,a\nX1:2,X2:a,b\n", "to", '"X2:A" in line 2'),
        ("X1:1,X2:1,a\nX1:2,X2:2,A\n", "wire", '"a" in line 2'),
        ("X1:1,SP1,a\nX1:2,sp1,b\n", "to", '"SP1" in line 2'),
        ("X1:1,X2:1,W2\nX1:2,X2:2,\n", "wire", "W2 is the wire in line 2"),
    ],
)
def test_oddities_are_warnings(tmp_path: Path, rows: str, column: str, words: str) -> None:
    (said,) = load(tmp_path, "from,to,wire\n" + rows).warnings
    assert (said.line, said.column, said.severity) == (3, column, "warning")
    assert words in said.found


def test_ends_that_may_meet_draw_no_warning(tmp_path: Path) -> None:
    loom = load(
        tmp_path,
        "from,to,kind\nX1:1,SP1,\nSP1,X2:1,\nSP1,X3:1,\nX2:1,X2:2,lamp\nGND1,X2:2,\nGND1,X3:2,\nF1:1,F1:2,fuse\nX1:2,F1:1,\n",
    )
    assert loom.warnings == ()


def test_sizes_that_look_like_gauges_and_lengths_that_look_like_millimetres(tmp_path: Path) -> None:
    said = load(tmp_path, "from,to,size,length\nX1:1,X2:1,16,850\nX1:2,X2:2,18,1200\n").warnings
    assert [(w.line, w.column) for w in said] == [(2, "length"), (3, "size")]
    assert "AWG 18" in said[1].expected


def test_harness_toml(tmp_path: Path) -> None:
    loom = load(
        tmp_path,
        "from,to\nX1:1,X2:A1\nX1:2,SP1\nGND1,SP1\n",
        """
name = "Fishing launch, helm"
unreachable = ["SP1"]
worked_on = ["X2", "GND1"]
[expect]
temperature_c = 12
bad_joint_rate = 0.05
[limits]
bad_joint_milliohms = 15
isolation = "bonded"
[cavities]
X1 = 3
X2 = ["A1", "A2", 3]
[faces]
X1 = {rows = 3, numbering = "down"}
[places]
X1 = "helm, behind the panel"
""",
    )
    assert loom.name == "Fishing launch, helm"
    assert loom.points == ("X1:1", "X2:A1", "X1:2", "SP1", "GND1", "X1:3", "X2:A2", "X2:3")
    assert loom.unreachable == {"SP1"} and loom.worked_on == {"X2", "GND1"}
    assert loom.expect.temperature_c == 12.0 and loom.expect.bad_joint_rate == 0.05
    assert loom.expect.copper_factor == 1.05  # a default
    assert loom.limits.bad_joint_milliohms == 15.0 and loom.limits.bad_joint_written
    assert loom.limits.isolation == "bonded"
    assert loom.cavities["X2"] == ("A1", "A2", "3")
    assert loom.faces["X1"] == Face(3, "down")
    assert loom.places["X1"] == "helm, behind the panel"
    assert loom.warnings == ()


def test_defaults_are_those_of_the_contract(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to\nX1:1,X2:1\n", "")
    expect, limits = loom.expect, loom.limits
    assert loom.name == tmp_path.name
    assert (expect.temperature_c, expect.temperature_spread_c, expect.copper_factor) == (20.0, 5.0, 1.05)
    assert (expect.copper_spread_percent, expect.length_spread_percent) == (4.0, 3.0)
    assert (expect.joint_milliohms, expect.joint_spread_milliohms, expect.bad_joint_rate) == (2.0, 1.5, 0.02)
    assert (expect.bad_joint_from_milliohms, expect.bad_joint_to_ohms) == (10.0, 100.0)
    assert expect.unknown_wire_to_ohms == 0.25
    assert (limits.bad_joint_milliohms, limits.joint_drop_volts, limits.continuity_ohms) == (20.0, 0.1, 1.0)
    assert (limits.short_below_ohms, limits.isolation_ohms) == (100.0, 1e6)
    assert (limits.isolation, limits.confidence, limits.bad_joint_written) == ("neighbours", 0.95, False)


@pytest.mark.parametrize(
    ("toml", "line", "key", "words"),
    [
        ('name = "a"\nexpects = 1\n', 2, "expects", "expect, the nearest known key"),
        ("[expect]\n\ntemperature = 20\n", 3, "expect.temperature", "temperature_c"),
        ("[expect]\ntemperature_c = nan\n", 2, "expect.temperature_c", "degrees Celsius"),
        ("[expect]\njoint_milliohms = -1\n", 2, "expect.joint_milliohms", "0 or more"),
        ("[expect]\ncopper_factor = true\n", 2, "expect.copper_factor", "a factor"),
        ("[expect]\ncopper_factor = 1" + "0" * 400 + "\n", 2, "expect.copper_factor", "a factor"),
        ("expect = 3\n", 1, "expect", "a table"),
        ("[limits]\nconfidence = 95\n", 2, "limits.confidence", "between 0.5 and 1"),
        ("[limits]\nisolation_ohms = 50\n", 2, "limits.isolation_ohms", "no larger than"),
        ("[limits]\nshort_below_ohms = 0.5\n", 2, "limits.short_below_ohms", "no larger than"),
        ("[expect]\nbad_joint_to_ohms = 0.01\n", 2, "expect.bad_joint_to_ohms", "smaller than"),
        ('unreachable = "X1:1"\n', 1, "unreachable", "a list of points"),
        ('unreachable = ["X1:7"]\n', 1, "unreachable", "nearest is X1:1"),
        ('worked_on = ["X11"]\n', 1, "worked_on", "nearest is X1"),
        ("[cavities]\nX1 = 0\n", 2, "cavities.X1", "a count from 1"),
        ("[cavities]\nX1 = 1e3\n", 2, "cavities.X1", "a count from 1"),
        ('[cavities]\nX1 = ["1", "1"]\n', 2, "cavities.X1", "each cavity once"),
        ('[cavities]\n"X1:1" = 2\n', 2, "cavities.X1:1", "without a cavity"),
        ("[faces]\nX1 = {rows = 0}\n", 2, "faces.X1.rows", "from 1 to 100"),
        ('[faces]\nX1 = {rows = 1, numbering = "up"}\n', 2, "faces.X1.numbering", "across, down"),
        ("[faces]\nX1 = {row = 1}\n", 2, "faces.X1.row", "rows, the nearest"),
        ("[places]\nX1 = 4\n", 2, "places.X1", "words"),
        ('wires = "../wires.csv"\n', 1, "wires", "in the folder"),
        ('wires = "/etc/passwd"\n', 1, "wires", "in the folder"),
        ("name = \n", 1, "", "key ="),
        ("a = " + "[" * 100_000, None, "", "key ="),
    ],
)
def test_mistakes_in_harness_toml(tmp_path: Path, toml: str, line: int | None, key: str, words: str) -> None:
    (found,) = problems(tmp_path, "from,to\nX1:1,X2:1\n", toml)
    assert Path(found.file).name == "harness.toml"
    assert (found.line, found.column) == (line, key)
    assert words in found.expected


def test_a_link_out_of_the_folder_is_out_of_the_folder(tmp_path: Path) -> None:
    outside = tmp_path / "elsewhere.csv"
    outside.write_text("from,to\nX1:1,X2:1\n")
    folder = tmp_path / "loom"
    folder.mkdir()
    (folder / "linked.csv").symlink_to(outside)
    (folder / "harness.toml").write_text('wires = "linked.csv"\n')
    with pytest.raises(InputError, match="leads out of the harness folder"):
        load_harness(folder)


def test_names_unknown_to_the_wire_list_in_faces_and_places_are_warnings(tmp_path: Path) -> None:
    loom = load(
        tmp_path,
        "from,to\nX1:1,X2:1\n",
        '[cavities]\nX2 = 5\n[faces]\nX3 = {rows = 1}\nX2 = {rows = 2}\n[places]\nX9 = "bow"\n',
    )
    assert [(w.line, w.column) for w in loom.warnings] == [(4, "faces.X3"), (5, "faces.X2"), (7, "places.X9")]


def test_where_there_is_no_harness(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        load_harness(tmp_path / "none.csv")
    (tmp_path / "my list.csv").write_text("from,to\n")
    with pytest.raises(InputError, match=r"neither harness.toml nor wires.csv, but my list.csv"):
        load_harness(tmp_path)


def test_nothing_from_a_file_can_command_a_terminal(tmp_path: Path) -> None:
    evil = "\x1b[2J\u202e"
    toml = f'"a{chr(92)}u001b[2J" = 1\nwires = "w{chr(92)}u001b[2J.csv"\n'
    for wires, settings in (
        (f"from,to,{evil}note\nX1:1{evil},X2:1,\nX1:2,X2:2,{evil}\n", None),
        (f"from,to,kind\nX1:1,X2:1,{evil}\n#{evil},,\n", None),
        ("from,to\nX1:1,X2:1\n", toml),
    ):
        with pytest.raises(InputError) as caught:
            load(tmp_path, wires, settings)
        assert all(line.isprintable() for line in str(caught.value).split("\n"))


def test_a_file_of_another_kind_is_refused_in_bounded_words(tmp_path: Path) -> None:
    rows = "".join(f"X1:{i},X2:{i},colour {i}\n" for i in range(2_000))
    found = problems(tmp_path, "from,to,colour\n" + rows)
    assert 500 <= len(found) <= 502
    assert "more than 500 mistakes" in found[-1].found
    (wide,) = problems(tmp_path, ",".join(f"c{i}" for i in range(100_000)) + "\n")
    assert wide.found == "100,000 columns"


def test_a_mistake_in_every_row_of_a_long_list(tmp_path: Path) -> None:
    rows = "".join(f"X1:{i},X2:{i},rott\n" for i in range(5_000))
    found = problems(tmp_path, "from,to,colour\n" + rows)
    assert [p.line for p in found[:3]] == [2, 3, 4]
    assert len(found) == 501


def test_cavities_beyond_the_count_in_every_row(tmp_path: Path) -> None:
    rows = "".join(f"X1:a{i},X2:{i}\n" for i in range(3_000))
    found = problems(tmp_path, "from,to\n" + rows, "[cavities]\nX1 = 5000\n")
    assert len(found) == 3_000  # quick, though each has 5,000 names to be near to
