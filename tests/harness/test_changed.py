"""Whatever makes everything right is told: limits and expectations beside the usual ones."""

from __future__ import annotations

from pathlib import Path

from loomtest.harness.changed import changed_settings
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\n"


def test_usual_limits_are_not_told(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    usual = "[expect]\ntemperature_c = 20.0\n[limits]\nbad_joint_milliohms = 20.0\n"
    (tmp_path / "harness.toml").write_text(usual)
    assert changed_settings(load_harness(tmp_path)) == ()


def test_every_other_value_is_told_with_the_usual_one(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    unusual = "[expect]\ntemperature_c = 150\n[limits]\nbad_joint_milliohms = 1e9\nisolation = 'none'\n"
    (tmp_path / "harness.toml").write_text(unusual)
    told = [(s.key, s.value) for s in changed_settings(load_harness(tmp_path))]
    assert told == [
        ("expect.temperature_c", 150.0),
        ("limits.bad_joint_milliohms", 1e9),
        ("limits.isolation", "none"),
    ]
    cold, hot = (changed_settings(load_harness(tmp_path), celsius) for celsius in (18.0, 299.0))
    assert [s.key for s in hot if s not in cold] == ["run.temperature_c"]


def test_the_verdict_counts_what_was_taken_back_and_names_the_settings(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(WIRES)
    (tmp_path / "harness.toml").write_text("[limits]\nbad_joint_milliohms = 50\n")
    (tmp_path / "readings.csv").write_text(
        "from,to,value,withdraws\nX1:1,X2:1,3,\n,,,1\nX1:1,X2:1,0.3,\nX1:2,X2:2,0.3,\nX1:1,X1:2,OL,\n"
    )
    import json

    verdict = json.loads(loomtest("judge", ".", "readings.csv", "--json", cwd=tmp_path).stdout)
    assert verdict["withdrawn"] == 1
    assert verdict["settings"] == [{"key": "limits.bad_joint_milliohms", "value": 50.0, "usual": 20.0}]
    assert verdict["rehearsal"] is False
