"""holdwatch(1), made of the commands themselves: plain roff of the man(7) macros."""

import inspect
import textwrap
from collections.abc import Iterator, Sequence

import click

from supervisor import __version__

NAME = "holdwatch"
WIDTH = 72
SUMMARY = "watch the first full charge of a bank of lithium cells, and cut off"

CAUTIONS = (
    "A bank of this size can melt a spanner and start a fire. Cover bars and terminals, take off "
    "jewellery, wear eye protection, ventilate the room, and have a way to cut the mains that does "
    "not depend on this software.",
    "The mains side belongs to a licensed electrician. Local codes and the cell maker's data sheet "
    "stand above every number here.",
    "It is one layer: fuses, a contactor rated for the current, and a coil driver that lets go by "
    "itself are the others. It is certified by nobody for anything. Try the cutoff of your own "
    "build, with a hand on the mains switch, before you trust it.",
    "The daemon starts open and closes on request only. Ending or restarting it opens the circuit.",
)
EXIT_CODES = (
    ("0", "Done."),
    ("1", "Refused, tripped or failed."),
    ("2", "Used in a way that it does not know."),
    ("69", "Hardware is missing, or another daemon is at work."),
    ("75", "No fresh data: no daemon answers."),
    ("78", "Settings at fault."),
)
FILES = (
    ("/etc/holdwatch/NAME.yaml", "Settings of one circuit."),
    ("/etc/holdwatch/NAME.messages.yaml", "Who is told what; mode 0600."),
    ("/run/holdwatch/NAME/status.json", "What the daemon says now."),
    ("/run/holdwatch/NAME/requests.sock", "Where it takes requests: for its group alone."),
    ("/var/lib/holdwatch/NAME/lockout.json", "The lockout; it outlives restarts."),
    ("/var/lib/holdwatch/NAME/journal.sqlite", "The record of every session."),
    ("/usr/local/lib/systemd/system/holdwatch@.service", "The daemon as a service, and with "
     "holdwatch-web@ and holdwatch-messages@ the page and the messages. A package has them in "
     "/usr/lib/systemd/system. Change them by drop-ins: systemctl edit holdwatch@.service"),
)  # fmt: skip
EXAMPLES = (
    ("holdwatch demo", "The whole job on a simulated bank, without hardware."),
    ("holdwatch check /etc/holdwatch/hut-bank.yaml", "Every fault of the file at once."),
    ("systemctl enable --now holdwatch@hut-bank", "Supervise the circuit of that file."),
    ("holdwatch open --reason 'a ring got warm'", "Open at once; for every user of the machine."),
)
SEE_ALSO = ("systemctl(1)", "journalctl(1)", "systemd.unit(5)", "sysusers.d(5)")


def man_page(group: click.Group) -> str:
    """The page as roff. The same commands give the same page: it carries no date."""
    context = click.Context(group, info_name=NAME)
    return "\n".join([*_head(group), *_commands(group, context), *_tail()]) + "\n"


def _head(group: click.Group) -> Iterator[str]:
    yield f'.TH {NAME.upper()} 1 "" "{NAME} {__version__}" "User commands"'
    yield from (".SH NAME", f"{NAME} \\- {_word(SUMMARY)}")
    yield from (".SH SYNOPSIS", f".B {NAME}", r".I COMMAND", r"[\fIOPTION\fR]... [\fIFILE\fR]...")
    yield from (".SH DESCRIPTION", *_paragraphs(group.help or ""))
    yield ".SH CAUTIONS"
    yield from _paragraphs("\n\n".join(CAUTIONS))


def _commands(group: click.Group, context: click.Context) -> Iterator[str]:
    yield ".SH COMMANDS"
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if command is not None:
            own = click.Context(command, info_name=name, parent=context)
            yield from _command(f"{NAME} {name}", command, own)


def _command(name: str, command: click.Command, context: click.Context) -> Iterator[str]:
    usage = " ".join([name, *command.collect_usage_pieces(context)])
    yield from (f'.SS "{_word(usage)}"', *_paragraphs(command.help or ""))
    for parameter in command.get_params(context):
        label, text = parameter.get_help_record(context) or ("", "")
        if text and "--help" not in parameter.opts:
            yield from _entry(label, text)


def _tail() -> Iterator[str]:
    yield from (".SH EXIT STATUS", *_list(EXIT_CODES))
    yield from (".SH FILES", *_list(FILES))
    yield from (".SH EXAMPLES", *_list(EXAMPLES))
    yield from (".SH SEE ALSO", _word(", ".join(SEE_ALSO)))


def _list(entries: Sequence[tuple[str, str]]) -> Iterator[str]:
    for label, text in entries:
        yield from _entry(label, text)


def _entry(label: str, text: str) -> Iterator[str]:
    yield from (".TP", rf"\fB{_word(label)}\fR", *_lines(text))


def _paragraphs(text: str) -> Iterator[str]:
    for number, paragraph in enumerate(inspect.cleandoc(text).split("\n\n")):
        if number:
            yield ".PP"
        if paragraph.startswith("\b\n"):  # click's mark of lines that stay as they are
            yield from (".nf", *map(_word, paragraph.splitlines()[1:]), ".fi")
        else:
            yield from _lines(paragraph)


def _lines(text: str) -> list[str]:
    """Words as roff takes them for words, in lines that a person can read and compare."""
    lines = textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False)
    return [_word(line) for line in lines]


def _word(text: str) -> str:
    """No request and no escape; hyphens as typed, to be copied from the page."""
    for letter, roff in (
        ("\\", r"\e"),
        ("-", r"\-"),
        ('"', r"\(dq"),
        ("~", r"\(ti"),
        ("^", r"\(ha"),
    ):
        text = text.replace(letter, roff)
    return rf"\&{text}" if text.startswith((".", "'")) else text
