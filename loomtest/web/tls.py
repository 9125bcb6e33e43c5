"""A certificate of this computer's own, for `--tls`."""

from __future__ import annotations

import ipaddress
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

LASTS_DAYS = 90


def certificate(folder: Path, hosts: list[str]) -> tuple[tuple[str, str], str]:
    """((certificate file, key file), SHA-256 fingerprint), made anew and readable by the owner alone."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "loomtest bench")])
    now = datetime.now(UTC)
    names: list[x509.GeneralName] = [x509.IPAddress(ipaddress.ip_address(host)) for host in hosts if host]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=LASTS_DAYS))
        .add_extension(x509.SubjectAlternativeName([*names, x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    pem = serialization.Encoding.PEM
    secret = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    paths = folder / "bench-certificate.pem", folder / "bench-key.pem"
    for path, content in zip(paths, (made.public_bytes(pem), secret), strict=True):
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(content)
    digest = made.fingerprint(hashes.SHA256()).hex(":").upper()
    return (str(paths[0]), str(paths[1])), digest
