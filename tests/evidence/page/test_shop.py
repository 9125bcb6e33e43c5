"""The shop's heading: found beside the loom, and every mistake in it told with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.evidence.page.shop import NO_SHOP, find_shop, load_shop


def test_it_is_found_beside_the_loom_and_above_it(tmp_path: Path) -> None:
    loom = tmp_path / "loom"
    loom.mkdir()
    assert find_shop(loom) is NO_SHOP
    (tmp_path / "shop.toml").write_text('name = "Slipway"\nlines = ["Harbour road 3"]\n')
    assert find_shop(loom).lines == ("Harbour road 3",)
    (loom / "shop.toml").write_text('name = "Orchard"\n')
    assert find_shop(loom).name == "Orchard"
    (loom / "wires.csv").write_text("from,to\n")
    assert find_shop(loom / "wires.csv").name == "Orchard"


def test_every_mistake_is_told_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text('nam = "x"\nlines = "one"\nlogo = "../../etc/passwd"\n')
    with pytest.raises(InputError) as told:
        load_shop(file)
    said = [(p.line, p.column) for p in told.value.problems]
    assert said == [(1, "nam"), (2, "lines"), (3, "logo")]
    assert "name (the nearest known key)" in str(told.value)


def test_a_logo_that_is_not_there_is_told(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text('logo = "logo.svg"\n')
    with pytest.raises(InputError, match="no such file"):
        load_shop(tmp_path / "shop.toml")


def test_what_was_taken_out_of_the_logo_is_a_warning(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text('logo = "logo.svg"\n')
    (tmp_path / "logo.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="4" height="2"><script/></svg>'
    )
    shop = load_shop(tmp_path / "shop.toml")
    assert shop.logo is not None and 'viewBox="0 0 4 2"' in shop.logo.data.decode()
    assert "<script>" in str(shop.warnings()[0])
