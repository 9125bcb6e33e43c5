"""XML from anybody as a light tree: no document type, no entity, no network, bounded in size and depth.

defusedxml refuses what an XML file can be made dangerous with; Python's own parser does not.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from loomtest.errors import Problem
from loomtest.harness.outward import visible

LARGEST_BYTES = 100_000_000
DEEPEST = 60  # elements within each other; KBL needs about ten
MOST_ELEMENTS = 5_000_000
NOTHING = "/NULL"  # what some writers put where there is no text
_TYPE = "http://www.w3.org/2001/XMLSchema-instance}type"
_ROOM = 1 << 20


class Element:
    """One element: its tag without a namespace, `id` and `kind` (its `xsi:type`), line, text, children."""

    __slots__ = ("children", "id", "kind", "line", "tag", "text", "version")

    def __init__(self, tag: str, attributes: dict[str, str], line: int) -> None:
        self.tag, self.line, self.text = tag, line, ""
        self.children: list[Element] = _NONE
        if not attributes:  # most of a file
            self.id = self.kind = self.version = ""
            return
        self.id = attributes.get("id", "")
        self.kind = attributes.get(_TYPE, "").rpartition(":")[2]
        self.version = attributes.get("version_id", "")

    def all(self, tag: str) -> Iterator[Element]:
        """The children of that tag."""
        return (child for child in self.children if child.tag == tag)

    def first(self, tag: str) -> Element | None:
        """The first child of that tag."""
        return next(self.all(tag), None)

    def told(self, tag: str) -> str:
        """The text of the first child of that tag, on one line; "" where there is none or it says nothing."""
        child = self.first(tag)
        text = " ".join(child.text.split()) if child is not None else ""
        return "" if text == NOTHING else text

    def refers(self, tag: str) -> list[str]:
        """The ids that the children of that tag refer to."""
        return [word for child in self.all(tag) for word in child.text.split() if word != NOTHING]

    def within(self, tag: str) -> Iterator[Element]:
        """The elements of that tag at any depth below this one."""
        for child in self.children:
            if child.tag == tag:
                yield child
            yield from child.within(tag)


_NONE: list[Element] = []  # of all elements without children; never added to


class _TooMuch(Exception):
    """More than anybody's harness needs; its text says of what."""


class _Builder:
    """Takes what the parser finds and makes the tree of it."""

    def __init__(self, keep: frozenset[str]) -> None:
        self.keep, self.past = keep, 0  # `past`: how deep inside what is passed over
        self.top = Element("", {}, 0)
        self.open = [self.top]
        self.count = 0
        self.lines: Any = None  # the parser's own count

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.past or (len(self.open) == 2 and tag.rpartition("}")[2] not in self.keep):
            self.past += 1
            if self.past > DEEPEST:
                raise _TooMuch(f"elements more than {DEEPEST} deep")
            return
        if len(self.open) > DEEPEST or self.count > MOST_ELEMENTS:
            deep = len(self.open) > DEEPEST
            raise _TooMuch(
                f"elements more than {DEEPEST} deep" if deep else f"more than {MOST_ELEMENTS:,} elements"
            )
        line = self.lines.CurrentLineNumber if attributes else 0
        element = Element(tag.rpartition("}")[2] if "}" in tag else tag, attributes, line)
        above = self.open[-1]
        if above.children is _NONE:
            above.children = [element]
        else:
            above.children.append(element)
        self.open.append(element)

    def data(self, text: str) -> None:
        if not self.past:
            self.open[-1].text += text

    def end(self, tag: str) -> None:
        if self.past:
            self.past -= 1
        else:
            self.open.pop()

    def close(self) -> Element:
        return self.top


@contextmanager
def uncollected() -> Iterator[None]:
    """Without Python's search for cycles: it goes through the growing tree again and again, and triples
    the time; a tree has none."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def read_tree(path: Path, keep: frozenset[str], problems: list[Problem]) -> Element | None:
    """The root element of an XML file, or None with the reason among the problems.

    `keep`: tags of the root's children that are wanted; the others are passed over.
    """
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    file = visible(str(path))
    expected = "an XML file without a document type: a harness as its design program writes it"

    def refuse(found: str, line: int | None = None, wanted: str = expected) -> None:
        problems.append(Problem(file, line, "", visible(found), wanted))

    builder = _Builder(keep)
    parser = DefusedXMLParser(
        target=builder, forbid_dtd=True, forbid_entities=True, forbid_external=True
    )  # the whole of what can be forbidden
    builder.lines = reader = parser.parser
    reader.ordered_attributes = False
    # Straight to the builder: the layer between would only put names together that are taken apart again.
    reader.StartElementHandler, reader.EndElementHandler = builder.start, builder.end
    reader.CharacterDataHandler = builder.data
    try:
        if not path.is_file():
            refuse("a folder" if path.is_dir() else "no such file", wanted="a harness file (KBL)")
            return None
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            refuse(f"{size:,} bytes", wanted=f"at most {LARGEST_BYTES:,} bytes")
            return None
        with path.open("rb") as stream:
            while block := stream.read(_ROOM):
                parser.feed(block)
        parser.close()
    except DefusedXmlException:
        refuse("a document type or an entity of its own", builder.lines.CurrentLineNumber)
        return None
    except _TooMuch as error:
        refuse(str(error), builder.lines.CurrentLineNumber, "a harness as its design program writes it")
        return None
    except ParseError as error:
        refuse(f"text that is no XML ({str(error).split(':')[0]})", error.position[0])
        return None
    except (LookupError, ValueError) as error:  # an encoding that nobody knows
        refuse(f"text in an encoding that cannot be read ({error})", wanted="UTF-8")
        return None
    except OSError as error:
        refuse(f"a file that cannot be read ({error.strerror})", wanted="a file that you may read")
        return None
    return builder.top.children[0]
