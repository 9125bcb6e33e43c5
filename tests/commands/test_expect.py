"""`loomtest expect` on made units whose truth is known."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomtest.harness.load import load_harness
from loomtest.harness.model import Expect
from tests.commands.in_process import loomtest
from tests.looms.units import measured_units, write_loom, write_unit
from tests.scores.healthy import loom

TRUTH = Expect(
    copper_factor=1.03,
    copper_spread_percent=1.0,
    length_spread_percent=1.5,
    joint_milliohms=0.8,
    joint_spread_milliohms=0.5,
)
COUNT = 8


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A loom's folder and eight runs; the seventh has a poor joint, the eighth is a rehearsal."""
    folder = tmp_path_factory.mktemp("shop")
    rng = np.random.default_rng(31)
    harness = loom(rng, 12)
    harness = replace(harness, wires=harness.wires[:-1])
    write_loom(harness, folder / "tractor")
    for number, readings in enumerate(measured_units(harness, rng, TRUTH, COUNT), 1):
        if number == 7:
            value = readings.value.copy()
            value[1] += 0.3
            readings = replace(readings, value=value)
        keys = {"started": f"2026-03-{number:02d}T10:00:00+00:00", "rehearsal": number == 8}
        write_unit(folder / "runs" / f"{number:03d}", folder / "tractor", readings, keys)
    return folder


def runs(*numbers: int) -> list[str]:
    return [f"runs/{number:03d}" for number in numbers]


def test_the_truth_lies_in_every_interval_and_nothing_is_written(shop: Path) -> None:
    before = (shop / "tractor" / "harness.toml").read_bytes()
    done = loomtest("expect", "tractor", "--from", *runs(1, 2, 3, 4, 5, 6, 7, 8), "--json", cwd=shop)
    told = json.loads(done.stdout)
    assert (done.returncode, told["schema"], told["written"]) == (0, "loomtest-expect/1", None)
    assert [one["unit"] for one in told["units"]] == [f"U{k:03d}" for k in range(1, 7)]
    assert told["left_out"] == [
        {"run": "runs/007", "why": "fail"},
        {"run": "runs/008", "why": "rehearsal"},
    ]
    assert len(told["keys"]) == 5
    for key in told["keys"]:
        assert key["interval"][0] <= getattr(TRUTH, key["key"]) <= key["interval"][1], key
        assert key["now"] == getattr(Expect(), key["key"])
    assert "+ [expect]" in told["change"]
    assert (shop / "tractor" / "harness.toml").read_bytes() == before


def test_in_words(shop: Path) -> None:
    done = loomtest("expect", "tractor", "--from", *runs(1, 2, 3, 4, 5, 6, 7), cwd=shop)
    assert "Orchard tractor, invented: 6 sound units" in done.stdout
    assert "Left out: runs/007, 1 fault." in done.stdout
    assert "These are few units" in done.stdout
    assert "Nothing is written yet. The same command with --write writes it." in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_bare_wire_list_is_told_that_it_keeps_no_settings(shop: Path) -> None:
    done = loomtest("expect", "tractor/wires.csv", "--from", *runs(1, 2, 3, 4, 5), cwd=shop)
    assert done.returncode == 0
    assert "A bare wire list holds no settings." in done.stdout and "[expect]" not in done.stdout


def test_asked_to_it_writes_and_says_where_from(shop: Path, tmp_path: Path) -> None:
    file = shop / "tractor" / "harness.toml"
    before = file.read_text("utf-8")
    try:
        done = loomtest("expect", "tractor", "--from", *runs(1, 2, 3, 4, 5, 6), "--write", "--json", cwd=shop)
        told = json.loads(done.stdout)
        assert told["written"] == "tractor/harness.toml"
        written = load_harness(shop / "tractor").expect
        for key in told["keys"]:
            value = getattr(written, key["key"])
            assert value == (pytest.approx(key["value"], rel=0.05) if key["told"] else key["now"])
        text = file.read_text("utf-8")
        assert text.startswith(before)
        assert "# from 6 sound units, " in text and "#   U001, U002, U003, U004, U005, U006\n" in text
        # the same runs say the same again: their record of the settings is not what counts
        again = loomtest("expect", "tractor", "--from", *runs(1, 2, 3, 4, 5, 6), "--json", cwd=shop)
        assert json.loads(again.stdout)["change"] == []
    finally:
        file.write_text(before, "utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["tractor", "--from", *runs(1, 2, 3, 4, 7)], "found 4 sound units; expected at least 5"),
        (["tractor", "--from", *runs(1, 2, 3, 4), "runs/004/readings.csv"], "readings.csv"),
        (["tractor/wires.csv", "--from", *runs(1, 2, 3, 4, 5), "--write"], "a file without settings"),
        (["tractor", "--from", "runs/099"], "runs/099"),
    ],
)
def test_what_cannot_be_used_is_told(shop: Path, arguments: list[str], message: str) -> None:
    done = loomtest("expect", *arguments, cwd=shop)
    assert done.returncode == 2 and message in done.stderr
    assert "Traceback" not in done.stderr


def test_wires_without_sizes_say_nothing_of_copper(shop: Path, tmp_path: Path) -> None:
    (tmp_path / "bare.csv").write_text("from,to\nX1:1,X2:1\n", "utf-8")
    done = loomtest("expect", "bare.csv", "--from", str(shop / "runs/001"), cwd=tmp_path)
    assert done.returncode == 2 and "no wire with size and length" in done.stderr
