"""The notes hold together: drawing and source, parts and model, pins and ports, pictures of commands."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from loomtest.bench.rehearsal import analog
from loomtest.bench.rehearsal.network import Parts

NOTES = Path(__file__).parents[2] / "firmware_notes"


def drawing() -> object:
    spec = importlib.util.spec_from_file_location("draw_schematic", NOTES / "draw_schematic.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_schematic_is_drawn_from_its_source() -> None:
    source = (NOTES / "schematic.txt").read_text("utf-8")
    svg = drawing().draw(source)
    assert svg == (NOTES / "schematic.svg").read_text("utf-8")
    ElementTree.fromstring(svg)
    with pytest.raises(ValueError, match="line 2"):
        drawing().draw("size 10,10\nres 1,1 2,2 R1")


def test_every_part_of_the_schematic_is_in_the_parts_list() -> None:
    source, notes = (
        (NOTES / "schematic.txt").read_text("utf-8"),
        (NOTES / "build-notes.md").read_text("utf-8"),
    )
    listed = set(re.findall(r"\b[RQDA]\d+\b", notes)) | {"R10", "A2"}
    for name in re.findall(r"^(?:res|dio|pfet|nfet|amp) .*?\b([RQDA]\d+)\b", source, re.MULTILINE):
        assert name in listed, name


def test_the_schematic_has_the_values_of_the_model() -> None:
    source, parts = (NOTES / "schematic.txt").read_text("utf-8"), Parts()
    value = {m[1]: m[2] for m in re.finditer(r"\b(R\d+) ([\d.]+ k?Ω)", source)}
    ohms = {name: float(text.split()[0]) * (1e3 if "k" in text else 1) for name, text in value.items()}
    assert ohms["R3"] == ohms["R4"] == analog.FORCE_OHM
    assert (ohms["R9"], ohms["R10"], ohms["R11"]) == (parts.ref_1k, parts.ref_10k, parts.ref_100k)
    assert ohms["R8"] == parts.shunt and ohms["R7"] == analog.FEED_OHM
    # the stated most current through a multiplexer: 5.25 V over both force resistors and the least reference
    assert 5.25 / (2 * ohms["R3"] + ohms["R9"]) < 2.75e-3


def test_the_pin_table_is_that_of_the_port() -> None:
    port = (NOTES / "firmware" / "port_avr.c").read_text("utf-8")
    table = (NOTES / "pins.md").read_text("utf-8")
    small, large = port.split("#elif defined(__AVR_ATmega2560__)")
    rows = {
        "LATCH PLANES": "LATCH_PLANES", "LATCH SWITCHES": "LATCH_SWITCHES", "SWITCHES OFF": "SWITCHES_OFF",
        "SOURCE": "BIT_SOURCE", "FEED": "BIT_FEED", "DRIVE": "BIT_DRIVE",
    }  # fmt: skip
    for signal, macro in rows.items():
        cells = re.search(rf"^\| {signal} \|.*$", table, re.MULTILINE)
        assert cells, signal
        found = [re.search(rf"#define {macro} (P[A-Z]\d)", text) for text in (small, large)]
        assert all(found) and [f[1] for f in found if f] == [
            cell.strip() for cell in cells[0].split("|")[3:5]
        ], signal


def test_cautions_stand_first() -> None:
    notes = (NOTES / "build-notes.md").read_text("utf-8")
    first = notes.split("\n## ")[1]
    for word in (
        "off the vehicle",
        "negative first",
        "restraint-system",
        "control units",
        "high-voltage",
        "manual",
    ):
        assert word in first, word
