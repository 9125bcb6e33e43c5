"""The rehearsal runs by itself: a fault found, mended and gone, marked everywhere as a rehearsal."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path

from playwright.sync_api import Browser, expect

from loomtest.web.keys import Keyring
from loomtest.web.place import Place
from loomtest.web.rehearsed import play, rehearsed_folder
from loomtest.web.served import Served
from tests.web.serving import served


def test_the_demonstration_finds_a_fault_and_mends_it_by_itself(tmp_path: Path) -> None:
    place = Place(rehearsed_folder())
    assert place.single is not None
    page = Served(place, Keyring(None, time.monotonic), ("http://127.0.0.1:1",), "c", tmp_path, demo=True)
    told: list[dict[str, object]] = []

    async def watched() -> None:
        playing = asyncio.create_task(play(page, pace=60.0, look_s=0.1))
        await asyncio.sleep(0)
        room = page.hub.room(place.single)  # type: ignore[arg-type]  # asserted above
        screen = await room.enter()
        while not told or told[-1]["kind"] != "go":
            told.append(json.loads(await asyncio.wait_for(screen.get(), 60)))
        await playing
        room.close()

    asyncio.run(watched())
    assert told[-1]["way"] == "/compare?before=run-1&after=run-2"
    first, second = (place.single.judged(run).verdict for run in ("run-1", "run-2"))
    assert [finding.suspects[0].wire for finding in first.findings] == ["W17"]
    assert second.findings == ()
    assert first.rehearsal and second.rehearsal


def test_it_says_that_it_is_a_rehearsal(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, tmp_path, "--demo") as serving:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(serving.key_address)
        expect(page.get_by_text("Rehearsal: the meter and the loom are simulated")).to_be_visible()
        rows = page.get_by_role("list", name="Readings so far").get_by_role("listitem")
        expect(rows).to_have_count(2, timeout=15_000)  # without touching anything
        context.close()
