"""Colours that keep apart for every eye, and a word and a shape for every kind of fault."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from typing import get_args

import matplotlib
import numpy as np
import pytest

from loomtest.diagnosis.change.change import Change
from loomtest.diagnosis.flexing import analyse
from loomtest.diagnosis.verdict import Fault, Finding
from loomtest.evidence.pictures.drawing import to_svg
from loomtest.evidence.pictures.look import DARK, LIGHT, MARKS, WIRE_COLOURS
from loomtest.evidence.pictures.strip import write_strip
from loomtest.evidence.plots.plots import faults_plot
from loomtest.harness.load import load_harness
from loomtest.words.danger import ranked
from loomtest.words.labels import FAULT_SIGN, FAULT_WORD
from tests.diagnosis.change.columns import in_columns
from tests.evidence import example

# Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision deficiency"
# (IEEE TVCG 15, 2009), matrices at severity 1.0, on linear RGB (value from memory).
EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}

# F. Viénot, H. Brettel, J. D. Mollon, Color Research and Application 24 (1999), 243, on linear RGB
# (value from memory): another route to the same.
DICHROMATS = {
    "protanope": np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]]),
    "deuteranope": np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]),
}
EYES |= DICHROMATS
# The ten colours that matplotlib gives to curves by itself.
STOCK = (
    "#1f77b4", "#ff7f0e", "#2ca02c", "#d62728", "#9467bd", "#8c564b", "#e377c2", "#7f7f7f", "#bcbd22",
    "#17becf",
)  # fmt: skip


def linear(colour: str) -> np.ndarray:
    srgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = np.clip(to_xyz @ np.clip(rgb, 0, 1), 0, None) / np.array([0.9505, 1.0, 1.089])
    f = [np.cbrt(v) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """WCAG 2.1 contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    light, dark = sorted((float(linear(c) @ weights) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_the_three_answers_keep_apart_for_every_eye(eye: str, palette: dict[str, str]) -> None:
    for one, other in combinations(("good", "doubt", "bad"), 2):
        a, b = (lab(EYES[eye] @ linear(palette[name])) for name in (one, other))
        assert np.linalg.norm(a - b) > 20, (one, other)


def test_each_eye_keeps_white_white_and_black_black() -> None:
    """A matrix with a slip in it would tint them."""
    for eye, matrix in EYES.items():
        assert matrix @ np.ones(3) == pytest.approx(np.ones(3), abs=2e-4), eye


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_what_is_drawn_stands_out_from_what_it_is_drawn_on(palette: dict[str, str]) -> None:
    """WCAG 2.1, 1.4.11: 3 to 1 for what a picture needs. The trunk's own edge is drawn in `soft`."""
    for ground in ("paper", "card", "body"):
        for name in ("ink", "soft", "good", "doubt", "bad"):
            assert contrast(palette[name], palette[ground]) >= 3, (name, ground)
    for name in ("ink", "doubt", "bad"):  # letters, broken lines
        assert contrast(palette[name], palette["sleeve"]) >= 3, name


def test_the_contrast_is_that_of_the_recommendation() -> None:
    """WCAG 2.1: black on white is 21 to 1; #767676 on white is the lightest grey that has 4.5."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_no_colour_is_one_that_a_plotting_library_gives_by_itself() -> None:
    ours = {*LIGHT.values(), *DARK.values(), *WIRE_COLOURS.values()}
    assert not ours & set(STOCK)
    usual = matplotlib.rcParamsDefault["axes.prop_cycle"].by_key()["color"]
    assert not ours & set(usual)


def test_every_colour_of_the_plots_is_of_the_palette(tmp_path: Path) -> None:
    time_s = np.arange(0.0, 30.0, 0.1)
    value = np.full(len(time_s), 0.5)
    value[100:103] = np.inf
    value[200:] += 0.2
    write_strip(tmp_path, time_s, value, analyse(time_s, value), "title")
    harness = load_harness(example.TRACTOR)
    sides = [example.verdict(harness), example.verdict(harness, ())]
    none: tuple[()] = ()
    change = Change("fail", "pass", in_columns(none), none, none, none, none)
    (tmp_path / "faults.svg").write_text(to_svg(faults_plot(harness, change, *sides), alone=True))
    for path in tmp_path.glob("*.svg"):
        used = set(re.findall(r"#[0-9a-fA-F]{6}\b", path.read_text(encoding="utf-8")))
        assert used, path
        assert used <= {*LIGHT.values(), *DARK.values()}, path


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_is_legible_on_every_ground(palette: dict[str, str]) -> None:
    for ground in ("paper", "card", "body"):
        for name in ("ink", "soft", "good", "doubt", "bad"):
            assert contrast(palette[name], palette[ground]) >= 4.5, (name, ground)
    for tone in ("good", "doubt", "bad"):
        assert contrast(palette["mark"], palette[tone]) >= 4.5


def test_every_kind_of_fault_has_a_word_a_shape_and_a_rank() -> None:
    kinds = get_args(Fault)
    assert set(FAULT_WORD) == set(MARKS) == set(kinds)
    assert len(set(FAULT_WORD.values())) == len({MARKS[kind].outlines for kind in kinds}) == len(kinds)
    assert len({FAULT_SIGN[kind] for kind in kinds}) == len(kinds)
    harness = example.tractor()
    findings = [Finding(kind, ("X1:3", "SOL")) for kind in reversed(kinds)]
    order = [finding.fault for finding in ranked(findings, example.verdict(harness), harness)]
    assert order[0] == "short"
    assert sorted(order) == sorted(kinds)


def test_a_hot_joint_stands_before_what_merely_does_not_work() -> None:
    harness = example.tractor()
    order = [f.fault for f in ranked(example.FINDINGS, example.verdict(harness), harness)]
    assert order == ["short", "high-resistance", "crossed", "open"]


def test_the_page_that_explains_the_report_has_every_word_and_sign() -> None:
    page = (Path(__file__).parents[3] / "docs" / "report.md").read_text(encoding="utf-8")
    for kind in get_args(Fault):
        sign = FAULT_SIGN[kind].replace("|", "\\|")
        assert re.search(
            rf"^\| {FAULT_WORD[kind]} \| [^|]+ \| `{re.escape(sign)}` \|$", page, re.MULTILINE
        ), kind
