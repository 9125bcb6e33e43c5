"""What is said at the bench while readings are taken: answers to typed words, questions, corrections."""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.words.lines import all_of

# Words that people type where the meter's number is wanted, and what is answered.
_INSTEAD = {
    "short": "Type the number that the meter shows, such as 0.3.",
    "shorted": "Type the number that the meter shows, such as 0.3.",
    "yes": "Type the number that the meter shows, such as 0.3. A beep alone does not tell a good joint.",
    "beep": "Type the number that the meter shows, such as 0.3. A beep alone does not tell a good joint.",
    "ok": "Type the number that the meter shows, such as 0.3.",
    "good": "Type the number that the meter shows, such as 0.3.",
    "no": "Type what the meter shows: ol where it stays as with the tips apart.",
    "nothing": "Type ol where the meter stays as with the tips apart.",
    "none": "Type ol where the meter stays as with the tips apart.",
}
WHAT_HAPPENED = (
    ("mistyped", "1 mistyped"),
    ("poor-touch", "2 poor touch"),
    ("jumps", "3 it jumps by itself"),
)


def instead_of(word: str) -> str:
    """What to type in place of a word such as `short`; "" for any other text."""
    return _INSTEAD.get(word.strip().rstrip(".!").casefold(), "")


def out_of_proportion(typed: str, expected: str) -> str:
    """A typed value far from what any wire or part has: asked back before it is recorded."""
    return f"{typed} where {expected} is expected? Press Enter if the meter shows that, or type it again."


def what_happened(start: str, end: str, earlier: Sequence[str]) -> str:
    """The question when a value that fits follows ones that did not."""
    read = all_of(earlier)
    return (
        f"This fits. Before it, {start} to {end} read {read}. What was that? "
        + ", ".join(words for _, words in WHAT_HAPPENED)
        + "."
    )


def which_of_them() -> str:
    """The answer to a key that answers no question."""
    return "Press 1, 2 or 3: " + ", ".join(words for _, words in WHAT_HAPPENED) + "."


def kept_as_jumping(start: str, end: str) -> str:
    """All readings of a pair stay: it comes and goes."""
    return f"Kept: {start} to {end} comes and goes."


REASONS = {
    "mistyped": "mistyped",
    "poor-touch": "poor touch",
    "back": "taken back at the bench",
    "corrected": "corrected",
}


def no_such_row(row: str) -> str:
    """A row to correct that holds no reading."""
    return f"Line {row} holds no reading that can be corrected. Type a number from the list."


def how_to_correct(row: int, start: str, end: str, value: str) -> str:
    """What to do with the reading that was chosen from the list."""
    return f"Line {row}: {start} to {end} read {value}. Type the right value, or x to take it back."


def choose_row() -> str:
    """What to type when the list of readings is shown."""
    return "Type the number of the line to correct. Escape leaves the list."


def rest_not_taken(values: Sequence[str]) -> str:
    """The values of a line that stand behind one which did not fit."""
    return f"Not taken: {' '.join(values)}. Type them again from here."


def then_touch(points: Sequence[str]) -> str:
    """The cavities that follow with the same clip: all of them can be typed in one line."""
    return f"then {' · '.join(points)}: touch them in this order, and type all values in one line"


def turn_the_meter(diode: bool) -> str:
    """Which function the meter must stand on from now on."""
    if diode:
        return "Turn the meter to its diode test. The red lead goes where the prompt says red."
    return "Turn the meter back to resistance (Ω)."


def diode_leads(red: str, black: str) -> str:
    """Which lead goes where for a diode."""
    return f"diode test: red lead on {red}, black on {black}"


def red_lead_on(red: str) -> str:
    """Where the red lead goes, in a line that has little room."""
    return f"red lead on {red}"


def leads_end() -> str:
    """The last step of a sitting with a two-wire meter whose leads were measured at the start."""
    return (
        "All readings are taken. Last step: touch the tips together again, to see whether the leads changed."
    )
