"""The rehearsal runs by itself: a fault found, mended and gone, marked everywhere as a rehearsal."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path

from playwright.sync_api import Browser, expect

from loomtest.bench.rehearsal.faults import read_faults
from loomtest.harness.load import load_harness
from loomtest.web.keys import Keyring
from loomtest.web.place import Place
from loomtest.web.rehearsed import WITH_FAULT, play, rehearsed_folder
from loomtest.web.served import Served
from tests.web.serving import served


def test_a_fault_is_found_mended_and_gone_by_itself(tmp_path: Path) -> None:
    folder = tmp_path / "two wires"  # the tractor's loom takes longer, and is no other to the program
    folder.mkdir()
    (folder / "wires.csv").write_text("from,to,colour\nX1:1,X2:1,red\nX1:2,X2:2,blue\n")
    (folder / "faults.csv").write_text(WITH_FAULT.replace("W17", "W2"))
    place = Place(folder)
    page = Served(place, Keyring(None, time.monotonic), ("http://127.0.0.1:1",), "c", tmp_path, demo=True)
    told: list[dict[str, object]] = []

    async def watched() -> None:
        playing = asyncio.create_task(play(page, look_s=0.1))
        await asyncio.sleep(0)
        assert place.single is not None
        room = page.hub.room(place.single)
        screen = await room.enter()
        while not told or told[-1]["kind"] != "go":
            told.append(json.loads(await screen.get()))
        await playing
        room.close()

    asyncio.run(asyncio.wait_for(watched(), 60))
    assert told[-1]["way"] == "/compare?before=run-1&after=run-2"
    assert place.single is not None
    first, second = (place.single.judged(run).verdict for run in ("run-1", "run-2"))
    assert [finding.suspects[0].wire for finding in first.findings] == ["W2"]
    assert second.findings == ()
    assert first.rehearsal and second.rehearsal


def test_the_tractor_s_loom_has_the_fault_that_is_told(tmp_path: Path) -> None:
    folder = rehearsed_folder()
    (fault,) = read_faults(folder, load_harness(folder))
    assert (fault.fault, fault.wire) == ("open", "W17")


def test_it_says_that_it_is_a_rehearsal(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, tmp_path, "--demo") as serving:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(serving.key_address)
        expect(page.get_by_text("Rehearsal: the meter and the loom are simulated")).to_be_visible()
        rows = page.get_by_role("list", name="Readings so far").get_by_role("listitem")
        expect(rows).to_have_count(2, timeout=15_000)  # without touching anything
        context.close()
