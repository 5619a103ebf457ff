"""``holdwatch report``: a session's record as one page, to be read, printed and signed."""

import os
import re
import tempfile
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from supervisor.cli.common import fail, say, state_dir_option
from supervisor.cli.export import (
    chosen,
    find_journal,
    journal_errors_in_words,
    journal_option,
    warn_of_damage,
)
from supervisor.journal.reader import Reader, Session
from supervisor.report.mark import found_mark, mark_of

if TYPE_CHECKING:
    from supervisor.report.record import Tell

MOST_SESSIONS = 6
LONGEST_NAME = 40  # of the bank, in the name of a file
NEEDS = {"jinja2", "markupsafe", "matplotlib", "numpy"}


@click.command()
@click.argument("numbers", metavar="[SESSION]...", type=click.IntRange(min=1), nargs=-1)
@state_dir_option()
@journal_option()
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    help="The HTML file; left out: ./holdwatch-BANK-DATE-session-N.html.",
)
@click.option("--pdf", is_flag=True, help="A PDF beside it, of the same name.")
def command(
    numbers: tuple[int, ...], state_dir: Path, journal: Path | None, output: Path | None, pdf: bool
) -> None:
    """Make a page of a session's record: plots, figures, trips, limits, lines to sign.

    SESSION: its number; left out: the newest one. Several are compared on one page. The page is one
    HTML file that needs nothing beside it.
    """
    path = journal or find_journal(state_dir)
    numbers = tuple(dict.fromkeys(numbers))
    if len(numbers) > MOST_SESSIONS:
        raise click.UsageError(f"at most {MOST_SESSIONS} sessions fit into one comparison")
    if output and output.suffix.lower() == ".pdf" and not pdf:
        raise click.UsageError(f"{output} is to be a PDF: add --pdf, or name an .html file")
    with journal_errors_in_words(path), _missing_in_words(), Reader(path) as reader:
        warn_of_damage(reader, path)
        sessions = _chosen(reader, numbers, path)
        html_path = _html_path(output, sessions)
        _refuse_to_overwrite_a_journal(html_path, path)
        mark = mark_of(sessions)
        _try(html_path, mark)
        if pdf:
            _try(html_path.with_suffix(".pdf"), mark)
        with _progress() as tell:
            page = _page(reader, sessions, tell)
            if pdf:
                tell("PDF")
                _write_pdf(page, html_path.with_suffix(".pdf"), mark)
        _write(html_path, lambda part: part.write_text(page, encoding="utf-8"))
    click.echo(html_path)
    if pdf:
        click.echo(html_path.with_suffix(".pdf"))


def _page(reader: Reader, sessions: list[Session], tell: "Tell") -> str:
    from supervisor.report.compare import comparison_page
    from supervisor.report.page import session_page
    from supervisor.report.record import NothingToReport, read_record

    try:
        records = [read_record(reader, session, tell) for session in sessions]
    except NothingToReport as nothing:
        raise fail(f"holdwatch: {nothing}") from None
    return session_page(records[0], tell) if len(records) == 1 else comparison_page(records, tell)


def _chosen(reader: Reader, numbers: tuple[int, ...], path: Path) -> list[Session]:
    """The newest one, unless others are named."""
    if numbers:
        return [chosen(reader, number, path) for number in numbers]
    sessions = reader.sessions()
    if not sessions:
        raise fail(f"holdwatch: the journal {path} has no session yet: nothing was ever closed")
    return sessions[-1:]


def _html_path(output: Path | None, sessions: list[Session]) -> Path:
    if output:
        return output.with_suffix(".html") if output.suffix.lower() == ".pdf" else output
    from supervisor.report.words import utc

    first = sessions[0]
    bank, day = _slug(first.bank), utc(first.began_wall_s, "%Y-%m-%d").replace(" ", "-")
    ids = "-".join(str(session.id) for session in sessions)
    simulated = "SIMULATED" if any(session.is_simulated for session in sessions) else ""
    parts = ("holdwatch", bank, day, f"session{'s' if len(sessions) > 1 else ''}-{ids}", simulated)
    return Path(f"{'-'.join(filter(None, parts))}.html")


def _slug(name: str) -> str:
    """What every file system takes; nothing of a name in other letters than ours."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub("[^a-z0-9]+", "-", plain)[:LONGEST_NAME].strip("-")


def _refuse_to_overwrite_a_journal(html_path: Path, journal: Path) -> None:
    if html_path.exists() and html_path.samefile(journal):
        raise click.UsageError(f"{html_path} is the journal itself; name another file by --output")


def _try(path: Path, mark: str) -> None:
    """Before the work, not after it."""
    if path.is_symlink() or (path.exists() and not path.is_file() and not path.is_dir()):
        raise fail(f"holdwatch: {path} is a link or a device; name a plain file by --output")
    if path.is_file() and (found := _found(path)) != mark:
        what = "the report of another session" if found else "no report"
        raise fail(f"holdwatch: {path} is there and is {what}; name another file by --output")
    if path.is_dir():
        raise fail(f"holdwatch: {path} is a folder; name a file by --output")
    if not os.access(path.absolute().parent, os.W_OK | os.X_OK):
        raise fail(
            f"holdwatch: cannot write into {path.absolute().parent}; name a file by --output"
        )


def _found(path: Path) -> str:
    try:
        return found_mark(path)
    except OSError as error:
        raise fail(
            f"holdwatch: {path} is there and cannot be read: {error.strerror}; name another file by"
            " --output"
        ) from None


def _write(path: Path, write: Callable[[Path], object]) -> None:
    """All of it or nothing."""
    try:
        handle, part = tempfile.mkstemp(dir=path.absolute().parent, suffix=path.suffix)
        os.close(handle)
        try:
            write(Path(part))
            os.chmod(part, 0o644)
            os.replace(part, path)
        finally:
            Path(part).unlink(missing_ok=True)
    except OSError as error:
        raise fail(
            f"holdwatch: cannot write {path}: {error.strerror}; name another file by --output"
        ) from None


def _write_pdf(page: str, path: Path, mark: str) -> None:
    from supervisor.report.pdf import NoPdf, write_pdf

    try:
        _write(path, lambda part: write_pdf(page, part, mark))
    except NoPdf as missing:
        raise fail(str(missing)) from None


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """What is being done, on stderr; nothing when nobody looks at a terminal."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda _text: None
        return
    with console.status("report") as status:
        yield status.update


@contextmanager
def _missing_in_words() -> Iterator[None]:
    try:
        yield
    except ModuleNotFoundError as missing:
        if (missing.name or "").partition(".")[0] not in NEEDS:
            raise
        say(f"holdwatch: a report needs {missing.name}, which is not installed")
        raise fail("  what to do: pip install 'holdwatch[report]'") from None
