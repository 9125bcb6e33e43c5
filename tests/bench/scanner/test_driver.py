"""The driver by its conversation: what was sent, what was answered, and nothing left over."""

from __future__ import annotations

import math

import pytest

from loomtest.bench.connect import open_scanner
from loomtest.bench.scanner.answers import PinRow, StandingVoltageError
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.protocol import check_of, frame
from loomtest.errors import InstrumentError

WHO = "who 1 1.0 16 switches calibrated"
Exchange = tuple[str, list[str | bytes]]


class Conversation:
    """A port that expects these requests in this order and answers each with these lines.

    A text is framed with the number of the request; bytes go out as they are.
    """

    def __init__(self, *exchanges: Exchange, first: bytes = b"") -> None:
        self.left = list(exchanges)
        self.closed = False
        self._out = bytearray(first)

    @property
    def in_waiting(self) -> int:
        return len(self._out)

    def read(self, size: int = 1) -> bytes:
        taken = bytes(self._out[:size])
        del self._out[:size]
        return taken

    def write(self, data: bytes) -> int:
        seq = int(data[1:3], 16)
        command, lines = self.left.pop(0)
        assert data == frame(seq, command), (data, command)
        for line in lines:
            self._out += line if isinstance(line, bytes) else framed(f"{seq:02X}", line)
        return len(data)

    def close(self) -> None:
        self.closed = True


def framed(tag: str, body: str) -> bytes:
    text = f":{tag} {body}".encode()
    return text + b"*" + check_of(text).encode() + b"\r\n"


def scanner(*exchanges: Exchange, first: bytes = b"") -> tuple[Scanner, Conversation]:
    asked: list[Exchange] = [("who", [WHO])] * (2 if first else 1)  # what stood on the line cost one try
    port = Conversation(*asked, *exchanges, first=first)
    return Scanner(port, silence_s=0.02), port


def row(pin: int, joined: dict[int, str] | None = None) -> str:
    cells = ["." if n == pin else (joined or {}).get(n, ">") for n in range(1, 17)]
    return f"row {pin} {','.join(cells)}"


def test_identity_and_a_pair() -> None:
    board, port = scanner(("pair 1 2", ["pair 1 2 47L31/0 47L15/0"]), first=framed("--", "boot 1 16"))
    assert (board.identity.pins, board.identity.switches, board.identity.calibrated) == (16, True, True)
    there, back = board.pair(1, 2)
    assert there.ohms == pytest.approx(0.04731) and back.ohms == pytest.approx(0.04715)
    assert not port.left
    assert board.counts.resets == 0  # a board that starts when its port is opened lost nothing


@pytest.mark.parametrize(
    "first_answer",
    [
        [],  # lost
        [b":01 pair 1 2 47L31/0 47L15/0*000000\r\n"],  # damaged
        [framed("--", "error damaged")],  # our request was damaged
        [framed("--", "boot 1 16")],  # the board started anew
        ["pair 1 3 47L31/0 47L15/0"],  # an answer to something else
        ["pair 1 2 47L31/0"],  # whole, but no answer of this kind
    ],
)
def test_what_cannot_be_used_is_asked_for_again(first_answer: list[str | bytes]) -> None:
    board, port = scanner(("pair 1 2", first_answer), ("pair 1 2", ["pair 1 2 > >"]))
    assert math.isinf(board.pair(1, 2)[0].ohms)
    assert not port.left


def test_a_late_answer_is_not_taken_for_the_next_one() -> None:
    late = framed("02", "pair 1 2 1R000/1 1R000/1")
    board, port = scanner(("pair 1 2", []), ("pair 1 2", [late, "pair 1 2 2R000/1 2R000/1"]))
    assert board.pair(1, 2)[0].ohms == 2.0
    assert board.counts.stale == 1 and not port.left


def test_rows_lost_or_damaged_in_a_scan_are_asked_for_singly() -> None:
    lines: list[str | bytes] = [row(pin) for pin in range(1, 17)] + ["end 16 500"]
    lines[4] = b":02 row 5 damaged*000000\r\n"
    del lines[8]  # row 9 never came
    lines.insert(3, lines[2])  # row 3 doubled
    board, port = scanner(("scan", lines), ("row 5", [row(5)]), ("row 9", [row(9)]))
    assert sorted(found.pin for found in board.scan()) == list(range(1, 17))
    assert not port.left


def test_a_reset_in_mid_scan_costs_nothing() -> None:
    lines: list[str | bytes] = [row(pin) for pin in range(1, 8)]
    singles: list[Exchange] = [(f"row {pin}", [row(pin)]) for pin in range(8, 17)]
    board, port = scanner(("scan", [*lines, framed("--", "boot 1 16")]), *singles)
    assert [found.pin for found in board.scan()] == list(range(1, 17))
    assert board.counts.resets == 1 and not port.left


def test_a_scan_of_somebody_else_is_left_alone() -> None:
    """The port is opened in the middle of a scan: its rows are stale."""
    first = b"".join(framed("41", row(pin)) for pin in (5, 6)) + b":41 row 7 .,>,>\r\n"
    board, port = scanner(first=first)
    assert board.identity.pins == 16 and not port.left


def test_a_pair_that_is_same_as_nothing_is_measured_anew() -> None:
    """Row 2 refers to row 1, but there the two were apart: the joint has moved."""
    lines: list[str | bytes] = [row(pin, {1: "="} if pin == 2 else None) for pin in range(1, 17)] + [
        "end 16 500"
    ]
    board, port = scanner(("scan", lines), ("row 2", [row(2, {1: "47L00/0"})]))
    rows = {found.pin: found for found in board.scan()}
    assert rows[2].values[0].ohms == pytest.approx(0.047)
    assert not port.left


def test_a_standing_voltage_is_refused_with_the_pins() -> None:
    board, _ = scanner(("scan", ["error volts 3 7 4990"]))
    with pytest.raises(StandingVoltageError, match="pin 3 against pin 7") as caught:
        list(board.scan())
    assert (caught.value.pin, caught.value.against) == (3, 7)
    assert "negative first" in str(caught.value)


def test_silence_ends_in_words() -> None:
    with pytest.raises(InstrumentError, match="no usable answer"):
        Scanner(Conversation(*[("who", [])] * 4), silence_s=0.01)


def test_another_protocol_is_named() -> None:
    with pytest.raises(InstrumentError, match="protocol 2"):
        Scanner(Conversation(("who", ["who 2 9.0 16 switches calibrated"])), silence_s=0.01)


def test_what_is_not_there_is_said() -> None:
    with pytest.raises(InstrumentError, match="no serial port"):
        open_scanner("/dev/there-is-no-such-port")
    board, _ = scanner(("pair 1 99", ["error argument"]))
    with pytest.raises(InstrumentError, match="does not know such a pin"):
        board.pair(1, 99)


def test_rows_are_values() -> None:
    outside = {n: "." for n in range(1, 17) if n not in (5, 6, 7, 8)}
    board, _ = scanner(("row 4 00F0", [row(4, {5: "22K025/3", **outside})]))
    found = board.row(4, {5, 6, 7, 8})
    assert isinstance(found, PinRow) and found.values[4].ohms == pytest.approx(22025.0)
