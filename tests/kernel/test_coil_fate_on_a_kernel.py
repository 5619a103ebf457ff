"""How the coil fares on a real kernel when the process ends or stands: hardware/coil-fate.md."""

from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from coil_fate_page import table

DROPOUT_S, RELEASE_S = 0.25, 0.03
MARGIN_S = 0.1  # a cycle, and the bench's own look
LATEST_S = {"pulse": DROPOUT_S + RELEASE_S + MARGIN_S, "level": RELEASE_S + MARGIN_S}
LEAST_ROWS = 9
Facts = dict[tuple[str, ...], dict[str, Any]]


class Row(NamedTuple):
    cause: str
    exit: str
    latch: str
    pulse: str
    level_let_go: str
    level_kept: str

    def opens(self, drive: str, kept: bool) -> bool:
        told = self.pulse if drive == "pulse" else self.level_kept if kept else self.level_let_go
        return {"opens": True, "STAYS CLOSED": False}[told]


def rows() -> list[Row]:
    return [Row(*cells) for cells in table("The process alone")]


def test_the_page_has_its_table() -> None:
    assert len(rows()) >= LEAST_ROWS


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.cause)
@pytest.mark.parametrize(
    ("drive", "kept"),
    [("level", False), ("level", True), ("pulse", True)],
    ids=["level, let go", "level, kept", "pulse"],
)
def test_the_coil_fares_as_the_page_says(
    find: Callable[..., Facts], row: Row, drive: str, kept: bool
) -> None:
    fate = find("coil_fate", "drive", "cause", keeps_levels=kept)[drive, row.cause]
    assert "error" not in fate, fate
    assert (fate["opened_in_s"] is not None) is row.opens(drive, kept)
    if row.opens(drive, kept):
        assert fate["opened_in_s"] <= LATEST_S[drive]
    assert str(fate["exit"]).lower() == row.exit
    assert fate["latch"] == row.latch
