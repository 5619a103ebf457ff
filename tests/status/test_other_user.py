"""The page's process as another user: it reads the record while it is written, and writes nothing.

Needs root, to become somebody else; what systemd's unit does for real.
"""

import json
import multiprocessing
import os
import pwd
import sqlite3
import stat
from collections.abc import Callable, Iterable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path

import asking
import pytest
import samples
from journals import closing, run, windows

from supervisor.control.requests import OPEN_SOCKET_NAME, SOCKET_NAME, ask, request_sockets
from supervisor.journal.records import Record
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store
from supervisor.simulator.clock import SimulatedClock
from supervisor.status.app import create_app

pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become another user")
NOBODY = "nobody"
FORK = multiprocessing.get_context("fork")


def as_nobody(act: Callable[[], object]) -> object:
    """What it returns, as JSON, or the name of its error; done by a child of this process."""
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            user = pwd.getpwnam(NOBODY)
            os.setgroups([])
            os.setgid(user.pw_gid)
            os.setuid(user.pw_uid)
            result = act()
        except BaseException as error:
            result = type(error).__name__
        os.write(writes, json.dumps(result).encode())
        os._exit(0)
    os.close(writes)
    with os.fdopen(reads) as pipe:
        content = pipe.read()
    os.waitpid(child, 0)
    return json.loads(content)


@pytest.fixture
def state_dir(tmp_path: Path) -> Path:
    """Where everybody may look, and only the owner write; so are the folders above."""
    for folder in (tmp_path, *tmp_path.parents):
        if folder.owner() == "root" and not folder.stat().st_mode & stat.S_IXOTH:
            folder.chmod(folder.stat().st_mode | stat.S_IXOTH | stat.S_IROTH)
    asking.ask(create_app(tmp_path), "/api/history")  # whatever loads late loads now
    state = tmp_path / "state"
    state.mkdir(mode=0o755)
    (state / "lockout.json").write_text("{}")
    return state


class Writer:
    """A daemon's journal, written by a process of its own: SQLite's locks are a process's.

    What it has written is in the auxiliary file (WAL) yet.
    """

    def __init__(self, path: Path) -> None:
        self._pipe, theirs = FORK.Pipe()
        self.process = FORK.Process(target=self._work, args=(path, theirs))
        self.process.start()
        theirs.close()
        self.until_s = 0.0

    def write(self, until_s: float) -> None:
        self._tell("write", windows(self.until_s, until_s) if self.until_s else charge(until_s))
        self.until_s = until_s

    def tidy_up(self) -> None:
        self._tell("tidy up", ())

    def end(self) -> None:
        if self.process.is_alive():
            self._tell("end", ())
        self.process.join()
        self._pipe.close()

    def _tell(self, what: str, records: Iterable[Record]) -> None:
        self._pipe.send((what, list(records)))
        assert self._pipe.recv() == "done"

    @staticmethod
    def _work(path: Path, pipe: Connection) -> None:
        store = Store(path)
        store.connect()
        while True:
            what, records = pipe.recv()
            if what == "write":
                store.write(records, flush=True)
            elif what == "tidy up":
                store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            else:
                store.disconnect()
            pipe.send("done")
            if what == "end":
                return


def charge(until_s: float) -> list[Record]:
    return [run(), closing(0.0), *windows(0.0, until_s)]


@pytest.fixture
def writer(state_dir: Path) -> Iterator[Writer]:
    writer = Writer(state_dir / FILE_NAME)
    writer.write(100.0)
    yield writer
    writer.end()


def status_code(state_dir: Path, path: str = "/api/history") -> int:
    app = create_app(state_dir, journal=lambda: state_dir / FILE_NAME)
    return asking.ask(app, path).status_code


def newest(state_dir: Path) -> str:
    app = create_app(state_dir, journal=lambda: state_dir / FILE_NAME)
    return str(asking.ask(app, "/api/history").json()["newest_utc"])


def test_reads_what_is_being_written(state_dir: Path, writer: Writer) -> None:
    wal = state_dir / f"{FILE_NAME}-wal"
    assert wal.stat().st_size > 0
    assert as_nobody(lambda: newest(state_dir)) == "2026-05-28T20:28:20Z"
    writer.write(200.0)
    assert as_nobody(lambda: newest(state_dir)) == "2026-05-28T20:30:00Z"
    assert as_nobody(lambda: status_code(state_dir, "/api/sessions")) == 200


def test_reads_on_while_the_writer_tidies_up(state_dir: Path, writer: Writer) -> None:
    for step in range(1, 6):
        writer.write(100.0 + 10.0 * step)
        writer.tidy_up()
        assert (state_dir / f"{FILE_NAME}-wal").stat().st_size == 0
        assert as_nobody(lambda: status_code(state_dir)) == 200


def test_reads_what_a_daemon_left(state_dir: Path, writer: Writer) -> None:
    writer.end()
    assert not (state_dir / f"{FILE_NAME}-wal").exists()
    assert as_nobody(lambda: newest(state_dir)) == "2026-05-28T20:28:20Z"


def test_reads_what_a_daemon_that_was_killed_left(state_dir: Path, writer: Writer) -> None:
    writer.process.kill()
    writer.process.join()
    assert (state_dir / f"{FILE_NAME}-wal").stat().st_size > 0
    assert as_nobody(lambda: newest(state_dir)) == "2026-05-28T20:28:20Z"


@pytest.mark.usefixtures("writer")
def test_leaves_nothing_behind(state_dir: Path) -> None:
    before = sorted(p.name for p in state_dir.iterdir())
    as_nobody(lambda: status_code(state_dir))
    assert sorted(p.name for p in state_dir.iterdir()) == before


@pytest.mark.usefixtures("writer")
def test_writes_neither_journal_nor_lockout_nor_settings(state_dir: Path, tmp_path: Path) -> None:
    settings = tmp_path / "bank.yaml"
    settings.write_text("web: {}\n")
    for path in (state_dir / FILE_NAME, state_dir / f"{FILE_NAME}-wal",
                 state_dir / "lockout.json", settings):  # fmt: skip
        assert as_nobody(lambda p=path: p.open("r+").close()) == "PermissionError", path
        assert as_nobody(lambda p=path: p.unlink()) == "PermissionError", path
    assert as_nobody((state_dir / "more").touch) == "PermissionError"

    def insert() -> None:
        with sqlite3.connect(state_dir / FILE_NAME) as db:
            db.execute("DELETE FROM sample")

    assert as_nobody(insert) == "OperationalError"


@pytest.mark.usefixtures("writer")
def test_a_folder_that_is_closed_to_it_is_told_in_words(state_dir: Path) -> None:
    state_dir.chmod(0o750)

    def problem() -> list[object]:
        app = create_app(state_dir.parent, journal=lambda: state_dir / FILE_NAME)
        answer = asking.ask(app, "/api/history")
        return [answer.status_code, answer.json()["problem"]]

    code, words = as_nobody(problem)  # type: ignore[misc]
    assert code in (404, 503)
    assert "journal" in words


def test_asks_to_open_and_nothing_else(tmp_path: Path, state_dir: Path) -> None:
    inboxes = request_sockets(state_dir, SimulatedClock())
    try:
        for act in ("open", "close", "reset"):
            tried = as_nobody(lambda a=act: ask(state_dir, a, patience_s=0.1).done)
            assert tried == "PermissionError", act
        assert not [request for inbox in inboxes for request in inbox.take()]
        waits = "TimeoutError"  # nobody answers here, but it could be asked
        opens = as_nobody(
            lambda: ask(state_dir, "open", patience_s=0.1, socket_name=OPEN_SOCKET_NAME).done
        )
        assert opens == waits
        taken = [r.act for _ in range(3) for inbox in inboxes for r in inbox.take()]
        assert taken in ([], ["open"])  # gone again by now, perhaps
    finally:
        for inbox in inboxes:
            inbox.close()
    assert not (tmp_path / "state" / SOCKET_NAME).exists()


def test_reads_the_status_of_the_daemon(state_dir: Path) -> None:
    samples.publish(state_dir, samples.CLOSED)
    assert as_nobody(lambda: asking.ask(create_app(state_dir), "/api/status").status_code) == 200
