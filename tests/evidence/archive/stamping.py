"""A time-stamp server of this machine's own, for as long as a test runs: openssl ts behind loopback HTTP."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

from tests.tools import need

_CONFIG = """
[req]
distinguished_name = dn
prompt = no
[dn]
CN = Invented time-stamp authority
[ca_ext]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign
subjectKeyIdentifier = hash
[tsa_ext]
basicConstraints = critical,CA:false
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
[tsa]
default_tsa = own
[own]
serial = serial
crypto_device = builtin
signer_cert = tsa.pem
signer_key = tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
other_policies = 1.2.3.4.2
digests = sha256
accuracy = secs:1
ordering = no
tsa_name = no
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


def authority(folder: Path) -> Path:
    """A new authority's keys in the folder; the certificate to check its stamps with."""
    openssl = need("openssl", "openssl")
    folder.mkdir()
    (folder / "tsa.cnf").write_text(_CONFIG)
    (folder / "serial").write_text("01\n")
    commands = (
        "req -x509 -newkey rsa:2048 -nodes -keyout ca.key -out ca.pem -subj /CN=Invented -days 30"
        " -config tsa.cnf -extensions ca_ext",
        "req -new -newkey rsa:2048 -nodes -keyout tsa.key -out tsa.csr -config tsa.cnf",
        "x509 -req -in tsa.csr -CA ca.pem -CAkey ca.key -CAcreateserial -extfile tsa.cnf"
        " -extensions tsa_ext -out tsa.pem -days 30",
    )
    for words in commands:
        subprocess.run([openssl, *words.split()], cwd=folder, check=True, capture_output=True)
    return folder / "ca.pem"


def openssl_answer(folder: Path, query: bytes) -> bytes:
    """What the authority answers to a query (RFC 3161, 2.4)."""
    (folder / "query.tsq").write_bytes(query)
    words = "ts -reply -config tsa.cnf -queryfile query.tsq -out answer.tsr"
    subprocess.run([need("openssl", "openssl"), *words.split()], cwd=folder, check=True, capture_output=True)
    return (folder / "answer.tsr").read_bytes()


@contextmanager
def serving(folder: Path, spoil: Callable[[bytes], bytes] | None = None) -> Iterator[str]:
    """The address of the authority's server; `spoil` makes another answer of a query."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked.append(self.headers["Content-Type"])
            query = self.rfile.read(int(self.headers["Content-Length"]))
            answer = openssl_answer(folder, query) if spoil is None else spoil(query)
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/"
        finally:
            server.shutdown()
            thread.join()
    assert set(asked) <= {"application/timestamp-query"}
