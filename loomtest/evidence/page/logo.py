"""A shop's logo, taken apart before it is shown: an SVG keeps its shapes alone, a PNG is checked whole.

The page shows it as a picture from a `data:` address, where no browser runs a script or fetches anything.
That nothing of the kind is in it, is the second lock.
"""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from loomtest.errors import InputError, Problem
from loomtest.harness.outward import visible

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

LARGEST_BYTES = 300_000
MOST_PIXELS = 4_000  # a side of a PNG
MOST_ELEMENTS = 5_000
MOST_USES = 20  # a shape used by a shape that is used grows with every step
_SVG = "{http://www.w3.org/2000/svg}"
_HREFS = ("href", "{http://www.w3.org/1999/xlink}href")
# SVG 1.1, 1.5 and appendix M: what draws, and nothing that runs, animates, links, embeds or filters.
_DRAWS = frozenset(
    [
        "svg", "g", "defs", "symbol", "title", "desc", "path", "rect", "circle", "ellipse", "line",
        "polyline", "polygon", "text", "tspan", "use", "style", "linearGradient", "radialGradient", "stop",
        "clipPath", "mask",
    ]
)  # fmt: skip
_WORDS = "an SVG or PNG picture"


@dataclass(frozen=True, slots=True)
class Logo:
    """A checked picture. `taken_out`: what an SVG held that no picture needs, in words."""

    kind: Literal["svg", "png"]
    data: bytes
    taken_out: tuple[str, ...] = ()

    @property
    def address(self) -> str:
        """The picture as an address that stands in the page itself."""
        media = "image/svg+xml" if self.kind == "svg" else "image/png"
        return f"data:{media};base64,{base64.b64encode(self.data).decode()}"


def load_logo(path: Path) -> Logo:
    """The logo in a file. Raises InputError for what is no picture, too large or broken."""
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= LARGEST_BYTES else b""
    except OSError as error:
        raise _refused(path, (error.strerror or str(error)).lower()) from error
    if size > LARGEST_BYTES:
        raise _refused(path, f"{size:,} bytes", f"a picture of at most {LARGEST_BYTES:,} bytes")
    return _png(path, data) if data.startswith(b"\x89PNG") else _svg(path, data)


def _refused(path: Path, found: str, expected: str = _WORDS) -> InputError:
    return InputError([Problem(str(path), None, "logo", visible(found), expected)])


def _png(path: Path, data: bytes) -> Logo:
    import io

    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=("PNG",)) as picture:
            size = picture.size
            if max(size) <= MOST_PIXELS:
                picture.verify()  # every chunk against its checksum
    except Exception as error:  # of a broken file the library raises half a dozen kinds
        raise _refused(path, f"a PNG that cannot be read ({error})") from error
    if max(size) > MOST_PIXELS:
        raise _refused(path, f"{size[0]} by {size[1]} pixels", f"at most {MOST_PIXELS} a side")
    return Logo("png", data)


def _svg(path: Path, data: bytes) -> Logo:
    from xml.etree import ElementTree

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(data)
    except DefusedXmlException as error:
        raise _refused(path, "an SVG with entities of its own", "an SVG without them") from error
    except (ElementTree.ParseError, ValueError, LookupError, RecursionError) as error:
        raise _refused(path, f"a file that is neither ({error})") from error
    if root.tag != f"{_SVG}svg":
        raise _refused(path, f"XML whose first element is {root.tag}")
    if sum(1 for _ in root.iter()) > MOST_ELEMENTS:
        raise _refused(path, "too many shapes", f"at most {MOST_ELEMENTS:,}")
    if not root.get("viewBox"):
        width, height = root.get("width", ""), root.get("height", "")
        if not (re.match(r"[\d.]+(px)?$", width) and re.match(r"[\d.]+(px)?$", height)):
            raise _refused(path, "an SVG without a size", "one with a viewBox, or a width and height")
        root.set("viewBox", f"0 0 {width.removesuffix('px')} {height.removesuffix('px')}")
    gone: dict[str, None] = {}
    _clean(root, gone)
    uses = [(parent, child) for parent in root.iter() for child in parent if child.tag == f"{_SVG}use"]
    for parent, child in uses[MOST_USES:]:
        parent.remove(child)
        gone["shapes used more than twenty times"] = None
    ElementTree.register_namespace("", _SVG[1:-1])
    return Logo("svg", ElementTree.tostring(root, encoding="utf-8"), tuple(gone))


def _clean(element: Element, gone: dict[str, None]) -> None:
    """Take out of the element, and of all below it, whatever does not draw."""
    for name, value in list(element.attrib.items()):
        if name in _HREFS:
            keep = value.startswith("#") and element.tag in (
                f"{_SVG}use", f"{_SVG}linearGradient", f"{_SVG}radialGradient"
            )  # fmt: skip
            what = "a link"
        else:
            keep = not name.startswith(("on", "{")) and _harmless(value)
            what = "a script" if name.startswith("on") else "what leads out of the picture"
        if not keep:
            del element.attrib[name]
            if not name.startswith("{") or name in _HREFS:
                gone[what] = None
    for child in list(element):
        local = str(child.tag).removeprefix(_SVG)
        style = local == "style" and not _harmless(child.text or "")
        if local in _DRAWS and str(child.tag).startswith(_SVG) and not style:
            _clean(child, gone)
            continue
        element.remove(child)
        if str(child.tag).startswith(_SVG) and local != "metadata":  # an editor's own notes are no loss
            gone["a style that leads out of the picture" if style else f"<{visible(local)}>"] = None


def _harmless(text: str) -> bool:
    """Whether a value or a style sheet names nothing outside the picture; escapes could hide a name."""
    plain = text.lower()
    inside = re.sub(r"url\(\s*['\"]?#[\w.-]+['\"]?\s*\)", "", plain)
    return not re.search(r"url\s*\(|@import|@font-face|\\|javascript:|expression\s*\(|data:", inside)
