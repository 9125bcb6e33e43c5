"""The page for the customer: what was wrong, what was done, what it measures now, and who says so.

One page of paper, and an appendix with every circuit. It holds no code where a name is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from loomtest.diagnosis.change.change import Change, Side, change_between
from loomtest.diagnosis.verdict import Finding, WireRow
from loomtest.evidence.page.first import bare_mark, looked_at
from loomtest.evidence.page.page import page_hash, save_whole, with_palette
from loomtest.evidence.page.shop import NO_SHOP, Shop
from loomtest.evidence.page.templates import templates
from loomtest.evidence.pictures.drawing import Drawing, bands, to_svg, visible, with_caption
from loomtest.evidence.pictures.loom import loom_picture
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.mended import mended_of
from loomtest.readings.model import NO_JOB, Job, Quantity, Readings, Run
from loomtest.words import customer as words
from loomtest.words.conditions import REHEARSAL, conditions
from loomtest.words.customer import Named, State
from loomtest.words.labels import FAULT_WORD, OUTCOME_TONE, ROW_TONE
from loomtest.words.lines import capital, held
from loomtest.words.numbers import counted, ohms
from loomtest.words.plain import doubts, headline

CUSTOMER_FILE = "customer.html"
MOST_HUBS_DRAWN = 26  # connectors and terminals that are all drawn: two rows of the picture
FEWEST_HUBS_DRAWN = 8  # and of a larger loom, if faults concern fewer
MOST_BOARDS = 2  # rows of the picture on the first page
MOST_ROWS = 8  # faults on the first page; the others stand in the appendix
MOST_TOLD = 60  # what was not measured, in the appendix
MOST_FAULTS = 200


@dataclass(frozen=True, kw_only=True, slots=True)
class Seal:
    """The kept run that stands behind a page: its name, and the digest of its tag manifest ("" inside the
    bag itself, which cannot hold its own digest)."""

    bag: str
    digest: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Delivered:
    """What a customer gets: the loom, both runs as judged, the shop's heading, and what is kept of it."""

    harness: Harness
    before: Side
    after: Side
    shop: Shop = NO_SHOP
    seal: Seal | None = None


def write_customer(made: Delivered, out: Path) -> Path:
    """Write customer.html into the folder `out`, which is made; its path."""
    out.mkdir(parents=True, exist_ok=True)
    path = out / CUSTOMER_FILE
    save_whole(path, customer_page(made))
    return path


def customer_page(made: Delivered) -> str:
    """The page as HTML: everything inline, no script, no network."""
    from markupsafe import Markup

    here = Path(__file__).parent
    style = with_palette((here / "customer.css").read_text(encoding="utf-8"))
    facts = _PageFacts(made)
    rows = facts.rows()
    boards = [
        Markup(to_svg(band, alone=False, ident=f"board-{number}", sized=True))
        for number, band in enumerate(facts.boards(), 1)
    ]
    verdict = made.after.verdict
    context = {
        "style": Markup(style),
        "style_hash": page_hash(style),
        "shop": made.shop,
        "harness": made.harness.name,
        "about": _about(made),
        "tone": OUTCOME_TONE[verdict.verdict],
        "say": words.answer_sentence(verdict, [row["state"] for row in rows]),
        "technical": held(headline(verdict, made.harness)),
        "rehearsal": REHEARSAL if verdict.rehearsal or made.before.verdict.rehearsal else "",
        "conditions": conditions(verdict),
        "rows": rows[:MOST_ROWS],
        "more_rows": rows[MOST_ROWS:],
        "nothing_wrong": words.NOTHING_WRONG,
        "notes": _notes(made.after.readings),
        "done_said": any(row["done"] for row in rows),
        "not_noted": words.NOT_NOTED if rows and not any(row["done"] for row in rows) else "",
        "boards": boards[:MOST_BOARDS],
        "more_boards": boards[MOST_BOARDS:],
        "looked_at": looked_at(verdict),
        "unmeasured": facts.unmeasured(),
        "says_only": words.SAYS_ONLY,
        "circuits": facts.circuits(),
        "seal": made.seal,
        "code": qr_picture(f"{made.seal.bag} sha256 {made.seal.digest}")
        if made.seal and made.seal.digest
        else "",
        "footer": f"Made with loomtest {version('loomtest')}.",
    }
    return templates(here).get_template("customer.html").render(context)


def qr_picture(text: str) -> Any:
    """The text as a QR picture (ISO/IEC 18004), black on white whatever the page's colours are."""
    import segno
    from markupsafe import Markup

    drawn = segno.make(text, micro=False, error="m").svg_inline(
        scale=1, border=3, dark="#000", light="#fff", omitsize=True, svgclass="qr"
    )
    return Markup(drawn.replace("<svg ", f'<svg role="img" aria-label="{visible(text)}" ', 1))


class _PageFacts:
    """What stands in the page, gathered once."""

    def __init__(self, made: Delivered) -> None:
        self.made, self.harness = made, made.harness
        self.named = Named(made.harness)
        self.change: Change = change_between(made.harness, made.before, made.after)
        self.before, self.after = made.before.verdict, made.after.verdict
        self.mended = [mended_of(run.raw) for run in _runs_after(made.after.readings)]
        self.doubtful = doubts(self.after, self.harness)[:MOST_FAULTS]

    def _states(self) -> list[tuple[Finding, State]]:
        """The faults in the order of their numbers: those found before, then what is new or doubtful now."""
        gone, open_ = set(map(id, self.change.gone)), set(map(id, self.change.not_shown_gone))
        told: list[tuple[Finding, State]] = []
        for finding in self.before.findings[:MOST_FAULTS]:
            left: State = "not shown gone" if id(finding) in open_ else "remaining"
            told.append((finding, "gone" if id(finding) in gone else left))
        told += [(finding, "new") for finding in self.change.new[:MOST_FAULTS]]
        open_wires = {s.wire for finding, state in told if state != "gone" for s in finding.suspects}
        for finding in self.doubtful:
            if not open_wires & {suspect.wire for suspect in finding.suspects}:  # else it is told already
                told.append((finding, "doubtful"))
        return told

    def rows(self) -> list[dict[str, Any]]:
        """One row a fault: what was wrong and where, what was done, what it measured and measures."""
        was = {row.wire: row for row in self.before.wires}
        rows = []
        for number, (finding, state) in enumerate(self._states(), 1):
            found_now = state in ("new", "doubtful")
            old = None if found_now else self._between(finding, self.made.before.readings)
            now = self._between(finding, self.made.after.readings)
            wrong = held(words.wrong_sentence(finding, state, self.named))
            rows.append(
                {
                    "number": number,
                    "state": state,
                    "tone": words.STATE_TONE[state],
                    "word": words.STATE_WORD[state],
                    "mark": bare_mark(finding, "mark"),
                    "fault": FAULT_WORD[finding.fault] + ("?" if state == "doubtful" else ""),
                    "wrong": wrong,
                    "where": held(self.named.where(finding)),
                    "done": "" if found_now else held(self._done(finding)),
                    "then": "" if found_now else held(words.then_words(finding, was, old)),
                    "now": held(words.now_words(finding, state, self._rows_of(finding), now)),
                }
            )
        return rows

    def _done(self, finding: Finding) -> str:
        """What the runs after say was mended of a finding."""
        told = (words.done_sentence(finding, mended, self.named) for mended in self.mended)
        return next((sentence for sentence in told if sentence), "")

    def _rows_of(self, finding: Finding) -> list[WireRow]:
        """The wires that a fault concerned, as they are now."""
        names = {suspect.wire for suspect in finding.suspects}
        ends = {*finding.moves, *finding.moves.values()}
        if finding.fault == "crossed":
            return [row for row in self.after.wires if row.start in ends or row.end in ends]
        if finding.fault == "misplaced":
            ends = set(finding.moves)
            return [row for row in self.after.wires if row.start in ends or row.end in ends]
        return [row for row in self.after.wires if row.wire in names]

    def _between(self, finding: Finding, readings: Readings) -> float | None:
        """The lowest ohms read between the two circuits of a short or a leak; None where nobody looked."""
        if finding.fault not in ("short", "leakage"):
            return None
        code, net = self.harness.code_of, self.harness.net_of
        own = {int(net[code[point]]) for point in finding.points[:2] if point in code}
        if len(own) != 2:
            return None
        known = np.append(net, np.full(len(readings.points) - len(self.harness.points), -1))
        of = np.stack([known[readings.start], known[readings.end]], axis=1)
        one, other = own
        pair = (of == (one, other)).all(axis=1) | (of == (other, one)).all(axis=1)
        ohm = (Quantity.RESISTANCE, Quantity.RESISTANCE_4W, Quantity.INSULATION)
        pair &= np.isin(readings.quantity, [int(quantity) for quantity in ohm])
        return float(readings.value[pair].min()) if pair.any() else None

    def boards(self) -> list[Drawing]:
        """The picture with all faults, those that are gone among them; of a large loom what they concern."""
        told = self._states()
        found = [finding for finding, state in told if state != "doubtful"]
        doubtful = [finding for finding, state in told if state == "doubtful"]
        hubs = {connector_of(point) or point for point in self.harness.points}
        most = MOST_HUBS_DRAWN if len(hubs) <= MOST_HUBS_DRAWN else FEWEST_HUBS_DRAWN
        board = loom_picture(self.harness, found, doubtful, most_hubs=most)
        if self.after.rehearsal or self.before.rehearsal:
            board = with_caption(board, REHEARSAL)
        return bands(replace(board, title=f"{self.harness.name}: where the faults were"))

    def circuits(self) -> list[dict[str, Any]]:
        """Every circuit of more than one point: its name, its places, its highest wire then and now."""
        of: dict[int, list[int]] = {}
        for index in range(len(self.harness.wires)):
            of.setdefault(int(self.harness.net_of[self.harness.start[index]]), []).append(index)
        then = {row.wire: row for row in self.before.wires}
        now = {row.wire: row for row in self.after.wires}
        answers = {net.points[0]: net.verdict for net in self.after.nets if net.points}
        told = []
        for number, net in enumerate(self.harness.nets):
            if len(net.points) < 2:
                continue
            wires = [self.harness.wires[index].name for index in of.get(number, ())]
            answer = answers.get(self.harness.points[net.points[0]], "untested")
            places = self.named.places([self.harness.points[point] for point in net.points])
            told.append(
                {
                    "name": capital(self.named.net(net)),
                    "places": " · ".join(places[:3]) + (" …" if len(places) > 3 else ""),
                    "then": held(_highest([then[name] for name in wires if name in then])),
                    "now": held(_highest([now[name] for name in wires if name in now])),
                    "tone": ROW_TONE[answer],
                    "word": words.NET_SHORT[answer],
                }
            )
        return told

    def unmeasured(self) -> list[str]:
        """What was not measured, by names: whole circuits, and pairs that were not checked for shorts."""
        wires = [row for row in self.after.wires if row.verdict == "untested"]
        told = [
            f"Not measured: {self.named.wire(row.wire)} from {self.named.place(row.start)} to "
            f"{self.named.place(row.end)}."
            for row in wires
        ]
        pairs = sum(item.what == "isolation" for item in self.after.untested)
        if pairs:
            told.append(
                counted(pairs, "pair of circuits was", "pairs of circuits were") + " not checked for shorts."
            )
        if self.after.doubted_count:
            doubted = counted(self.after.doubted_count, "reading does", "readings do")
            told.append(f"{doubted} not fit the others.")
        more = len(told) - MOST_TOLD
        return told if more <= 0 else [*told[:MOST_TOLD], f"And {more:,} more."]


def _highest(rows: Sequence[WireRow]) -> str:
    """The highest resistance of a circuit's wires; "–" where none was told."""
    values = [row.ohms for row in rows if row.ohms is not None]
    return ohms(max(values)) if values else "–"


def _notes(readings: Readings) -> list[str]:
    """What the workshop wrote down at the run after."""
    notes = [line.strip() for run in _runs_after(readings) for line in run.notes.splitlines()]
    return [held(line) for line in notes if line]


def _runs_after(readings: Readings) -> list[Run]:
    """The runs since the one before the work: one, or several that go on from it."""
    if readings.sittings:
        return [sitting.run for sitting in readings.sittings[1:] if sitting.run is not None]
    return [readings.run] if readings.run is not None else []


def _about(made: Delivered) -> list[tuple[str, str]]:
    """Rows of name and value: for whom, which loom, when, by whom, with what."""
    runs = [made.before.readings.run, next(reversed(_runs_after(made.after.readings)), None)]
    jobs = [run.job for run in reversed(runs) if run is not None]
    job = next((job for job in jobs if job != NO_JOB), Job())
    meter = made.after.instrument or made.after.readings.instrument
    rows = [("For", job.customer), ("Job", job.number), ("Unit", job.unit)]
    rows += [
        (name, run.started[:10] if run else "") for name, run in zip(("As it came", "Now"), runs, strict=True)
    ]
    rows.append(("Measured by", runs[1].operator if runs[1] else ""))
    rows.append(("Meter", meter.name if meter and not meter.assumed else ""))
    return [(name, value) for name, value in rows if value]
