"""The manual page as roff takes it; completion as a shell does."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from supervisor.cli.common import EXIT_FAILED, EXIT_HARDWARE, EXIT_SETTINGS, EXIT_STALE
from supervisor.cli.main import COMMANDS, main
from supervisor.host.man_page import EXIT_CODES, FILES, man_page
from supervisor.host.own_mark import read_mark
from supervisor.host.shell_files import completion, shell_files


def written(tmp_path: Path, name: str) -> Path:
    (one,) = [wanted for wanted in shell_files(main) if wanted.path.name == name]
    path = tmp_path / name
    path.write_bytes(one.content)
    return path


def rendered(path: Path) -> str:
    """As a terminal of 80 columns shows it. A warning of the formatter fails the test."""
    result = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-P-cbou", str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert result.stderr == ""
    return result.stdout


needs_groff = pytest.mark.skipif(
    shutil.which("groff") is None, reason="takes apt install groff-base"
)


@needs_groff
def test_the_page_is_free_of_warnings_and_has_its_parts(tmp_path: Path) -> None:
    page = rendered(written(tmp_path, "holdwatch.1"))
    for part in ("NAME", "SYNOPSIS", "DESCRIPTION", "CAUTIONS", "COMMANDS", "EXIT STATUS",
                 "FILES", "EXAMPLES", "SEE ALSO"):  # fmt: skip
        assert f"\n{part}\n" in page, part
    for command in COMMANDS:
        assert f"   holdwatch {command}" in page


@needs_groff
def test_what_a_reader_copies_is_what_was_typed(tmp_path: Path) -> None:
    page = rendered(written(tmp_path, "holdwatch.1"))
    assert "--run-dir" in page
    assert "holdwatch open --reason 'a ring got warm'" in page.replace("\u2019", "'")


@needs_groff
@pytest.mark.parametrize("words", [".SH INJECTED", "'br", r"\fBbold\fR \n(.g", '"quoted" -- ~/^'])
def test_no_word_of_a_help_text_is_taken_for_a_request(tmp_path: Path, words: str) -> None:
    @click.group()
    def group() -> None:
        """Group."""

    group.add_command(click.Command("odd", help=words, params=[click.Option(["--x"], help=words)]))
    path = tmp_path / "odd.1"
    path.write_text(man_page(group))
    assert rendered(path).count(words.replace("'", "\u2019")) + rendered(path).count(words) >= 2


@needs_groff
def test_a_list_in_a_help_text_stays_a_list(tmp_path: Path) -> None:
    help_text = "\b\n--json: with\n  id      its name\n  .dot    \\fBas it is\n\nAfter\nit."
    group = click.Group("group", help="Group.")
    group.add_command(click.Command("list", help=help_text))
    path = tmp_path / "list.1"
    path.write_text(man_page(group))
    lines = [line.strip() for line in rendered(path).splitlines()]
    at = lines.index("--json: with")
    assert lines[at + 1 : at + 5] == ["id      its name", ".dot    \\fBas it is", "", "After it."]


def test_the_page_tells_every_option_but_help() -> None:
    page = man_page(main)
    context = click.Context(main)
    for name in COMMANDS:
        command = main.get_command(context, name)
        assert command is not None
        for option in (p for p in command.params if isinstance(p, click.Option) and not p.hidden):
            assert option.opts[-1].replace("-", r"\-") in page, (name, option.opts)


def test_the_page_is_the_same_each_time() -> None:
    assert man_page(main) == man_page(main)


def test_the_exit_codes_are_those_of_the_commands() -> None:
    codes = {int(code) for code, _ in EXIT_CODES}
    assert codes == {0, 2, EXIT_FAILED, EXIT_HARDWARE, EXIT_STALE, EXIT_SETTINGS}


def test_the_files_are_those_of_the_units() -> None:
    unit = (Path(__file__).parents[2] / "systemd" / "holdwatch@.service").read_text("utf-8")
    paths = [path.replace("NAME", "%i") for path, _ in FILES]
    assert paths[0] in unit
    for path in paths[2:6]:
        assert str(Path(path).parent) in unit


# --- completion


def test_each_script_carries_our_mark_and_asks_us() -> None:
    for one in shell_files(main)[1:]:
        mark = read_mark(one.content)
        assert mark is not None
        assert mark.fits
        assert b"_HOLDWATCH_COMPLETE=" in one.content


def test_zsh_knows_a_completion_by_its_first_line() -> None:
    (zsh,) = [one for one in shell_files(main) if "zsh" in one.path.parts]
    assert zsh.content.splitlines()[0] == b"#compdef holdwatch"


def test_a_package_has_them_in_its_own_places() -> None:
    local = {str(one.path) for one in shell_files(main)}
    vendor = {str(one.path) for one in shell_files(main, vendor=True)}
    assert all(path.startswith("usr/local/share/") for path in local)
    assert all(path.startswith("usr/share/") for path in vendor)
    assert len(local) == len(vendor) == 4


def test_a_shell_that_is_not_known() -> None:
    with pytest.raises(ValueError, match="tcsh"):
        completion(main, "tcsh")


COMPLETE = """
source {script}
compopt() {{ COMPREPLY+=("files"); }}
COMP_WORDS=("$@"); COMP_CWORD=$(( $# - 1 ))
_holdwatch_completion holdwatch
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["st"], {"status"}),
        (["s"], {name for name in COMMANDS if name.startswith("s")}),
        (["install"], {"install-units"}),
        (["sessions", "--tr"], {"--tripped"}),
        (["export", "--format", "p"], {"parquet"}),
        (["check", "/etc/ho"], {"files"}),
        (["zz"], set()),
    ],
)
def test_bash_completes_commands_options_and_files(
    tmp_path: Path, typed: list[str], offered: set[str]
) -> None:
    script = COMPLETE.format(script=written(tmp_path, "holdwatch"))
    bench = os.environ | {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"}
    result = subprocess.run(
        ["bash", "-c", script, "bash", "holdwatch", *typed],
        capture_output=True, text=True, check=True, env=bench,
    )  # fmt: skip
    assert set(result.stdout.split()) == offered
    assert result.stderr == ""
