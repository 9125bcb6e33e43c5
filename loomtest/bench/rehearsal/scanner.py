"""`rehearse:FOLDER`: a simulated board on the loom of a harness folder, with its faults.csv."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path

from loomtest.bench.rehearsal.analog import Analog
from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.faults import TrueLoom, read_faults, true_loom
from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.sockets import SOCKETS_FILE, Sockets, proposed, read_sockets
from loomtest.errors import InputError, Problem
from loomtest.harness.load import load_harness

SIZES = (64, 128)  # boards with transistor switches, so that all of it can be tried
ASKED = (16, *SIZES)  # by rehearse:FOLDER#16; the smallest is the plain board
STEADY_ROWS, FLEXED_ROWS = 30, 10  # of a flex watch: a rehearsed intermittent opens for so long, so often


def network_of(loom: TrueLoom, sockets: Sockets, pins: int, parts: Parts, flexed: bool = False) -> Network:
    """The loom as the board's pins see it; points without a pin are inner nodes, lead wires are in series."""
    socket_at = {socket.point: socket for socket in sockets.rows}
    polar = {p for a, b in loom.diodes for p in (a, b)} | {p for a, b, *_ in loom.sources for p in (a, b)}
    inner = [p for p in loom.points if p not in socket_at or socket_at[p].lead_ohm > 0.0]
    inner.sort(key=lambda point: point not in polar)  # what diodes and sources end at comes first
    node = {point: pins + n for n, point in enumerate(inner)}
    resistors = [(socket_at[p].pin - 1, node[p], socket_at[p].lead_ohm) for p in inner if p in socket_at]
    node |= {point: socket.pin - 1 for point, socket in socket_at.items() if point not in node}
    resistors += [(node[a], node[b], ohms) for a, b, ohms in (loom.flexing if flexed else loom.edges)]
    return Network(
        pins,
        pins + sum(point in polar for point in inner),
        pins + len(inner),
        tuple(resistors),
        tuple((node[a], node[b], volts, ohms) for a, b, volts, ohms in loom.sources),
        tuple((node[a], node[b]) for a, b in loom.diodes),
        parts,
    )


def rehearsal_port(place: Path) -> RehearsalPort:
    """The board of a rehearsal, calibrated; `FOLDER#16` asks for a board of so many pins. A loom with more
    points is plugged in later, part by part. Raises InputError for what cannot be rehearsed."""
    folder, asked = _folder_and_pins(place)
    harness = load_harness(folder)
    home = folder if folder.is_dir() else folder.parent
    loom = true_loom(harness, read_faults(home, harness))
    wanted = sum(1 for point in harness.points if point not in harness.unreachable)
    pins = asked or next((size for size in SIZES if size >= wanted), SIZES[-1])
    table = home / SOCKETS_FILE
    if table.is_file():
        sockets = read_sockets(table, harness, pins)
    else:
        sockets = proposed(harness, pins) if wanted <= pins else Sockets(())
    parts = Parts(
        ref_1k=1004.0, ref_10k=9968.0, ref_100k=100.4e3, gain=39.91, current=0.0992, amp_offset=2e-5
    )
    board = Board(network_of(loom, sockets, pins, parts), switches=pins in SIZES)
    calibrate(board, parts)
    if loom.flexing != loom.edges:
        flexed = network_of(loom, sockets, pins, parts, flexed=True)
        board.before_row = _flexing(board, board.meter.analog.network, flexed)

    def plug_in(part: Sockets) -> None:
        board.before_row = lambda watched: None
        board.meter.analog = Analog(network_of(loom, part, pins, parts))

    port = RehearsalPort(board)
    port.plug_in = plug_in
    return port


def _folder_and_pins(place: Path) -> tuple[Path, int | None]:
    """`FOLDER` or `FOLDER#PINS`. Raises InputError."""
    text, hash_, pins = str(place).rpartition("#")
    if not hash_ or place.exists():
        return place, None
    if pins not in {str(size) for size in ASKED}:
        sizes = ", ".join(str(size) for size in ASKED)
        raise InputError([Problem(str(place), None, "", f"a board of {pins!r} pins", f"one of {sizes}")])
    return Path(text), int(pins)


def calibrate(board: Board, parts: Parts) -> None:
    """What a careful calibration of this board would have stored."""
    kept = board.meter.calibration
    kept.scale = [
        round(parts.shunt / parts.gain * 1e5 * 256),
        round((parts.ref_1k + 25.0) / parts.gain * 1e3 * 256),
        round((parts.ref_1k + 25.0) * 100 * 256),
        round((parts.ref_10k + 25.0) * 256),
        round((parts.ref_100k + 25.0) * 256 / 100),
    ]
    kept.ppm = [500, 800, 500, 500, 1000]


def _flexing(board: Board, steady: Network, flexed: Network) -> Callable[[bool], None]:
    """Called before every row: the loom is flexed only while somebody watches (rows with a set)."""
    rows = count()

    def step(watched: bool) -> None:
        bent = watched and next(rows) % (STEADY_ROWS + FLEXED_ROWS) >= STEADY_ROWS
        wanted = flexed if bent else steady
        if board.meter.analog.network is not wanted:
            board.meter.analog.load(wanted)

    return step
