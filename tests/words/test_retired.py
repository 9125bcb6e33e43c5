"""Nothing that a person reads says a word that docs/words.md has replaced, nor goes on for too long."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.words.retired import MOST_WORDS, RETIRED, ROOT, found_in, sentences_in_code

# What it says of itself in code or in mathematics is not read at the bench.
FOR_BUILDERS = {"mathematics.md", "performance.md", "words.md", "changes.md"}
DOCUMENTS = sorted(
    path for path in (ROOT / "README.md", *(ROOT / "docs").glob("*.md")) if path.name not in FOR_BUILDERS
)
ROOMS = ("words", "bench", "evidence", "web", "commands", "diagnosis")


def prose(path: Path) -> str:
    """The document without code, comments and the keys between backticks."""
    text = re.sub(r"```.*?```", "", path.read_text("utf-8"), flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r"^    .*$|^The JSON object.*$", "", text, flags=re.MULTILINE)  # commands, and keys
    return re.sub(r"`[^`]*`", "`key`", text)


def sentences(text: str) -> list[str]:
    """Sentences of prose: cells of tables, items of lists and headings stand by themselves."""
    blocks = re.split(r"\n\s*\n|\n(?=[-*|#>\d])|\|", text)
    return [" ".join(part.split()) for block in blocks for part in re.split(r"(?<=[.!?:;])\s+", block)]


@pytest.mark.parametrize("room", ROOMS)
def test_the_program_says_no_retired_word(room: str) -> None:
    said = [
        f"{path.relative_to(ROOT)}:{line}: {text[:90]!r}: {', '.join(found)}"
        for path in sorted((ROOT / "loomtest" / room).rglob("*.py"))
        for line, text in sentences_in_code(path)
        if (found := found_in(text))
    ]
    assert said == []


def test_no_page_says_a_retired_word() -> None:
    pages = [path for path in (ROOT / "loomtest").rglob("*.html") if "demo" not in path.parts]
    assert len(pages) > 2
    shown = [
        (path.name, text) for path in pages for text in re.findall(r">([^<>{}]+)<", path.read_text("utf-8"))
    ]
    assert [(name, text.strip()) for name, text in shown if found_in(text)] == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_no_document_says_a_retired_word(document: Path) -> None:
    said = [
        f"{sentence[:100]}: {found_in(sentence)}"
        for sentence in sentences(prose(document))
        if found_in(sentence)
    ]
    assert said == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_no_sentence_of_a_document_is_too_long(document: Path) -> None:
    long = [s for s in sentences(prose(document)) if len(s.split()) > MOST_WORDS]
    assert long == []


def test_no_sentence_of_the_room_for_words_is_too_long() -> None:
    long = [
        f"{path.name}:{line}: {sentence}"
        for path in sorted((ROOT / "loomtest" / "words").rglob("*.py"))
        for line, text in sentences_in_code(path)
        for sentence in sentences(text)
        if len(sentence.split()) > MOST_WORDS
    ]
    assert long == []


def test_the_walk_sees_a_retired_word_inside_a_sentence_with_numbers(tmp_path: Path) -> None:
    module = tmp_path / "m.py"
    module.write_text('"""Bad joint."""\nx = f"{n} bad joints here"\ny = "All nets checked"\n', "utf-8")
    found = [found_in(text) for _, text in sentences_in_code(module)]
    assert sorted(map(len, found)) == [1, 1]
    assert all(re.compile(pattern) for pattern in RETIRED)
