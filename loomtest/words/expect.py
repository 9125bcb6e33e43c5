"""What sound units say of healthy copper and joints, beside what stands in the settings."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.diagnosis.units.proposal import FEW_UNITS, FEWEST_UNITS, Proposed
from loomtest.diagnosis.units.sound import Refused, SoundUnits
from loomtest.errors import Problem
from loomtest.words.lines import Line, all_of, wrapped
from loomtest.words.numbers import counted

KEY_MEANS = {
    "copper_factor": "copper, against a solid wire of that size and length",
    "copper_spread_percent": "copper of one wire, from unit to unit",
    "length_spread_percent": "how far off the sizes and lengths in the wire list are",
    "joint_milliohms": "a healthy joint",
    "joint_spread_milliohms": "healthy joints, from one to the next",
}
_UNIT = {
    "copper_spread_percent": " %",
    "length_spread_percent": " %",
    "joint_milliohms": " mΩ",
    "joint_spread_milliohms": " mΩ",
}
MOST_NAMED = 5


def too_few(sound: SoundUnits) -> list[Problem]:
    """Why these runs cannot say what is healthy; empty where they can."""
    if sound.enough:
        return []
    found = counted(len(sound.runs), "sound unit")
    expected = f"at least {FEWEST_UNITS}: fewer say too little about a spread"
    first = Problem("--from", None, "", found, expected)
    return [first, *(Problem(one.source, None, "", why(one), _WANTED[one.why]) for one in sound.refused)]


_WANTED = {
    "fail": "a unit that is right",
    "joints": "a unit whose joints all pass",
    "rehearsal": "a run measured on a real loom, or --rehearsal to take it all the same",
    "loom": "runs of the loom as its wire list stands now",
}


def why(one: Refused) -> str:
    """Why a run is left out, in a few words."""
    if one.why == "fail":
        return counted(one.faults, "fault")
    if one.why == "joints":
        return "joints that are not proven"
    if one.why == "rehearsal":
        return "a rehearsal: its meter was a simulated one"
    more = len(one.wires) - MOST_NAMED
    named = all_of([*one.wires[:MOST_NAMED], *([f"{more} more"] if more > 0 else [])])
    return f"another version of the loom, by {named}"


def figure(key: str, value: float) -> str:
    """The value of a key as it is proposed: a factor to three places, all else to two figures."""
    if key == "copper_factor":
        return f"{value:.3f}".rstrip("0").rstrip(".")
    return f"{float(f'{value:.2g}'):g}"


def expect_lines(name: str, sound: SoundUnits, keys: Sequence[Proposed]) -> list[Line]:
    """The units, and what they say key by key."""
    lines = [Line(f"{name}: {counted(len(sound.runs), 'sound unit')}", "head"), *remark_lines(sound)]
    lines.append(Line(""))
    for key in keys:
        unit = _UNIT.get(key.key, "")
        now, value = figure(key.key, key.now), figure(key.key, key.value)
        between = f"{figure(key.key, key.between[0])} to {figure(key.key, key.between[1])}{unit}"
        lines.append(Line(f"  {key.key}: {KEY_MEANS[key.key]}"))
        if key.told:
            lines.append(Line(f"      {value}{unit} (95 %: {between}); now {now}{unit}", "good"))
        else:
            said = f"cannot be told from these units (95 %: {between}); stays {now}{unit}"
            lines.append(Line(f"      {said}", "doubt"))
    return lines


def change_lines(change: Sequence[str], file: str, written: bool) -> list[Line]:
    """The lines of the settings file that go and come; `file` is empty where there is none."""
    if not file:
        text = "A bare wire list holds no settings. Put it into a folder of its own to keep these there."
        return [Line(""), *wrapped(text)]
    if not change:
        return [Line(""), Line(f"Nothing to change in {file}.")]
    lines = [Line(""), Line(f"{'Changed' if written else 'What would change'} in {file}", "head")]
    tone = {"-": "bad", "+": "good"}
    lines += [Line(f"  {line}", tone.get(line[:1], "soft")) for line in change]
    if not written:
        lines += [Line(""), Line("Nothing is written yet. The same command with --write writes it.")]
    return lines


def remark_lines(sound: SoundUnits) -> list[Line]:
    """What should be known of the units before their numbers are believed."""
    said = []
    if len(sound.runs) < FEW_UNITS:
        said.append(f"These are few units: {FEW_UNITS} or more tell the spreads better.")
    said += [f"Left out: {one.source}, {why(one)}." for one in sound.refused]
    if sound.earlier:
        said.append(f"{counted(len(sound.earlier), 'earlier run')} of the same units left out.")
    if sound.nameless:
        runs = counted(len(sound.nameless), "run")
        said.append(f"{runs} without a unit's number: each counts as a unit of its own.")
    if len(sound.meters) > 1:
        meters = all_of([f"{name} ({count})" for name, count in sound.meters])
        said.append(f"Different meters: {meters}. What each is off by is taken as its own.")
    rehearsed = sum(run.readings.run is not None and run.readings.run.rehearsal for run in sound.runs)
    if rehearsed:
        said.append(f"{counted(rehearsed, 'run')} of a simulated meter among them: not for a real loom.")
    if sound.open_else:
        runs = counted(len(sound.open_else), "run")
        said.append(f"In {runs} the joints pass and something else was not checked.")
    return wrapped(*said, tone="doubt", indent=2) if said else []
