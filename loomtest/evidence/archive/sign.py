"""Signatures of kept runs: Ed25519 (RFC 8032) over the bytes of a bag's tag manifest.

A signature proves that whoever held the private key closed this very bag: the tag manifest names the
digest of every other file. It proves neither when that was, nor that the readings were taken honestly.
"""

from __future__ import annotations

import hashlib
import os
import re
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.errors import ArchiveError, InputError, Problem

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

SIGNATURE_FILE = "signature-ed25519.txt"
_SIGNED = "tagmanifest-sha256.txt"
_FORM = re.compile(
    rf"signed: {re.escape(_SIGNED)}\npublic-key: ([0-9a-f]{{64}})\nsignature: ([0-9a-f]{{128}})\n"
)


def new_key(path: Path) -> str:
    """Write a new private key to `path` and its public half to `path` + `.pub`; the key's name.

    The private key is readable by its owner only, and not encrypted. Nothing is ever overwritten. Raises
    InputError.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    public_path = path.with_name(path.name + ".pub")
    for file in (path, public_path):
        if file.exists():
            raise InputError([Problem(str(file), None, "", "a file of that name", "a name that is free")])
    key = Ed25519PrivateKey.generate()
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    public = key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(private)
        public_path.write_bytes(public)
    except OSError as error:
        found = f"a place that cannot be written ({error.strerror})"
        raise InputError([Problem(str(path), None, "", found, "a file for the key")]) from None
    return key_name(key.public_key().public_bytes_raw())


def load_key(path: Path) -> Ed25519PrivateKey:
    """The private key in a PEM file. Raises InputError."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    expected = "a private Ed25519 key, as made by loomtest keep --new-key"
    try:
        key = load_pem_private_key(path.read_bytes(), None)
    except (OSError, ValueError, TypeError) as error:
        raise InputError([Problem(str(path), None, "", f"no usable key ({error})", expected)]) from None
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError([Problem(str(path), None, "", "a key of another kind", expected)])
    if os.name == "posix" and path.is_file() and path.stat().st_mode & 0o077:
        found = "a private key that others on this machine may read"
        mend = f"a key for its owner alone: chmod 600 {shlex.quote(str(path))}"
        raise InputError([Problem(str(path), None, "", found, mend)])
    return key


def load_public_key(path: Path) -> bytes:
    """The 32 bytes of a public key from its PEM file. Raises InputError."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    expected = "a public Ed25519 key, the .pub file of loomtest keep --new-key"
    try:
        key = load_pem_public_key(path.read_bytes())
    except (OSError, ValueError) as error:
        raise InputError([Problem(str(path), None, "", f"no usable key ({error})", expected)]) from None
    if not isinstance(key, Ed25519PublicKey):
        raise InputError([Problem(str(path), None, "", "a key of another kind", expected)])
    return key.public_bytes_raw()


def key_name(public: bytes) -> str:
    """A short name of a public key: the first 16 hexadecimal digits of its SHA-256, in fours."""
    digits = hashlib.sha256(public).hexdigest()[:16]
    return "-".join(digits[i : i + 4] for i in range(0, 16, 4))


def sign_bag(bag: Path, key: Ed25519PrivateKey) -> None:
    """Write the signature file of a closed bag."""
    public = key.public_key().public_bytes_raw()
    signature = key.sign((bag / _SIGNED).read_bytes())
    text = f"signed: {_SIGNED}\npublic-key: {public.hex()}\nsignature: {signature.hex()}\n"
    (bag / SIGNATURE_FILE).write_text(text, "utf-8", newline="\n")


def signed_by(bag: Path) -> bytes | None:
    """The public key whose signature the bag carries, verified; None for an unsigned bag.

    Raises ArchiveError when there is a signature that does not hold.
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    path = bag / SIGNATURE_FILE
    if not path.exists():
        return None
    match = _FORM.fullmatch(path.read_bytes().decode("latin-1"))
    if match is None:
        raise ArchiveError(f"{SIGNATURE_FILE} is not written as a signature is")
    public = bytes.fromhex(match[1])
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(
            bytes.fromhex(match[2]), (bag / _SIGNED).read_bytes()
        )
    except (InvalidSignature, ValueError):
        raise ArchiveError("the signature does not belong to this bag") from None
    return public
