"""The databases that an archive's index may stand in."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.postgres import PASSWORD, Server, running


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A PostgreSQL server for the tests of one process."""
    with running() as server:
        yield server


@pytest.fixture(params=["file", "server"])
def index_at(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str | None:
    """None for an index in the file beside the bags, or the address of a new database."""
    if request.param == "file":
        return None
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    server: Server = request.getfixturevalue("server")
    return server.url()
