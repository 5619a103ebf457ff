"""How the coil fares when a unit's process ends or stands: hardware/coil-fate.md."""

from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from coil_fate_page import table

LEAST_ROWS = 8
pytestmark = pytest.mark.long
Facts = dict[tuple[str, ...], dict[str, Any]]
THEN = {
    "up again, locked out": (True, "locked out"),
    "up again, open": (False, "open"),
    "stays ended": (False, None),
}


class Row(NamedTuple):
    cause: str
    result: str
    latch: str
    opens_within: str
    then: str

    @property
    def within_s(self) -> float:
        return float(self.opens_within.removesuffix(" s"))


def rows() -> list[Row]:
    return [Row(*cells) for cells in table("Under systemd")]


def test_the_page_has_its_table() -> None:
    assert len(rows()) >= LEAST_ROWS


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.cause)
def test_the_coil_fares_as_the_page_says(find: Callable[..., Facts], row: Row) -> None:
    fate = find("systemd_coil", "cause", systemd=True)[row.cause,]
    assert "error" not in fate, fate
    assert fate["opened_in_s"] is not None, fate["said"]
    assert fate["opened_in_s"] <= row.within_s
    assert fate["result"] == row.result
    assert fate["latch"] == row.latch
    assert (fate["by_itself"], fate["circuit"]) == THEN[row.then]
    assert not fate["pin_high"]
    assert not fate["closed_again"]
