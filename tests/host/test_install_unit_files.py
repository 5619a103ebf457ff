"""The unit files as they are put in place, and the one that is in force."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from install_trees import edited, in_place, machine, mask, masked_above, not_ours

from supervisor.host.own_mark import marked, read_mark, without_mark
from supervisor.host.unit_files import (
    KINDS,
    WRITTEN_FOR,
    State,
    executable_in,
    in_force,
    masks,
    unit_files,
)

SOURCES = Path(__file__).parents[2] / "systemd"
ELSEWHERE = "/opt/night-shift/bin/holdwatch"


def test_every_file_in_the_sources_has_its_place() -> None:
    sources = [path for path in SOURCES.iterdir() if path.is_file() and path.suffix != ".md"]
    assert {path.suffix for path in sources} <= KINDS.keys()
    assert len(unit_files()) == len(sources)


def test_local_files_lie_where_an_administrators_own_stand_above_them() -> None:
    """systemd.unit(5), sysusers.d(5), udev(7): /etc, then /run, /usr/local/lib, /usr/lib."""
    for one in unit_files():
        assert one.path.is_relative_to("usr/local/lib")
        assert [str(path).split(one.path.name)[0].split("/")[0] for path in one.elsewhere] == [
            "etc", "run", "usr",
        ]  # fmt: skip
    for one in unit_files(vendor=True):
        assert one.path.is_relative_to("usr/lib")


def test_nothing_starts_the_program_of_another_place() -> None:
    for one in unit_files(ELSEWHERE):
        assert WRITTEN_FOR.encode() not in one.content
        starts = re.findall(rb"^Exec\w+=[-@:+!|]*(\S*holdwatch) ", one.content, re.MULTILINE)
        assert set(starts) <= {ELSEWHERE.encode()}
        if one.path.suffix == ".service":
            assert starts
            assert executable_in(one.content) == ELSEWHERE


def test_but_for_the_mark_they_are_the_sources() -> None:
    written = {without_mark(one.content) for one in unit_files()}
    assert written == {path.read_bytes() for path in SOURCES.iterdir() if path.suffix in KINDS}


@given(st.text(st.characters(exclude_characters="\r", exclude_categories=["Cs"])))
def test_a_mark_fits_what_was_written_and_nothing_else(text: str) -> None:
    content = marked(text, "#").encode()
    mark = read_mark(content)
    assert mark is not None
    assert mark.fits
    assert without_mark(content) == text.encode()
    changed = read_mark(content + b"x")
    assert changed is not None
    assert not changed.fits


@pytest.mark.parametrize("content", [b"", b"\n", b"# holdwatch\n", b"\xff" * 200])
def test_a_file_without_a_mark_is_nobody_elses_business(content: bytes) -> None:
    assert read_mark(content) is None
    assert without_mark(content) == content


def test_a_mark_deep_in_a_file_is_none() -> None:
    assert read_mark(b"a\nb\n" + marked("text\n", "#").encode()) is None


# --- what the system reads


def states(root: Path) -> set[State]:
    return {found.state for found in in_force(root)}


def test_nothing_is_there(tmp_path: Path) -> None:
    assert states(machine(tmp_path)) == {State.MISSING}


@pytest.mark.parametrize("vendor", [False, True])
@pytest.mark.parametrize("executable", [WRITTEN_FOR, ELSEWHERE])
def test_ours_are_in_place_for_whatever_executable_and_place(
    tmp_path: Path, vendor: bool, executable: str
) -> None:
    root = machine(tmp_path)
    for one in unit_files(executable, vendor=vendor):
        in_place(root, one)
    assert states(root) == {State.IN_PLACE}


def test_the_strongest_is_in_force(tmp_path: Path) -> None:
    root = machine(tmp_path)
    local, vendor = unit_files()[-1], unit_files(vendor=True)[-1]
    in_place(root, vendor)
    edited(root, local)
    found = in_force(root)[-1]
    assert (found.state, found.path) == (State.EDITED, root / local.path)
    by_hand = root / local.elsewhere[0]
    by_hand.parent.mkdir(parents=True, exist_ok=True)
    by_hand.write_text("[Service]\n")
    found = in_force(root)[-1]
    assert (found.state, found.path) == (State.NOT_OURS, by_hand)


def test_a_mask_above_is_in_force_and_is_named(tmp_path: Path) -> None:
    root = machine(tmp_path)
    one = unit_files()[-1]
    in_place(root, one)
    assert masks(root, unit_files()) == []
    masked_above(root, one)
    assert in_force(root)[-1].state is State.MASKED
    assert masks(root, unit_files()) == [root / one.elsewhere[0]]


def test_a_mask_or_a_stranger_in_our_place_is_no_mask_above(tmp_path: Path) -> None:
    root = machine(tmp_path)
    mask(root, unit_files()[0])
    not_ours(root, unit_files()[-1])
    assert masks(root, unit_files()) == []
