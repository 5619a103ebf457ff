"""The status file in every condition it can be found in."""

import json
import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest
import samples
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance import rest_check
from supervisor.protection.verdict import State
from supervisor.readings import Place
from supervisor.snapshot import FORMAT, Circuit
from supervisor.status import wellformed
from supervisor.status.status_file import FILE_NAME, LARGEST_BYTES, STALE_AFTER_S, current, read


def text_of(**changes: object) -> str:
    return json.dumps(samples.CLOSED.as_dict() | changes)


def fifo(path: Path) -> None:
    os.mkfifo(path)


def link_loop(path: Path) -> None:
    path.symlink_to(path)


def link(path: Path) -> None:
    target = path.with_name("elsewhere")
    target.write_text(text_of())
    path.symlink_to(target)


def socket_file(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as s:
        s.bind(str(path))


def directory(path: Path) -> None:
    path.mkdir()


def absent(_: Path) -> None:
    pass


def content(text: str | bytes) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_bytes(text.encode() if isinstance(text, str) else text)

    return write


PROBE = samples.PROBED.as_dict()["probes"][0]
LOCKOUT = samples.LOCKED_OUT.as_dict()["lockout"]
GUIDANCE = samples.CLOSED.as_dict()["guidance"]
CUE = GUIDANCE["cues"][0] | {"urgency": "never"}
WATCHED = samples.FINISHED.as_dict()["guidance"]["rest"] | {"state": "asleep"}
BROKEN = {
    "absent": (absent, "no status file"),
    "empty": (content(""), "no complete JSON"),
    "half": (content(text_of()[:700]), "no complete JSON"),
    "garbage": (content(os.urandom(500)), "not a usable status file"),
    "not UTF-8": (content(b'{"format": "\xff"}'), "not a usable status file"),
    "a list": (content("[1]"), "no JSON object"),
    "null": (content("null"), "no JSON object"),
    "other format": (content(text_of(format=1)), f"status format 1, expected {FORMAT}"),
    "field missing": (content(json.dumps({"format": FORMAT})), "status incomplete"),
    "text for a number": (content(text_of(published_at_s="now")), "published_at_s is not a finite"),
    "number for text": (content(text_of(bank=7)), "bank is not text"),
    "number for a bool": (content(text_of(simulated=1)), "simulated is not true or false"),
    "bool for a number": (content(text_of(now_s=True)), "now_s is not a finite number"),
    "not a number": (content(text_of(now_s=float("nan"))), "now_s is not a finite number"),
    "infinite": (content(text_of(lease_left_s=float("inf"))), "lease_left_s is not a finite"),
    "overflow": (content(text_of(now_s=10**400)), "now_s is not a finite number"),
    "half a character": (content(text_of(bank="\ud800")), "bank is not text"),
    "unknown circuit": (content(text_of(circuit="ajar")), "'ajar' is unknown"),
    "channels not a list": (content(text_of(channels=3)), "status incomplete"),
    "no list of probes": (content(text_of(probes=None)), "status incomplete"),
    "a probe of another kind": (content(text_of(probes=[{"probe": "a"}])), "status incomplete"),
    "unknown place": (content(text_of(probes=[PROBE | {"place": "moon"}])), "'moon' is unknown"),
    "half a reason": (content(text_of(without=[{"rule": "balance"}])), "status incomplete"),
    "no story": (content(text_of(lockout=LOCKOUT | {"before": None})), "status incomplete"),
    "a story of numbers": (content(text_of(lockout=LOCKOUT | {"before": [1]})), "incomplete"),
    "a lockout that is text": (content(text_of(lockout="yes")), "status incomplete"),
    "guidance that is text": (content(text_of(guidance="yes")), "status incomplete"),
    "half of the guidance": (content(text_of(guidance={"cues": []})), "status incomplete"),
    "unknown stage": (content(text_of(guidance=GUIDANCE | {"stage": "boil"})), "'boil' is unknown"),
    "unknown urgency": (
        content(text_of(guidance=GUIDANCE | {"cues": [CUE]})),
        "'never' is unknown",
    ),
    "unknown rest": (
        content(text_of(guidance=GUIDANCE | {"rest": WATCHED})),
        "'asleep' is unknown",
    ),
    "deep": (content("[" * 100_000), "not a usable status file"),
    "endless number": (content('{"format": ' + "1" * 6000 + "}"), "not a usable status file"),
    "huge": (content(" " * (LARGEST_BYTES + 1)), "larger than 256 KiB"),
    "directory": (directory, "not a regular file"),
    "FIFO": (fifo, "not a regular file"),
    "link": (link, "symbolic link"),
    "link loop": (link_loop, "symbolic link"),
    "socket": (socket_file, "No such device"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_broken_file_is_a_sentence(tmp_path: Path, kind: str) -> None:
    make, expected = BROKEN[kind]
    make(tmp_path / FILE_NAME)
    snapshot, problem = read(tmp_path)
    assert snapshot is None
    assert expected in problem
    assert problem.endswith(".")
    assert len(problem) < 600


def test_file_of_another_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    assert "not readable by this user" in read(tmp_path)[1]


def test_run_dir_absent(tmp_path: Path) -> None:
    assert "no status file" in read(tmp_path / "nowhere")[1]


@pytest.mark.parametrize("sample", samples.ALL.values(), ids=samples.ALL.keys())
def test_good_file_comes_back_whole(tmp_path: Path, sample: samples.Snapshot) -> None:
    written = samples.publish(tmp_path, sample)
    assert read(tmp_path) == (written, "")


def test_unknown_fields_at_the_top_are_for_later_versions(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_text(text_of(later="more"))
    assert read(tmp_path) == (samples.CLOSED, "")


@pytest.mark.parametrize(
    ("age_s", "fresh"),
    [(0.0, True), (2.999, True), (STALE_AFTER_S, True), (3.001, False), (-0.001, False)],
)
def test_fresh_up_to_the_limit(tmp_path: Path, age_s: float, fresh: bool) -> None:
    (tmp_path / FILE_NAME).write_text(text_of(published_at_s=0.0))
    status = current(tmp_path, lambda: age_s)
    assert status.age_s == age_s
    assert status.fresh is fresh
    assert bool(status.problem) is not fresh


def test_nothing_readable_is_not_fresh(tmp_path: Path) -> None:
    status = current(tmp_path)
    assert (status.snapshot, status.age_s, status.fresh) == (None, None, False)


def test_the_words_are_those_of_the_daemon() -> None:
    assert set(wellformed.RULE_STATES) == {state.value for state in State}
    assert set(wellformed.PLACES) == {place.value for place in Place}
    assert set(wellformed.REST_STATES) == {state.value for state in rest_check.State}
    assert set(samples.BY_STATE) == {circuit.value for circuit in Circuit}


@given(st.binary(max_size=300))
def test_any_bytes_give_a_sentence(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    run_dir = tmp_path_factory.getbasetemp()
    (run_dir / FILE_NAME).write_bytes(raw)
    snapshot, problem = read(run_dir)
    assert snapshot is None
    assert problem
