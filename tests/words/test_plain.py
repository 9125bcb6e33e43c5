"""The verdict in words: answer first, dangerous faults first, and nothing unmeasured called right."""

from __future__ import annotations

from dataclasses import replace

from loomtest.diagnosis.verdict import Coverage, Finding, Untested, Verdict
from loomtest.words.lines import WIDTH
from loomtest.words.plain import headline, untested_sentences, verdict_lines
from tests.evidence import example


def texts(verdict: Verdict) -> list[str]:
    return [line.text for line in verdict_lines(verdict, example.tractor())]


def clean() -> Verdict:
    bad = example.verdict(example.tractor())
    return replace(
        bad, verdict="pass", wiring="pass", joints="pass", findings=(), undecided=(), untested=(),
        coverage=Coverage(23, 23, 104, 104, 1, 1, 0),
    )  # fmt: skip


def test_the_answer_stands_on_the_second_line_and_no_line_is_too_wide() -> None:
    lines = texts(example.verdict(example.tractor()))
    assert lines[1] == "Not right yet: 4 faults found, and 1 doubtful place."
    assert max(map(len, lines)) <= WIDTH


def test_faults_are_numbered_by_danger_and_each_says_what_next() -> None:
    lines = texts(example.verdict(example.tractor()))
    heads = [line.split(maxsplit=1) for line in lines if line[:2].strip().isdigit()]
    assert [head[0] for head in heads] == ["1", "2", "3", "4", "5"]
    order = " ".join(head[1] for head in heads)
    assert [order.index(word) for word in ("short", "poor joint", "crossed", "open")] == sorted(
        order.index(word) for word in ("short", "poor joint", "crossed", "open")
    )
    assert sum(line.strip().startswith("Next: ") for line in lines) == 4  # the open has no next here


def test_a_number_is_never_parted_from_its_unit() -> None:
    harness = example.tractor()
    for width in range(30, 60):
        finding = Finding(
            "open", ("X1:2", "X4:2"), text="word " * (width // 5) + "x" * (width % 5) + " has 0.22 Ω"
        )
        lines = [line.text for line in verdict_lines(example.verdict(harness, (finding,)), harness)]
        assert any("0.22 Ω" in line for line in lines)


def test_what_was_not_measured_is_named_and_counted() -> None:
    pairs = tuple(Untested((f"X1:{n}", "SOL"), "isolation") for n in range(1, 13))
    lines = texts(replace(clean(), verdict="not-proven", wiring="not-proven", untested=pairs,
                          coverage=Coverage(23, 20, 104, 92, 1, 0, 2)))  # fmt: skip
    said = " ".join(lines)
    assert "3 wires were not measured" in said
    assert "12 pairs of circuits were not checked for shorts" in said
    assert "2 circuits have no place for a probe" in said
    assert "1 part was not measured" in said
    assert "X1:1 to SOL was not checked for a short." in said
    assert "And more (--json lists them all)." in said
    one = (
        *(Untested(("X1:1", f"X2:{n}"), "isolation") for n in range(3)),
        Untested(("X1:1", "A"), "continuity"),
    )
    assert untested_sentences(one) == [
        "X1:1 was not checked for shorts to X2:0, X2:1, X2:2.",
        "X1:1 to A was not measured.",
    ]


def test_only_a_pass_is_called_right_and_nothing_is_called_safe() -> None:
    good = clean()
    assert headline(good, example.tractor()).startswith("Everything that was checked is right")
    for outcome in ("fail", "not-proven"):
        assert (
            "that was checked is right"
            not in headline(replace(good, verdict=outcome), example.tractor()).lower()
        )
    last = " ".join(texts(good)[-2:])
    assert "does not say that the vehicle is safe" in last
    some = replace(good, coverage=replace(good.coverage, isolation_pairs_unchecked=3))
    assert "3 pairs of circuits were not checked for shorts" in headline(some, example.tractor())
    assert "no circuits are shorted" in headline(good, example.tractor())


def test_joints_are_told_with_the_limit_and_what_would_show() -> None:
    said = " ".join(" ".join(texts(clean())).split())
    assert "No poor joints (limit: 20 mΩ above healthy)" in said
    assert "catch anything 4 mΩ or more too high" in said
    assert "Not judged" in " ".join(texts(replace(clean(), joints_judged_at_ohms=None)))
