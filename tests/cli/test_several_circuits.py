"""Several circuits on one machine: which one is never guessed, and all of them can be opened."""

import json
import shlex
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import click
import pytest
from answering import answering, done
from click.testing import CliRunner, Result

from supervisor.cli import asking
from supervisor.cli.main import main
from supervisor.control.requests import OPEN_SOCKET_NAME, SOCKET_NAME, Reply, Request

NAMES = ("hut", "old shed")  # one to be quoted for a shell


@pytest.fixture
def asked(tmp_path: Path) -> Iterator[dict[str, list[tuple[str, str]]]]:
    """By circuit, what its daemon was asked."""
    with ExitStack() as daemons:
        yield {name: daemons.enter_context(answering(tmp_path / name)) for name in NAMES}


def typed(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def to_copy(refused: Result) -> list[list[str]]:
    """The words of every command line in a refusal."""
    lines = [line.strip() for line in refused.stderr.splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith("holdwatch ")]


@pytest.mark.parametrize(
    "command",
    [["open"], ["open", "--reason", "a ring's warm; out"], ["close"],
     ["close", "--profile", "x", "--yes"], ["reset", "--reason", "lead re-fastened"], ["silence"],
     ["silence", "--json"], ["status"], ["status", "--json"]],
    ids=" ".join,
)  # fmt: skip
def test_of_several_none_is_guessed_and_each_is_a_line_to_copy(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path, command: list[str]
) -> None:
    refused = typed(*command, "--run-dir", str(tmp_path))
    assert refused.exit_code == 2
    assert refused.stdout == ""
    assert not any(asked.values())
    lines = to_copy(refused)
    of_one = [[*command, "--run-dir", str(tmp_path / name)] for name in NAMES]
    assert lines[: len(NAMES)] == of_one
    others = [["--all", "--run-dir", str(tmp_path), *command]] if command[0] == "open" else []
    assert [sorted(line) for line in lines[len(NAMES) :]] == [sorted(line) for line in others]


def test_the_line_copied_asks_that_circuit_alone(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path
) -> None:
    first, second, everyone = to_copy(
        typed("open", "--reason", "smoke", "--run-dir", str(tmp_path))
    )
    assert typed(*second).exit_code == 0
    assert asked == {"hut": [], "old shed": [("open", "smoke")]}
    assert typed(*first).exit_code == 0
    assert typed(*everyone).exit_code == 0
    assert asked == {"hut": [("open", "smoke")] * 2, "old shed": [("open", "smoke")] * 2}


def test_the_usual_folder_need_not_be_typed(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path
) -> None:
    """As for who types nothing but the command."""
    (option,) = [one for one in _open().params if one.name == "run_dir"]
    usual, option.default = option.default, tmp_path
    try:
        refused, opened = typed("open"), typed("open", "--all")
    finally:
        option.default = usual
    assert to_copy(refused)[-1] == ["open", "--all"]
    assert opened.exit_code == 0
    assert asked == {name: [("open", "")] for name in NAMES}


def _open() -> click.Command:
    command = main.get_command(click.Context(main), "open")
    assert command is not None
    return command


# --- open --all


def test_all_opens_every_circuit_and_tells_each(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path
) -> None:
    opened = typed("open", "--all", "--reason", "smoke", "--run-dir", str(tmp_path))
    assert opened.exit_code == 0, opened.output
    assert asked == {name: [("open", "smoke")] for name in NAMES}
    assert opened.stdout.splitlines() == [
        f"{tmp_path / name}: open: smoke; the circuit is open" for name in NAMES
    ]


def test_all_as_json_is_one_object_by_folder(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path
) -> None:
    opened = typed("open", "--all", "--json", "--run-dir", str(tmp_path))
    told = json.loads(opened.stdout)
    assert list(told) == [str(tmp_path / name) for name in NAMES]
    assert all(one["done"] and one["circuit"] == "open" for one in told.values())
    assert asked == {name: [("open", "")] for name in NAMES}


def test_all_takes_the_folder_itself_and_who_has_but_the_door_for_opening(tmp_path: Path) -> None:
    with answering(tmp_path) as own, answering(tmp_path / "hut") as below:
        (tmp_path / "hut" / SOCKET_NAME).unlink()
        opened = typed("open", "--all", "--run-dir", str(tmp_path))
    assert opened.exit_code == 0, opened.output
    assert (own, below) == ([("open", "")], [("open", "")])


@pytest.mark.parametrize("as_json", [[], ["--json"]])
def test_one_that_is_dead_keeps_no_other_closed(
    asked: dict[str, list[tuple[str, str]]], tmp_path: Path, as_json: list[str]
) -> None:
    dead = tmp_path / "a dead one"
    dead.mkdir()
    for name in (SOCKET_NAME, OPEN_SOCKET_NAME):
        (dead / name).touch()  # connection refused, as where a daemon was killed
    opened = typed("open", "--all", "--run-dir", str(tmp_path), *as_json)
    assert opened.exit_code == 75
    assert f"no answer from the daemon at {dead}" in opened.stderr
    assert "open it by hand now" in opened.stderr
    assert asked == {name: [("open", "")] for name in NAMES}
    if as_json:
        assert json.loads(opened.stdout)[str(dead)] is None


def test_one_that_hangs_is_waited_for_beside_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It comes first by its name, and answers only when the other one was opened."""
    monkeypatch.setattr(asking, "FIRST_PATIENCE_S", 30.0)
    is_opened = threading.Event()

    def hangs(request: Request) -> Reply:
        return Reply(is_opened.wait(20), request.act, "open")

    def opens(request: Request) -> Reply:
        is_opened.set()
        return done(request)

    with answering(tmp_path / "a", hangs), answering(tmp_path / "b", opens):
        assert typed("open", "--all", "--run-dir", str(tmp_path)).exit_code == 0


def test_one_that_refuses_is_told_by_the_exit_code(tmp_path: Path) -> None:
    with (
        answering(tmp_path / "a", lambda _: Reply(False, "why not", "closed")),
        answering(tmp_path / "b"),
    ):
        opened = typed("open", "--all", "--run-dir", str(tmp_path))
    assert opened.exit_code == 1
    assert f"{tmp_path / 'a'}: why not; the circuit is closed" in opened.stdout


def test_all_of_none_is_as_one_that_is_not_there(tmp_path: Path) -> None:
    told = typed("open", "--all", "--run-dir", str(tmp_path))
    assert told.exit_code == 75
    assert told.stderr == typed("open", "--run-dir", str(tmp_path)).stderr
    assert "no daemon" in told.stderr
