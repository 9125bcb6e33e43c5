"""Readings packed with xz, as a kept run may hold them: `readings.csv.xz` instead of `readings.csv`.

A scan of 128 points has 1.2 MB of rows that differ little; packed they have some 20 kB. `xz -d` on Linux and
macOS and common archivers on Windows unpack it.
"""

from __future__ import annotations

import hashlib
import lzma
from pathlib import Path

PACKED_ENDING = ".xz"
_PRESET = 1  # of such rows a tenth of the time of 6, and 18 kB instead of 13
_MOST_MEMORY_BYTES = 128_000_000  # presets up to 9 need 65 MB; a file from anybody may ask for gigabytes


def pack(file: Path) -> str:
    """Put a packed file in the place of a file; the SHA-256 of what was packed. Raises OSError."""
    data = file.read_bytes()
    file.with_name(file.name + PACKED_ENDING).write_bytes(lzma.compress(data, preset=_PRESET))
    file.unlink()
    return hashlib.sha256(data).hexdigest()


def unpacked(data: bytes, most_bytes: int) -> bytes:
    """What was packed; one byte more than `most_bytes` where it is longer. Raises OSError for other data."""
    unpacker = lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=_MOST_MEMORY_BYTES)
    try:
        out = unpacker.decompress(data, most_bytes + 1)
    except (lzma.LZMAError, MemoryError) as error:
        raise OSError(str(error) or "it asks for too much memory") from error
    if len(out) <= most_bytes and (not unpacker.eof or unpacker.unused_data):
        raise OSError("it ends too early, or something follows it")
    return out
