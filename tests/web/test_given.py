"""What a screen may send: a JSON object of real letters, and nothing that upsets what reads it."""

from __future__ import annotations

import pytest

from loomtest.web.given import json_object


def test_an_object_is_taken_whole() -> None:
    assert json_object('{"notes": "X1 1 r\\u00f6d to \\ud83d\\ude9c", "rows": [["a"]]}') == {
        "notes": "X1 1 röd to 🚜",
        "rows": [["a"]],
    }


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"[]",
        b'"a"',
        b"{",
        b"\xff\xfe",
        '{"name": "\\ud800"}',
        '{"\\udfff": 1}',
        "[" * 4000,
        '{"a":' * 3000,
    ],
)
def test_anything_else_is_nothing(sent: str | bytes) -> None:
    assert json_object(sent) is None
