"""A large readings file in one vectorised pass: the same table as the careful reader, or none at all.

Whatever is out of the ordinary (a quote, a blank line, a row of another length) is left to the careful
reader in `table`, which reports it with its place. The two agree, and a test holds them together.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from loomtest.errors import InputError
from loomtest.harness.model import FloatArray
from loomtest.readings.narrow import OVER_RANGE, narrow_columns
from loomtest.readings.scale import COMMA, POINT
from loomtest.readings.table import Cells, Header, ReadingsTable, parse_header, read_bytes
from loomtest.readings.values import bare_number

if TYPE_CHECKING:
    import pandas as pd

# Below this many bytes (some 20,000 rows) the careful reader is done before pandas is imported.
WORTH_IT_BYTES = 400_000
# From here on (some two million rows) pandas reads faster by more than its import takes.
_PANDAS_PAYS_BYTES = 1 << 25
_CHUNK_BYTES = 1 << 22
# The parser takes a column of nothing but True and False for ones and zeros.
_TRUTHS = (b"rue", b"RUE", b"alse", b"ALSE")
# Read as NaN by the parser and so told from numbers; any other word sends the column to `_mixed`. (No word
# for infinity among them: the parser would take 1e400 for it.)
_OVER_RANGE = list(OVER_RANGE)


def bulk_table(source: Path | bytes, file: str) -> ReadingsTable | None:
    """The table of a CSV file (`.csv.gz` too) or of its bytes; None where the careful reader must see it.

    Raises InputError for a file that cannot be read or a header that cannot be used.
    """
    if isinstance(source, Path) and source.suffix == ".gz":
        source = read_bytes(source, file)
    try:
        start = source[:_CHUNK_BYTES] if isinstance(source, bytes) else _first_bytes(source)
        head = start.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].decode("utf-8")
        header = parse_header(head.rstrip("\r"), file)
    except (OSError, UnicodeDecodeError, InputError):
        return None
    size = len(source) if isinstance(source, bytes) else source.stat().st_size
    narrow = narrow_columns(_pieces(source), header) if size < _PANDAS_PAYS_BYTES else None
    if narrow is not None:
        return _table(*narrow, header, file)
    rows = _rows_if_regular(source, header)
    if rows is None:
        return None
    frame = _frame(source, header, numeric=_is_numeric(start, header))
    if frame is None:  # also a row of another length, and bytes that are no UTF-8
        return None
    if len(frame) != rows:
        return None
    import pandas as pd

    columns: dict[str, Cells] = {}
    plain: FloatArray | None = None
    for name, index in header.index_of.items():
        series = frame[index]
        if isinstance(series.dtype, pd.CategoricalDtype):
            cells = _cells(series)
            if cells is None:
                return None
            if name == "value":
                if any(map(COMMA.search, cells.texts)) and any(map(POINT.search, cells.texts)):
                    return None  # a mistake, and to be told with its lines
                cells, plain = _mixed(cells)
            columns[name] = cells
        else:
            plain = series.to_numpy(copy=True)
            plain[np.isnan(plain)] = np.inf
            columns[name] = Cells(np.broadcast_to(np.int64(-1), rows), [])
    return _table(columns, plain, header, file)


def _table(
    columns: dict[str, Cells], plain: FloatArray | None, header: Header, file: str
) -> ReadingsTable | None:
    if any("" in columns[name].texts for name in ("from", "to")):
        return None
    return ReadingsTable(
        file=file,
        columns=columns,
        lines=np.arange(2, len(columns["from"].codes) + 2, dtype=np.int64),
        plain=plain,
        comma_is_decimal=header.separator != ",",
        warnings=header.warnings,
    )


def _pieces(source: Path | bytes) -> Iterator[bytes]:
    """Whole lines below the header, some megabytes at a time."""
    rest = b""
    with io.BytesIO(source) if isinstance(source, bytes) else source.open("rb") as stream:
        stream.readline()
        while chunk := stream.read(_CHUNK_BYTES):
            end = chunk.rfind(b"\n") + 1
            if end:
                yield rest + chunk[:end]
                rest = b""
            rest += chunk[end:]
    if rest:
        yield rest + b"\n"


def _first_bytes(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(65536)


def _rows_if_regular(source: Path | bytes, header: Header) -> int | None:
    """Number of rows below the header, if there is no quote and every line has the header's separators."""
    lines, rest = 0, b""
    stream = io.BytesIO(source) if isinstance(source, bytes) else source.open("rb")
    with stream:
        while chunk := stream.read(_CHUNK_BYTES):
            data = rest + chunk
            whole = data[: data.rfind(b"\n") + 1]
            rest = data[len(whole) :]
            if not _is_regular(whole, header):
                return None
            lines += whole.count(b"\n")
    if rest and not _is_regular(rest + b"\n", header):
        return None
    lines += bool(rest)
    return lines - 1 if lines > 1 else None


def _is_regular(data: bytes, header: Header) -> bool:
    """True for whole lines that need nothing but to be split at their separators."""
    if not data:
        return True
    if b'"' in data or b"\0" in data or data.count(b"\r") != data.count(b"\r\n"):
        return False
    if any(word in data for word in _TRUTHS):
        return False
    letters = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(letters == ord("\n"))
    starts = np.concatenate(([0], ends[:-1] + 1))
    separators = np.add.reduceat(letters == ord(header.separator), starts, dtype=np.int64)
    return bool((separators == header.width - 1).all())


def _is_numeric(start: bytes, header: Header) -> bool:
    """Whether the first values are numbers or over-range: a scan of yes and no is not tried as numbers."""
    rows = [line.split(header.separator.encode()) for line in start.split(b"\n", 20)[1:20]]
    index = header.index_of["value"]
    cells = [row[index].strip().decode("utf-8", "replace") for row in rows if len(row) > index]
    return all(cell in _OVER_RANGE or bare_number(cell) is not None for cell in cells)


def _frame(source: Path | bytes, header: Header, *, numeric: bool) -> pd.DataFrame | None:
    """The table with `value` as numbers if they all are, else as texts; None where it is no such table."""
    for as_numbers in (True, False) if numeric else (False,):
        try:
            frame = _read(source, header, numeric=as_numbers)
        except ValueError:
            continue
        if not as_numbers or not np.isinf(frame[header.index_of["value"]]).any():
            return frame  # an infinity is the word, or a number such as 1e400: its spelling tells which
    return None


def _read(source: Path | bytes, header: Header, *, numeric: bool) -> pd.DataFrame:
    import pandas as pd

    value = header.index_of["value"]
    words: Any = {value: _OVER_RANGE} if numeric else None  # the stubs know columns by text only
    dtypes: dict[int, Any] = dict.fromkeys(header.index_of.values(), "category")
    if numeric:
        dtypes[value] = "float64"

    def read(dtype: Any, columns: list[int]) -> pd.DataFrame:
        return pd.read_csv(
            io.BytesIO(source) if isinstance(source, bytes) else source,
            sep=header.separator,
            header=None,
            skiprows=1,
            names=list(range(header.width)),
            usecols=columns,
            index_col=False,
            dtype=dtype,
            na_values=words,
            keep_default_na=False,
            skip_blank_lines=False,
            encoding="utf-8-sig",
        )

    frame = read(dtypes, sorted(header.index_of.values()))
    # The parser makes numbers of categories that all look like some: 1.1 and 1.10 would be one point.
    changed = [index for index in dtypes if _made_numbers(frame[index])]
    if changed:
        texts = read(str, changed)
        for index in changed:
            frame[index] = texts[index].astype("category")
    return frame


def _made_numbers(series: pd.Series[Any]) -> bool:
    import pandas as pd

    return isinstance(series.dtype, pd.CategoricalDtype) and series.cat.categories.dtype.kind in "biuf"


def _cells(series: pd.Series[Any]) -> Cells | None:
    """Codes and stripped texts of a category column; None where a row was too short to have the cell."""
    # Left in as few bytes as they need: what is gathered through them has eight anyway.
    codes: Any = series.cat.codes.to_numpy()
    if (codes < 0).any():
        return None
    raw = [str(text) for text in series.cat.categories]
    code_of: dict[str, int] = {}
    place = np.array([code_of.setdefault(text.strip(), len(code_of)) for text in raw], dtype=np.int64)
    if len(code_of) < len(raw) or place.tolist() != list(range(len(raw))):
        codes = place[codes]
    return Cells(codes, list(code_of))


def _mixed(cells: Cells) -> tuple[Cells, FloatArray]:
    """The bare numbers of a value column as floats; every other text stays one."""
    import pandas as pd

    numbers = pd.to_numeric(pd.Series(list(cells.texts), dtype=object), errors="coerce").to_numpy(np.float64)
    # Only what the careful reader calls a bare number: the parser also takes "inf" and "1e400".
    finite = np.where(np.isfinite(numbers), numbers, np.nan)
    odd = np.flatnonzero(np.isnan(finite))
    code = np.full(len(cells.texts), -1, dtype=np.int64)
    code[odd] = np.arange(len(odd))
    return Cells(code[cells.codes], [cells.texts[index] for index in odd.tolist()]), finite[cells.codes]
