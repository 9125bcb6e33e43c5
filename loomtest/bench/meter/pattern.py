"""Regular expressions that come out of a file: each match has an end, whatever the pattern.

Python's own engine tries every way to split a line, so that a pattern such as `(?:\\d+)+` can take years
over sixty digits. The library `regex` matches the same patterns and gives up after a set time.
"""

from __future__ import annotations

from contextlib import suppress

import regex

MATCH_WITHIN_S = 0.05  # a line of a meter is matched within microseconds
_HOSTILE = ("1" * 120 + "!", "1." * 60 + "!", " " * 120 + "!", "a" * 120 + "!", "1 " * 60 + "!", "-" * 120)


class LinePattern:
    """A pattern that whole lines of a meter are matched with; `groups` are the names of its groups."""

    def __init__(self, text: str) -> None:
        """Raises ValueError for what is no regular expression, or takes too long over some line."""
        try:
            self._pattern = regex.compile(text)
        except (regex.error, RecursionError, OverflowError, MemoryError) as error:
            raise ValueError(f"{error}") from None
        self.groups = frozenset(self._pattern.groupindex)
        for line in _HOSTILE:
            try:
                self._pattern.fullmatch(line, timeout=MATCH_WITHIN_S)
            except TimeoutError:
                raise ValueError(
                    f"a pattern that tries for longer than {MATCH_WITHIN_S * 1000:.0f} ms over {line[:8]}…"
                ) from None

    def match(self, line: str) -> dict[str, str] | None:
        """The texts of the groups that took part, where the whole line matches; None where it does not."""
        with suppress(TimeoutError):
            found = self._pattern.fullmatch(line, timeout=MATCH_WITHIN_S)
            if found is not None:
                return {name: text for name, text in found.groupdict().items() if text is not None}
        return None
