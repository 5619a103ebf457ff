"""``holdwatch export``: a session's record as tables for any other program."""

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import Decorator, fail, say, state_dir_option
from supervisor.journal.opening import Broken
from supervisor.journal.reader import NoJournal, Reader, Session
from supervisor.journal.reading import AGAIN, KEEP_IT
from supervisor.journal.schema import FILE_NAME

if TYPE_CHECKING:
    from supervisor.journal.export import Write

SPANS_MS = {"0.1": 100, "1": 1000, "60": 60_000}
MOST_LISTED = 40


def journal_option() -> Decorator:
    return click.option(
        "--journal",
        type=click.Path(path_type=Path),
        help="The journal's file; left out: the one in the state folder.",
    )


def find_journal(state_dir: Path) -> Path:
    """In the folder itself, or in the one circuit's below it: units keep each in its own.

    Raises UsageError when there are several to choose from.
    """
    path = state_dir / FILE_NAME
    with suppress(OSError):
        below = [] if path.exists() else sorted(state_dir.glob(f"*/{FILE_NAME}"))
        if len(below) > 1:
            folders = ", ".join(str(one.parent) for one in below)
            raise click.UsageError(f"several journals; give --state-dir, one of: {folders}")
        return below[0] if below else path
    return path


@click.command()
@click.argument("number", metavar="SESSION", type=click.IntRange(min=1))
@state_dir_option()
@journal_option()
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    help="A folder for the files; left out: ./holdwatch-session-N.",
)
@click.option(
    "--format",
    "kind",
    type=click.Choice(["csv", "parquet"]),
    default="csv",
    show_default=True,
    help="Parquet needs the extra 'parquet'.",
)
@click.option(
    "--span",
    type=click.Choice(list(SPANS_MS)),
    default="1",
    show_default=True,
    help="Seconds a row of the samples is over; 0.1 is kept around events only.",
)
def command(
    number: int, state_dir: Path, journal: Path | None, output: Path | None, kind: str, span: str
) -> None:
    """Write a session's samples, events, progress and temperatures as tables.

    Beside them lies datapackage.json, which describes every column (datapackage.org). SESSION: its
    number, as holdwatch sessions lists it. The files are named on stdout.
    """
    write = _writer_of(kind)
    path = journal or find_journal(state_dir)
    with journal_errors_in_words(path), Reader(path) as reader:
        warn_of_damage(reader, path)
        session = chosen(reader, number, path)
        counts, folder = _export(reader, session, output, kind, span, write)
    for name, rows in counts.items():
        say(f"{rows:9} rows in {name}")
    if session.is_simulated:
        say("SIMULATED: no real bank was charged, the numbers are a simulator's")
    if not any(rows for name, rows in counts.items() if "-samples-" in name):
        say(f"there are no samples over {span} s: {_why_none(session, span)}")
    for name in (*counts, "datapackage.json"):
        click.echo(folder / name)


def _writer_of(kind: str) -> "Write":
    from supervisor.journal.export import write_csv

    if kind == "csv":
        return write_csv
    try:
        from supervisor.journal.parquet import write_parquet
    except ModuleNotFoundError as missing:
        if (missing.name or "").partition(".")[0] != "pyarrow":
            raise
        say("holdwatch: Parquet needs pyarrow, which is not installed")
        raise fail("  what to do: pip install 'holdwatch[parquet]', or take --format csv") from None
    return write_parquet


def _export(
    reader: Reader, session: Session, output: Path | None, kind: str, span: str, write: "Write"
) -> tuple[dict[str, int], Path]:
    """All files or none."""
    from supervisor.journal.export import base_name, export

    folder = output or Path(base_name(session))
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise fail(
                f"holdwatch: {folder} is there already, and nothing is overwritten\n"
                "  what to do: give another folder by --output"
            )
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-"))
        try:
            span_ms = SPANS_MS[span]
            counts = export(reader, session, part, span_ms=span_ms, kind=kind, write=write)
            part.chmod(0o755)
            part.replace(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write {folder}: {error.strerror or error}\n"
            "  what to do: make room there, or give another folder by --output"
        ) from None
    return counts, folder


def _why_none(session: Session, span: str) -> str:
    if session.is_thinned and span == "1":
        return "its rows of a second were given up to keep the journal small; take --span 60"
    if span == "0.1":
        return "nothing happened that was worth them; take --span 1"
    return "nothing was measured"


def chosen(reader: Reader, number: int, path: Path) -> Session:
    """Raises Exit when there is no such session."""
    session = reader.session(number)
    if session is not None:
        return session
    have = [str(one.id) for one in reader.sessions()]
    if not have:
        raise fail(f"holdwatch: the journal {path} has no session yet: nothing was ever closed")
    older = ", or an older one" if len(have) > MOST_LISTED else ""
    raise fail(
        f"holdwatch: there is no session {number} in {path}\n"
        f"  what to do: choose one of {', '.join(have[-MOST_LISTED:])}{older}"
    )


def warn_of_damage(reader: Reader, path: Path) -> None:
    """On stderr, when there is any; what can be read is read all the same."""
    damage = reader.damage()
    if damage:
        say(
            f"holdwatch: WARNING: the journal {path} is damaged inside: {damage}\n"
            "  what it means: some of the record may be missing here, or wrong\n"
            f"  what to do: {KEEP_IT}"
        )


@contextmanager
def journal_errors_in_words(path: Path) -> Iterator[None]:
    """Of reading it, and of writing in it."""
    try:
        yield
    except NoJournal as none:
        raise fail(f"holdwatch: {none}\n  what to do: {none.remedy}") from None
    except Broken as broken:
        raise fail(
            f"holdwatch: the journal {path} is damaged: {broken}\n  what to do: {KEEP_IT}"
        ) from None
    except sqlite3.Error as error:
        raise fail(
            f"holdwatch: the journal {path} cannot be written: {error}\n  what to do: {AGAIN}"
        ) from None
