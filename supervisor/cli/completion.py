"""Names for the Tab key: ``shell_complete`` of options that take a known one.

A Tab is pressed in mid-sentence: what cannot be had at once is not offered, without a word.
"""

import re
from collections.abc import Callable, Iterable
from pathlib import Path

import click

from supervisor.cli.common import find_circuit

PLAIN = re.compile(r"[\w.+-]+")  # a shell takes any other apart
PATIENCE_S = 0.5
LARGEST_BYTES = 1 << 20  # far more than settings have
# All of bench.commissioning.defects.DEFECTS, which takes the whole simulator along.
DEFECTS = (
    "gain-off",
    "shunt-off",
    "leads-swapped",
    "lead-reversed",
    "shunt-reversed",
    "contactor-welded",
    "slow-release",
    "active-low",
    "level-kept",
    "steady-high",
    "never-closed",
    "auxiliary-follows-coil",
    "auxiliary-stuck",
    "converter-absent",
    "stop-wire-broken",
)

Offer = Callable[[click.Context, click.Parameter, str], list[str]]


def _quietly(names: Callable[[click.Context], Iterable[object]]) -> Offer:
    """Those that begin as typed; none when anything goes wrong."""

    def offer(context: click.Context, _parameter: click.Parameter, typed: str) -> list[str]:
        try:
            known = [name for name in names(context) if isinstance(name, str)]
        except Exception:  # whatever it is: nobody has asked for an answer yet
            return []
        return [name for name in known if PLAIN.fullmatch(name) and name.startswith(typed)]

    return offer


@_quietly
def rules(_context: click.Context) -> Iterable[object]:
    """All of ``sizing.explain.EXPLANATIONS``, which takes the settings' types along."""
    from supervisor.sizing.explain_cells import CELL_RULES
    from supervisor.sizing.explain_supply import SUPPLY_RULES
    from supervisor.sizing.explain_watch import WATCH_RULES

    return (*CELL_RULES, *SUPPLY_RULES, *WATCH_RULES)


@_quietly
def defects(_context: click.Context) -> Iterable[object]:
    return DEFECTS


@_quietly
def profiles_of_file(context: click.Context) -> Iterable[object]:
    """Of the settings file that was typed before, as they are written: it is not judged."""
    from supervisor.settings.text import parse

    # click leaves arguments unread while an option still lacks its value.
    given = context.params.get("file") or context.params.get("config")
    file = (given or Path(context.args[0])).expanduser()
    if not file.is_file() or file.stat().st_size > LARGEST_BYTES:  # a pipe would be waited for
        return ()
    written = parse(file.read_text("utf-8"), str(file)).data
    return (written.get("profile"), *dict(written.get("profiles") or {}))


@_quietly
def profiles_of_daemon(context: click.Context) -> Iterable[object]:
    """Of the daemon that is to close; asking for them changes nothing."""
    from supervisor.control.requests import ask

    run_dir = find_circuit(context.params["run_dir"])
    return ask(run_dir, "profile", patience_s=PATIENCE_S).data or ()
