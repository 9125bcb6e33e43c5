"""What a kept run holds for the customer: the run before the work, the shop's heading, and the page of both.

data/before/   the run folder before the work, as recorded
data/shop/     shop.toml and the logo it names
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from loomtest.diagnosis.change.change import Side
from loomtest.diagnosis.change.follow import follow_readings, follow_verdict
from loomtest.diagnosis.verdict import Verdict
from loomtest.evidence.page.customer import Delivered, Seal
from loomtest.evidence.page.shop import NO_SHOP, SHOP_FILE, Shop, load_shop
from loomtest.harness.model import Harness
from loomtest.readings.earlier import load_earlier
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings
from loomtest.readings.together import going_on

RUN_PLACE, BEFORE_PLACE, SHOP_PLACE = "run", "before", "shop"


def keep_heading(shop: Shop, payload: Path) -> None:
    """Copy the shop's heading, where there is one, into a payload. Raises OSError."""
    for file in shop.files:
        (payload / SHOP_PLACE).mkdir(exist_ok=True)
        name = SHOP_FILE if file == shop.files[0] else file.name
        shutil.copyfile(file, payload / SHOP_PLACE / name)


def readings_in(payload: Path, harness: Harness) -> Readings:
    """The readings of a payload as they count: a run of mended places with what still stands of the run
    before. Raises InputError."""
    after = replace(load_readings(payload / RUN_PLACE, harness), source=f"data/{RUN_PLACE}")
    if not (payload / BEFORE_PLACE).is_dir():
        return after
    taken_on, before = load_earlier(payload / BEFORE_PLACE, harness)
    return going_on(before, after, harness) if taken_on is harness else after


def delivered_by(
    payload: Path,
    harness: Harness,
    judge: Callable[[Harness, Readings], Verdict],
    seal: Seal | None,
    shop: Shop | None = None,
) -> Delivered | None:
    """What the customer gets, from a payload; None where it has no run before the work. `shop`: another
    heading than the one that was kept. Raises InputError."""
    place = payload / BEFORE_PLACE
    if not place.is_dir():
        return None
    taken_on, before = load_earlier(place, harness)
    verdict = judge(taken_on, before)
    if taken_on is not harness:  # taken before a connector change: told in the points of today
        before, verdict = follow_readings(before, harness), follow_verdict(verdict, harness)
    after = readings_in(payload, harness)
    if shop is None:
        kept = payload / SHOP_PLACE / SHOP_FILE
        shop = load_shop(kept) if kept.is_file() else NO_SHOP
    sides = Side(before, verdict), Side(after, judge(harness, after))
    return Delivered(harness=harness, before=sides[0], after=sides[1], shop=shop, seal=seal)
