"""`loomtest plan` as a person and as a script meets it, and the bench sheet filled in as a user would."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from tests.commands.in_process import Done, loomtest

TRACTOR = Path(__file__).parents[2] / "sample_runs" / "orchard_tractor"


def plan(*arguments: str) -> Done:
    return loomtest("plan", *arguments)


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(
        "wire,from,to,colour,size,length,kind,ohms_min,ohms_max,circuit\n"
        "W1,X1:1,SP1,RD,1.5,1.0,,,,horn\n"
        "W2,SP1,X2:1,RD,1.5,0.5,,,,horn\n"
        "W3,SP1,X3:1,RD,1.5,0.7,,,,horn\n"
        "W4,X1:2,GND1,BK,,,,,,ground\n"
        "W5,X1:3,X2:2,BU,1,2.0,,,,<b>pump</b>\n"
        "L1,X2:1,GND1,,,,lamp,1,4,\n"
        "D1,X2:2,GND1,,,,diode,,,\n",
        encoding="utf-8",
    )
    (tmp_path / "harness.toml").write_text(
        'name = "Invented launch"\nunreachable = ["SP1"]\n[places]\nX1 = "helm"\n'
        '[limits]\nisolation = "bonded"\n',
        encoding="utf-8",
    )
    return tmp_path


def test_a_person_sees_where_clip_and_probe_go_and_what_to_expect(loom: Path) -> None:
    done = plan(str(loom))
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "Invented launch"
    assert lines[1].startswith("7 readings, about ")
    assert any(line.startswith("Joined: clip on ") for line in lines)
    wire = next(line for line in lines if "W5 BU" in line)
    assert "40 mΩ" in wire  # 1.05 · 0.017241 Ω·mm²/m · 2 m / 1 mm² and two joints of 2 mΩ: 0.0402 Ω
    assert any("W4 BK" in line and "below 1 Ω" in line for line in lines)  # no size, no length
    assert any("1 Ω to 4 Ω" in line and "L1 as expected" in line for line in lines)
    assert any("forward volts" in line and "the right way round" in line for line in lines)
    assert all(len(line) <= 110 for line in lines)


def test_the_options_change_the_plan(loom: Path) -> None:
    def totals(*arguments: str) -> dict[str, int]:
        return dict(json.loads(plan(str(loom), "--json", *arguments).stdout)["totals"])

    assert totals() == totals("--isolation", "bonded")
    assert totals("--isolation", "none")["isolation"] == 0
    assert totals("--joints")["joints"] == 1
    assert plan(str(loom), "--isolation", "some").returncode == 2


def test_json_and_nothing_else_on_standard_output(loom: Path) -> None:
    done = plan(str(loom), "--json", "--sheet", str(loom / "bench"))
    assert json.loads(done.stdout)["schema"] == "loomtest-plan/1"
    assert (loom / "bench" / "bench_sheet.csv").exists()


def test_scanner_tests_are_printed_and_told_as_json(loom: Path) -> None:
    # p = 3 reachable points in the horn net; q = 1 group that parts join, so nothing to show apart
    told = json.loads(plan(str(loom), "--scanner", "--json").stdout)
    assert told["totals"] == {"continuity": 2, "isolation": 0}
    assert "1. joined" in plan(str(loom), "--scanner").stdout


def test_the_sheet_filled_in_is_a_readings_file(tmp_path: Path) -> None:
    done = plan(str(TRACTOR), "--isolation", "bonded", "--joints", "--sheet", str(tmp_path))
    assert (done.returncode, done.stderr) == (0, "")
    sheet = tmp_path / "bench_sheet.csv"
    with sheet.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    harness = load_harness(TRACTOR)
    for row in rows:  # what a person writes down who has a good meter and a healthy loom
        if row["expected"] == "over-range":
            row["value"] = "OL"
        elif row["expected"] == "2.5 Ω to 4.5 Ω":
            row["value"] = "3.4"
        else:
            row["value"] = row["expected"]  # `26 mΩ` is a spelling of the contract
    with sheet.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    readings = load_readings(sheet, harness)
    assert len(readings) == len(rows) and not readings.warnings
    assert any(any(ties) for ties in readings.bonded.values())
    told = json.loads(loomtest("judge", str(TRACTOR), str(sheet), "--json").stdout)
    assert told["findings"] == []
    assert told["coverage"]["wires_tested"] == told["coverage"]["wires"]
    assert told["coverage"]["parts_tested"] == told["coverage"]["parts"] == 1


def test_a_sheet_with_readings_in_it_is_never_overwritten(loom: Path) -> None:
    out = loom / "bench"
    assert plan(str(loom), "--sheet", str(out)).returncode == 0
    assert plan(str(loom), "--sheet", str(out)).returncode == 0, "a blank sheet may be written again"
    filled = out / "bench_sheet.csv"
    filled.write_text(filled.read_text(encoding="utf-8").replace(",,", ",0.1,", 1), encoding="utf-8")
    before = filled.read_bytes()
    done = plan(str(loom), "--sheet", str(out), "--isolation", "none")
    assert done.returncode == 2 and "may hold readings" in done.stderr
    assert filled.read_bytes() == before
    done = plan(str(loom), "--sheet", str(loom / "wires.csv"))
    assert done.returncode == 2 and "a folder" in done.stderr


def test_the_page_escapes_what_comes_from_files_and_needs_no_network(loom: Path) -> None:
    plan(str(loom), "--sheet", str(loom / "bench"))
    page = (loom / "bench" / "bench_sheet.html").read_text(encoding="utf-8")
    assert "<b>pump</b>" not in page and "&lt;b&gt;pump&lt;/b&gt;" in page
    assert "<script" not in page and "http" not in page.replace("http-equiv", "")
    assert "helm" in page and "Airbags" in page
    for step in json.loads(plan(str(loom), "--json").stdout)["steps"]:
        assert page.count(f'<td class="no">{step["step"]}</td>') == 1


def test_a_large_plan_is_printed_in_part_and_says_so(tmp_path: Path) -> None:
    rows = "".join(f"X1:{i},X2:{i}\n" for i in range(1, 41))
    (tmp_path / "wires.csv").write_text("from,to\n" + rows, encoding="utf-8")
    done = plan(str(tmp_path / "wires.csv"))
    assert "420 further readings: --sheet or --json holds them all." in done.stdout


def test_the_page_about_the_plan_shows_what_is_printed() -> None:
    root = Path(__file__).parents[2]
    text = (root / "docs" / "plan.md").read_text(encoding="utf-8")
    shown = text.split("```text\n")[1].split("```")[0]
    launch = str(root / "sample_runs" / "fishing_launch")
    assert plan(launch, "--isolation", "bonded").stdout.strip() == shown.strip()
    for option in ("--isolation", "--joints", "--sheet", "--scanner", "--json"):
        assert option in text and option in plan("--help").stdout


def test_a_sheet_with_semicolons_takes_decimal_commas(loom: Path) -> None:
    assert plan(str(loom), "--sheet", str(loom / "bench"), "--semicolons").returncode == 0
    table = loom / "bench" / "bench_sheet.csv"
    rows = list(csv.reader(table.read_text("utf-8").splitlines(), delimiter=";"))
    at = rows[0].index("value")
    for row in rows[1:3]:
        row[at] = "0,3"
    table.write_text("\n".join(";".join(row) for row in rows) + "\n", "utf-8")
    readings = load_readings(table, load_harness(loom))
    assert readings.value.tolist() == [0.3, 0.3]  # the rows that are still empty are passed over
    assert not [problem for problem in readings.warnings if "empty" in problem.found]


def test_a_diode_says_which_lead_goes_where_on_paper_and_in_the_table(loom: Path) -> None:
    plan(str(loom), "--sheet", str(loom / "bench"))
    (row,) = [
        row
        for row in csv.DictReader((loom / "bench" / "bench_sheet.csv").read_text("utf-8").splitlines())
        if row["quantity"] == "diode"
    ]
    said = f"red lead on {row['from']}"
    assert (row["from"], row["to"]) == ("X2:2", "GND1")  # current goes in at the anode
    assert said in row["proves"]
    assert said in (loom / "bench" / "bench_sheet.html").read_text("utf-8")


def test_a_folder_that_is_not_there_is_called_that() -> None:
    done = plan("nowhere")
    assert done.returncode == 2
    assert done.stderr.strip() == (
        "loomtest: nowhere: found no such file or folder; expected a harness folder, a harness.toml, a "
        "wire list (CSV) or a harness file (KBL)"
    )
