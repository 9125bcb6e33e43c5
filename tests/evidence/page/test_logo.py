"""A logo that anybody may have made: its shapes stay, whatever runs or leads out of it does not."""

from __future__ import annotations

import base64
import struct
import zlib
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.evidence.page.logo import load_logo

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">'
RECT = '<rect width="9" height="9" fill="#123"/>'


def png(width: int = 2, height: int = 2) -> bytes:
    """A grey PNG, made by the standard's own rules (ISO/IEC 15948)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress((b"\0" + b"\x80" * width) * height)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def cleaned(folder: Path, inside: str, head: str = HEAD) -> str:
    file = folder / "logo.svg"
    file.write_text(head + inside + "</svg>", "utf-8")
    logo = load_logo(file)
    assert logo.kind == "svg" and logo.address.startswith("data:image/svg+xml;base64,")
    assert base64.b64decode(logo.address.partition(",")[2]) == logo.data
    return logo.data.decode()


@pytest.mark.parametrize(
    "nasty",
    [
        "<script>alert(1)</script>",
        '<rect width="1" height="1" onload="alert(1)"/>',
        '<image href="http://example.invalid/x.png"/>',
        '<use xlink:href="http://example.invalid/x.svg#a"/>',
        "<style>@import 'http://example.invalid/x.css';</style>",
        '<rect style="fill:url(http://example.invalid/x)" width="1" height="1"/>',
        '<rect fill="u\\72l(//example.invalid)" width="1" height="1"/>',
        "<foreignObject><body xmlns='http://www.w3.org/1999/xhtml'>example.invalid</body></foreignObject>",
        '<a href="javascript:alert(1)"><rect width="1" height="1"/></a>',
        '<animate attributeName="href" to="javascript:alert(1)"/>',
        '<rect width="1" height="1"><set attributeName="onclick" to="alert(1)"/></rect>',
    ],
)
def test_whatever_runs_or_leads_out_is_taken_out_and_told(tmp_path: Path, nasty: str) -> None:
    left = cleaned(tmp_path, RECT + nasty)
    assert '<rect width="9" height="9" fill="#123"' in left
    for word in ("alert", "example.invalid", "script", "import", "onload", "animate", "foreign", "\\72"):
        assert word not in left
    assert load_logo(tmp_path / "logo.svg").taken_out


def test_shapes_gradients_and_styles_of_its_own_stay(tmp_path: Path) -> None:
    inside = (
        '<style>.a{fill:url(#g)}</style><defs><linearGradient id="g"><stop offset="0" stop-color="red"/>'
        '</linearGradient><path id="p" d="M0 0h9"/></defs><use xlink:href="#p" class="a"/><text>DOCK</text>'
    )
    left = cleaned(tmp_path, inside)
    assert "url(#g)" in left and "#p" in left and "DOCK" in left and "stop-color" in left
    assert load_logo(tmp_path / "logo.svg").taken_out == ()


def test_shapes_that_use_shapes_do_not_grow_without_end(tmp_path: Path) -> None:
    steps = "".join(f'<g id="g{n}">' + f'<use href="#g{n - 1}"/>' * 10 + "</g>" for n in range(1, 12))
    assert cleaned(tmp_path, f'<g id="g0">{RECT}</g>{steps}').count("<use") <= 20


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"GIF89a", "neither"),
        (b"<svg></svg>", "first element"),
        (b"<!DOCTYPE svg [<!ENTITY a 'aa'>]>" + HEAD.encode() + b"&a;</svg>", "entities"),
        (HEAD.replace('viewBox="0 0 9 9"', "").encode() + b"</svg>", "without a size"),
        (b"<" * 400_000, "400,000 bytes"),
        (png()[:-20], "cannot be read"),
        (png().replace(b"\x08\x00", b"\x09\x00", 1), "cannot be read"),
        (png(5000, 1), "5000 by 1 pixels"),
    ],
)
def test_what_is_no_picture_is_refused_in_one_sentence(tmp_path: Path, data: bytes, said: str) -> None:
    file = tmp_path / "logo"
    file.write_bytes(data)
    with pytest.raises(InputError, match=said):
        load_logo(file)


def test_a_png_stays_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "logo.png"
    file.write_bytes(png())
    assert load_logo(file).data == png()
