"""``holdwatch messages``: tells people away from the machine what they have to know."""

import importlib.util
import signal
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import (
    errors_in_words,
    fail,
    find_circuit,
    run_dir_option,
    say,
    state_dir_option,
)
from supervisor.cli.export import find_journal, journal_option
from supervisor.cli.log import BackgroundLog

if TYPE_CHECKING:
    from supervisor.messages.settings import MessageSettings
    from supervisor.messages.watch import Watch

SENT_DIR = Path("/var/lib/holdwatch-messages")
TICK_S, BUSY_TICK_S = 1.0, 0.05
LAST_WORDS_S = 10.0


@click.command()
@click.argument("settings_file", type=click.Path(path_type=Path), metavar="FILE")
@run_dir_option()
@state_dir_option()
@journal_option()
@click.option(
    "--sent-dir",
    type=click.Path(path_type=Path, file_okay=False),
    default=SENT_DIR,
    show_default=True,
    help="Folder of its own, where it keeps what was sent; survives a restart.",
)
@click.option("--check", "only_check", is_flag=True, help="Check the FILE, and no more.")
@click.option("--test", "only_test", is_flag=True, help="Send one test message to each target.")
def command(
    settings_file: Path,
    run_dir: Path,
    state_dir: Path,
    journal: Path | None,
    sent_dir: Path,
    only_check: bool,
    only_test: bool,
) -> None:
    """Tell the targets of a settings FILE about trips, ignored cues, the end, and no data.

    Reads journal and status, and touches nothing. See config/messages.yaml for an example.
    """
    if only_check and only_test:
        raise click.UsageError("give either --check or --test")
    if importlib.util.find_spec("apprise") is None:
        say("holdwatch: messages need apprise, which is not installed")
        raise fail("  what to do: pip install 'holdwatch[messages]'")
    with errors_in_words():
        settings = _load(settings_file)
        if only_check:
            _tell_settings(settings)
        elif only_test:
            _test(settings)
        else:
            path = journal or find_journal(state_dir)
            _run(settings, path, find_circuit(run_dir), sent_dir)


def _load(settings_file: Path) -> "MessageSettings":
    from supervisor.messages.courier import understands
    from supervisor.messages.load import load

    return load(settings_file, understands)


def _tell_settings(settings: "MessageSettings") -> None:
    for name, target in settings.targets.items():
        click.echo(f"{name}: {', '.join(target.tell)}")
    if quiet := settings.quiet_hours:
        click.echo(f"quiet from {quiet.begin} to {quiet.end}, but for what cannot wait")
    click.echo("all is well; --test tries whether a message arrives")


# --- test


def _test(settings: "MessageSettings") -> None:
    from supervisor.messages.courier import AppriseCourier
    from supervisor.messages.watch import DEADLINE_S

    title, body = "Test of holdwatch messages", "If you read this, messages arrive here."
    courier = AppriseCourier()
    deliveries = {
        name: courier.start(target.url, title, body, "info")
        for name, target in settings.targets.items()
    }
    until_s = time.monotonic() + DEADLINE_S
    have_failed = False
    for name, delivery in deliveries.items():
        delivery.wait(max(0.0, until_s - time.monotonic()))
        outcome = delivery.outcome()
        delivery.end()
        late = f"not done within {DEADLINE_S:.0f} s"
        why = late if outcome is None else outcome.why
        has_failed = outcome is None or not outcome.sent
        click.echo(f"{name}: {f'NOT sent: {why}' if has_failed else 'sent'}")
        have_failed |= has_failed
    if have_failed:
        raise fail(
            "  what to do: compare its url with apprise's documentation; is there a network?"
        )


# --- run


def _run(settings: "MessageSettings", journal: Path, run_dir: Path, sent_dir: Path) -> None:
    from supervisor.control.instance import claim
    from supervisor.messages.courier import AppriseCourier
    from supervisor.messages.memory import Memory
    from supervisor.messages.watch import MachineClock, Watch

    _make_folder(sent_dir)
    claim(sent_dir)
    leaves = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda *_: leaves.set())
    log = BackgroundLog()
    try:
        memory = Memory(sent_dir)
        watch = Watch(settings, journal, run_dir, memory, AppriseCourier(), MachineClock())
        say(f"tells {', '.join(settings.targets)} about {run_dir} and {journal}")
        _live(watch, leaves)
    finally:
        log.close()
    say("ended")


def _live(watch: "Watch", leaves: threading.Event) -> None:
    try:
        while not leaves.is_set():
            watch.tick()
            leaves.wait(BUSY_TICK_S if watch.is_busy else TICK_S)
        until_s = time.monotonic() + LAST_WORDS_S
        while not watch.leave() and time.monotonic() < until_s:
            time.sleep(BUSY_TICK_S)
    finally:
        watch.end()


def _make_folder(sent_dir: Path) -> None:
    try:
        sent_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        probe = sent_dir / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write in {sent_dir} ({error.strerror})\n"
            "  why: without knowing what was sent, a restart would send it again, or never\n"
            "  what to do: create it for this user, or choose another with --sent-dir"
        ) from None
