"""``holdwatch commission``: a new build, tried step by step, and the record of it."""

import json
import os
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from supervisor.cli import completion
from supervisor.cli.common import EXIT_FAILED, errors_in_words, fail, say
from supervisor.control.build_steps import BY_KEY

File = click.Path(path_type=Path, dir_okay=False)
Folder = click.Path(path_type=Path, file_okay=False)


def bench_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Whose build, whose hands, which folders: ``calibrate`` has them too."""
    for option in reversed(
        (
            click.option("--config", required=True, type=File, help="Settings file of the build."),
            click.option(
                "--profile",
                metavar="NAME",
                shell_complete=completion.profiles_of_file,
                help="As a profile of the file, for another job of the same build.",
            ),
            click.option("--simulate", is_flag=True, help="On a simulated build and its hands."),
            click.option("--yes", is_flag=True, help="Nobody is there: wait for nobody."),
            click.option("--answers", type=File, help="A file that answers for the person."),
            click.option("--by", metavar="NAME", help="Who goes on record; else the user."),
            click.option("--state-dir", type=Folder, help="Where the record is kept."),
            click.option("--run-dir", type=Folder, help="Where the daemon would be at work."),
        )
    ):
        command = option(command)
    return command


@click.command()
@bench_options
@click.option("--list", "only_list", is_flag=True, help="How each step stands; tries none.")
@click.option(
    "--step",
    "keys",
    metavar="KEY",
    multiple=True,
    type=click.Choice(list(BY_KEY)),
    help="This step, passed already or not; again for more of them. --list shows the keys.",
)
@click.option(
    "--certificate", "page", type=File, help="FILE.html, and FILE.json; with --list without a walk."
)
@click.option(
    "--defect",
    metavar="NAME",
    shell_complete=completion.defects,
    help="With --simulate: plant it in the build. hardware/commissioning.md lists them.",
)
@click.option(
    "--calibrated",
    "copy",
    type=File,
    help="With --simulate: a copy of the settings with what was calibrated, as a new FILE.",
)
@click.option("--json", "as_json", is_flag=True, help="The certificate as JSON; with --list that.")
def command(
    only_list: bool,
    keys: tuple[str, ...],
    page: Path | None,
    defect: str | None,
    copy: Path | None,
    as_json: bool,
    **bench: Any,
) -> None:
    """Try a new build step by step, calibrate it, and keep the record.

    Without --step: all that this build needs and that has not passed with its present settings. It
    may be left at any question ("leave", Ctrl-C); the same command goes on from there. A profile
    with a shunt or limits of its own wants those steps once more, with --profile. Folders left out:
    those that the service gives to the circuit of the settings. No daemon may run meanwhile. A
    simulation writes nothing into the settings.

    \b
    --answers: a YAML file. A list is taken in turn, a single answer holds always.
      meters:
        volts: {accuracy: "0.05 % + 3", resolution: "0.1 mV"}
      answers:
        meter_front_cell: [2.5, 3.3, 3.6, 2.5, 3.3, 3.6]  # as found, as left
        saw_buzzer: true
        saw_lamp: true
      deeds: done

    Exit 0 when all steps that were to be done have passed, 1 when one failed or is still open, 69
    when hardware is missing or a daemon at work, 78 when settings or answers are at fault.
    """
    from supervisor.cli.commission_bench import Asked
    from supervisor.cli.commission_builds import commission_bench
    from supervisor.cli.commission_text import last_word, show, unwritten

    asked = Asked(**bench, defect=defect)
    if page:
        _check(page)
    if copy:
        _check_copy(copy, is_walk=asked.simulate and not only_list)
    with errors_in_words():
        if only_list:
            _list(asked, page, as_json=as_json)
            return
        with commission_bench(asked) as one:
            passed = one.go([BY_KEY[key] for key in keys] if keys else None)
            now = one.leaves.clock.wall()
            told = _certificate(one.file, one.settings, one.record.lines(), asked, now)
            found = one.file.calibrated(one.settings)
            if page:
                _write(told, page)
            if copy:
                _write_whole(copy, one.file.text_with(found))
                say(f"a copy of {asked.config}, as it was calibrated: {copy}")
            elif found and asked.simulate:
                show(one.console, unwritten(asked.config, found))
            if as_json:
                click.echo(json.dumps(told, indent=2))
            show(one.console, last_word(one.settings, one.lines))
    if not (passed and (keys or told["commissioned"])):
        raise click.exceptions.Exit(EXIT_FAILED)


def _list(asked: Any, page: Path | None, *, as_json: bool) -> None:
    from supervisor.cli.check_words import console
    from supervisor.cli.commission_bench import taken_over
    from supervisor.cli.commission_builds import record_of
    from supervisor.cli.commission_file import SettingsFile
    from supervisor.cli.commission_text import listed, show, states
    from supervisor.control.build_record import counting

    file, record = SettingsFile(asked.config, asked.profile), record_of(asked)
    settings, whole = file.settings, record.lines()
    lines = counting(whole, simulated=asked.simulate)
    if asked.simulate:
        settings = taken_over(settings, lines)
    if as_json:
        click.echo(json.dumps(states(settings, lines), indent=2))
    else:
        show(console(), listed(settings, lines))
    if page:
        _write(_certificate(file, settings, whole, asked, _now(lines, asked)), page)
    for doubt in record.doubts:
        say(f"{doubt}: such a step counts as not done")


def _now(lines: Sequence[Any], asked: Any) -> datetime:
    """The time in a simulation is its own: that of the last that was done in it."""
    if asked.simulate:
        for line in reversed(lines):
            with suppress(ValueError, AttributeError):  # AttributeError: of a lost line
                if (wall := datetime.fromisoformat(line.wall)).tzinfo:
                    return wall
    return datetime.now(UTC)


def _certificate(
    file: Any, settings: Any, lines: Sequence[Any], asked: Any, now: datetime
) -> dict[str, Any]:
    """Of what is on record; ``settings``: the file's, with what a simulation has calibrated."""
    from supervisor.commissioning.certificate import certificate

    return certificate(
        settings,
        lines,
        settings_text=file.content,
        simulated=asked.simulate,
        now=now,
    )


def _check(page: Path) -> None:
    """Before the work, not after it."""
    if page.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"--certificate {page} is to be a page: name an .html file")
    _check_folder(page, "--certificate")


def _check_copy(copy: Path, *, is_walk: bool) -> None:
    if not is_walk:
        raise click.UsageError(
            "--calibrated is for a walk with --simulate: a real one writes into its own settings"
        )
    if os.path.lexists(copy):
        raise click.UsageError(f"--calibrated: {copy} is there already: name a new file")
    _check_folder(copy, "--calibrated")


def _check_folder(path: Path, option: str) -> None:
    if not os.access(path.absolute().parent, os.W_OK | os.X_OK):
        raise click.UsageError(f"{option}: cannot write into {path.absolute().parent}")


def _write(told: dict[str, Any], page: Path) -> None:
    from supervisor.commissioning.certificate_page import certificate_page

    plain = page.with_suffix(".json")
    _write_whole(plain, f"{json.dumps(told, indent=2)}\n")
    _write_whole(page, certificate_page(told))
    say(f"the certificate: {page} and {plain}")


def _write_whole(path: Path, text: str) -> None:
    """All of it or nothing."""
    try:
        handle, part = tempfile.mkstemp(dir=path.absolute().parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            os.chmod(part, 0o644)
            os.replace(part, path)
        finally:
            Path(part).unlink(missing_ok=True)
    except OSError as error:
        raise fail(f"holdwatch: cannot write {path}: {error.strerror}") from None
