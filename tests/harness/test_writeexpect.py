"""`[expect]` is written into a settings file and nothing else in it moves."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.harness.settings import read_settings
from loomtest.harness.writeexpect import settings_file, settings_read, with_expect, write_settings

TEXT = """# a launch of no make
name = "Fishing launch"   # as on the drawing
unreachable = ["SP1"]

[expect]
# measured in the cold shed
temperature_c = 8.0
copper_factor = 1.07      # the old reel

[limits]
bad_joint_milliohms = 30
"""
VALUES = {"copper_factor": 1.083, "joint_milliohms": 2.9}


def test_keys_and_where_they_come_from_go_in_and_all_else_stays() -> None:
    text = with_expect(TEXT, VALUES, ["U001", "U002"], "2026-03-09")
    problems: list = []
    settings = read_settings(text, "harness.toml", problems)
    assert problems == []
    assert (settings.expect.copper_factor, settings.expect.joint_milliohms) == (1.083, 2.9)
    assert settings.expect.temperature_c == 8.0 and settings.limits.bad_joint_milliohms == 30
    gone = set(TEXT.splitlines()) - set(text.splitlines())
    assert gone == {"copper_factor = 1.07      # the old reel"}
    assert "# from 2 sound units, 2026-03-09 (loomtest expect):\n#   U001, U002\n" in text
    assert "copper_factor = 1.083" in text and "# the old reel" in text


def test_a_second_time_the_comment_is_replaced() -> None:
    many = [f"U{k:03d}" for k in range(60)]
    once = with_expect(TEXT, VALUES, many, "2026-03-09")
    assert max(map(len, once.splitlines())) <= 102 and once.count("\n#   ") == 4
    assert with_expect(once, VALUES, many, "2026-03-09") == once
    again = with_expect(once, VALUES, ["U100"], "2026-04-01")
    assert "U000" not in again and "# from 1 sound unit, 2026-04-01" in again
    assert "# measured in the cold shed" in again


@pytest.mark.parametrize(
    "text", ["", 'name = "Launch"\n', "expect.temperature_c = 8.0\n", "expect = {temperature_c = 8.0}\n"]
)
def test_whatever_way_the_table_was_written(text: str) -> None:
    problems: list = []
    written = with_expect(text, VALUES, ["U1"], "2026-03-09")
    settings = read_settings(written, "harness.toml", problems)
    assert problems == [] and settings.expect.copper_factor == 1.083
    assert ("temperature_c" in text) == (settings.expect.temperature_c == 8.0)
    assert "# from 1 sound unit" in written


def test_line_ends_stay_as_they_are(tmp_path: Path) -> None:
    file = tmp_path / "harness.toml"
    file.write_bytes(TEXT.replace("\n", "\r\n").encode())
    write_settings(file, with_expect(settings_read(file), VALUES, ["U1"], "2026-03-09"))
    data = file.read_bytes()
    assert data.count(b"\n") == data.count(b"\r\n") > 10
    assert list(tmp_path.iterdir()) == [file]


def test_a_unit_cannot_write_keys_of_its_own() -> None:
    text = with_expect(TEXT, VALUES, ['U1\n[limits]\nconfidence = 0.6\n"'], "2026-03-09")
    problems: list = []
    assert read_settings(text, "harness.toml", problems).limits.confidence == 0.95 and problems == []


def test_a_bare_wire_list_has_no_settings(tmp_path: Path) -> None:
    assert settings_file(tmp_path) == tmp_path / "harness.toml"
    with pytest.raises(InputError, match="a file without settings"):
        settings_file(tmp_path / "wires.csv")
