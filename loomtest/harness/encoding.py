"""Text in any encoding that editors and spreadsheets save: UTF-8, UTF-16, Windows-1252."""

from __future__ import annotations

import codecs

_CONTROL = bytes(set(range(32)) - {9, 10, 11, 12, 13, 27})
_MARKS = ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


def decode(data: bytes) -> tuple[str, str]:
    """The text without its byte-order mark, and the encoding that was assumed ("" for UTF-8).

    UTF-16 is told by its mark, or by a zero in every other byte of what would be plain letters. What is no
    UTF-8 is taken for Windows-1252, which every Western editor that is not UTF-8 writes. Raises ValueError
    with what was found where the bytes are no text.
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            return _utf_16(data[len(mark) :], name)
    head = data[:2000]
    if b"\x00" in head:
        odd, even = head[1::2].count(0), head[0::2].count(0)
        if len(data) % 2 == 0 and max(odd, even) > 0.8 * (len(head) // 2) and min(odd, even) == 0:
            return _utf_16(data, "utf-16-le" if odd > even else "utf-16-be")
        raise ValueError("a file that is no text")
    try:
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        pass
    control = sum(head.count(byte) for byte in _CONTROL)
    try:
        if control:
            raise ValueError
        return data.decode("cp1252"), "Windows-1252"
    except ValueError:
        raise ValueError("a file that is no text") from None


def _utf_16(data: bytes, name: str) -> tuple[str, str]:
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        raise ValueError("a file that is no text") from None
    if "\x00" in text:
        raise ValueError("a file that is no text")
    return text.removeprefix("\ufeff"), "UTF-16"
