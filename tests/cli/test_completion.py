"""The Tab key offers the names that are known, and never says a word."""

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from answering import answering
from click.shell_completion import ShellComplete
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from supervisor.cli import completion
from supervisor.cli.main import main
from supervisor.control.requests import SOCKET_NAME, Reply, Request
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.explain import EXPLANATIONS

HEAVY = {"pydantic", "gpiozero", "lgpio", "numpy", "rich", "starlette"}


def offered(*typed: str | Path) -> list[str]:
    """What is offered for the last word."""
    *before, last = map(str, typed)
    asked = ShellComplete(main, {}, "holdwatch", "_HOLDWATCH_COMPLETE")
    return [item.value for item in asked.get_completions(before, last)]


@pytest.mark.parametrize("typed", ["", "overv", "sens", "zz", "--"])
def test_explain_offers_every_rule_that_it_can_explain(typed: str) -> None:
    fitting = [rule for rule in EXPLANATIONS if rule.startswith(typed)]
    if typed != "--":  # those are options
        assert offered("check", "--explain", typed) == fitting


def test_check_offers_the_profiles_of_the_file(
    hut_path: Path, hut_settings: SupervisorSettings
) -> None:
    assert offered("check", hut_path, "--profile", "") == list(hut_settings.profiles)
    assert offered("check", "--json", hut_path, "--profile", "") == list(hut_settings.profiles)
    assert offered("check", hut_path, "--profile", "pra") == ["practice_group"]
    assert offered("check", hut_path, "--profile", "z") == []


def test_the_files_own_profile_is_one_of_them_where_it_has_a_name(tmp_path: Path) -> None:
    file = tmp_path / "hut.yaml"
    file.write_text("profile: bank\nprofiles: {practice_group: {}, last_hours: {}}\n")
    offers = offered("check", file, "--profile", "")
    assert offers == ["bank", "practice_group", "last_hours"]


def test_a_name_that_a_shell_would_take_apart_is_not_offered(tmp_path: Path) -> None:
    file = tmp_path / "hut.yaml"
    file.write_text("profile: our bank; rm -r\nprofiles: {'$(x)': {}, 'a,b': {}, fine: {}}\n")
    assert offered("check", file, "--profile", "") == ["fine"]


def test_without_a_file_there_are_no_profiles() -> None:
    assert offered("check", "--profile", "") == []


ODD = [
    b"",
    b"\xff\xfe",
    b"profiles: 7",
    b"profiles: [a, b]",
    b"- a",
    b"profiles:\n\tx: 1",
    b"a: &a [*a]",
]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.binary(max_size=200) | st.sampled_from(ODD))
@example(b"profiles: " + b"[" * 5000)
def test_a_file_of_anything_offers_nothing_and_raises_nothing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], content: bytes
) -> None:
    file = tmp_path / "odd.yaml"
    file.write_bytes(content)
    offered("check", file, "--profile", "")
    assert capfd.readouterr() == ("", "")


def test_what_is_no_readable_file_offers_nothing(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)  # opening it would wait for a writer
    huge = tmp_path / "huge"
    with huge.open("wb") as file:
        file.truncate(1 << 40)  # takes no room, and reading it would take all memory
    for odd in (pipe, huge, tmp_path, tmp_path / "nowhere", Path("/dev/zero"), Path("a\0b")):
        assert offered("check", odd, "--profile", "") == []


def test_close_offers_the_profiles_that_the_daemon_knows(tmp_path: Path) -> None:
    known = {"bank": {}, "last_hours": {}}

    def reply(_request: Request) -> Reply:
        return Reply(True, "", "open", known)

    with answering(tmp_path, reply) as asked:
        assert offered("close", "--run-dir", tmp_path, "--profile", "") == ["bank", "last_hours"]
        assert offered("close", "--run-dir", tmp_path, "--profile", "l") == ["last_hours"]
    assert set(asked) == {("profile", "")}  # which changes nothing


@pytest.mark.parametrize("data", [None, {}, {"a b": 1}])
def test_close_offers_nothing_of_an_odd_answer(tmp_path: Path, data: dict[str, int] | None) -> None:
    with answering(tmp_path, lambda _: Reply(False, "", "open", data)):
        assert offered("close", "--run-dir", tmp_path, "--profile", "") == []


def test_close_offers_nothing_where_no_daemon_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert offered("close", "--run-dir", tmp_path, "--profile", "") == []
    monkeypatch.setattr(completion, "PATIENCE_S", 0.05)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as silent:
        silent.bind(str(tmp_path / SOCKET_NAME))
        silent.listen()
        assert offered("close", "--run-dir", tmp_path, "--profile", "") == []


def test_close_offers_nothing_while_it_is_not_said_which_of_several(tmp_path: Path) -> None:
    with answering(tmp_path / "hut"), answering(tmp_path / "shed"):
        assert offered("close", "--run-dir", tmp_path, "--profile", "") == []


@pytest.mark.parametrize(
    "typed",
    [["check", "--explain", ""], ["check", "FILE", "--profile", ""], ["close", "--profile", ""]],
)
def test_a_tab_loads_nothing_that_takes_its_time(hut_path: Path, typed: list[str]) -> None:
    """And says nothing, also as the shell calls it."""
    words = ["holdwatch", *(str(hut_path) if word == "FILE" else word for word in typed)]
    probe = (
        "import sys, click\n"
        "from supervisor.cli.main import main\n"
        "try: main(prog_name='holdwatch')\n"
        f"finally: print(sorted({HEAVY!r} & set(sys.modules)))"
    )
    asks = {
        "_HOLDWATCH_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(words),
        "COMP_CWORD": str(len(words) - 1),
    }
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=False,
        env=os.environ | asks,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.splitlines()[-1] == "[]"
