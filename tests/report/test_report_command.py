"""``holdwatch report``: its file, its choices, its errors in words."""

import os
import re
import subprocess
import sys
from ctypes.util import find_library
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from ended_charges import CLOSED_S, a_run, charge_records, ended_charge, told
from journals import closing, end, written

from supervisor.cli.main import main
from supervisor.settings.model import SupervisorSettings


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def report(*words: str | Path) -> Result:
    return CliRunner().invoke(main, ["report", *map(str, words)])


def test_the_newest_session_by_default(charge_path: Path, here: Path) -> None:
    result = report("--journal", charge_path)
    name = "holdwatch-mountain-hut-storage-bank-2026-05-28-session-1.html"
    assert (result.exit_code, result.stdout) == (0, f"{name}\n")
    page = (here / name).read_text()
    assert page.startswith("<!doctype html>")
    assert list(here.iterdir()) == [here / name]


def test_a_simulated_session_says_so_in_the_files_name(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    state = here / "state"
    state.mkdir()
    ended_charge(state, hut_settings, is_simulated=True)
    result = report("--state-dir", state)
    assert result.stdout.endswith("-session-1-SIMULATED.html\n")


def has_pango() -> bool:
    """WeasyPrint's Debian packages: libpango-1.0-0 libpangoft2-1.0-0."""
    return all(find_library(name) for name in ("pango-1.0", "pangoft2-1.0"))


@pytest.mark.skipif(not has_pango(), reason="libpango-1.0-0 and libpangoft2-1.0-0 are missing")
def test_a_pdf_beside_it(charge_path: Path, here: Path) -> None:
    result = report("--journal", charge_path, "--pdf", "--output", here / "page.html")
    assert result.exit_code == 0, result.output
    assert (here / "page.pdf").read_bytes().startswith(b"%PDF-")
    assert (here / "page.html").exists()


def test_a_pdf_without_pdf_is_a_mistake(charge_path: Path) -> None:
    result = report("--journal", charge_path, "--output", "page.pdf")
    assert result.exit_code == 2
    assert "add --pdf" in result.output


def test_no_journal(here: Path) -> None:
    result = report("--state-dir", here)
    assert result.exit_code == 1
    assert f"there is no journal {here / 'journal.sqlite'}" in result.stderr
    assert "--journal FILE" in result.stderr


def test_a_file_that_is_no_journal(here: Path) -> None:
    (here / "other").write_text("text")
    result = report("--journal", here / "other")
    assert result.exit_code == 1
    assert "cannot be read" in result.stderr


def test_a_journal_without_a_session(here: Path, hut_settings: SupervisorSettings) -> None:
    result = report("--journal", written(here, a_run(hut_settings)))
    assert result.exit_code == 1
    assert "nothing was ever closed" in result.stderr


def test_no_such_session_lists_those_that_exist(charge_path: Path) -> None:
    result = report("7", "--journal", charge_path)
    assert result.exit_code == 1
    assert "there is no session 7" in result.stderr
    assert "choose one of 1" in result.stderr


def test_a_session_of_which_nothing_was_recorded(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    path = written(here, a_run(hut_settings), closing(CLOSED_S))
    result = report("--journal", path)
    assert result.exit_code == 1
    assert "session 1 has no samples" in result.stderr


@pytest.mark.parametrize(
    ("output", "words"),
    [("no/such/page.html", "cannot write into"), ("folder", "is a folder")],
)
def test_an_output_that_cannot_be(charge_path: Path, here: Path, output: str, words: str) -> None:
    (here / "folder").mkdir()
    result = report("--journal", charge_path, "--output", here / output)
    assert result.exit_code == 1
    assert words in result.stderr
    assert "--output" in result.stderr


def test_the_journal_is_never_overwritten(here: Path, hut_settings: SupervisorSettings) -> None:
    path = ended_charge(here, hut_settings)
    before = path.read_bytes()
    result = report("--journal", path, "--output", path)
    assert result.exit_code == 2
    assert "is the journal itself" in result.output
    assert path.read_bytes() == before


def test_several_sessions_are_compared(here: Path, hut_settings: SupervisorSettings) -> None:
    again = [end(460.0), *(r._replace(mono_s=r.mono_s + 1000) for r in charge_records())]  # type: ignore[call-arg]
    path = written(here, a_run(hut_settings), *charge_records(), *again)
    result = report("1", "2", "1", "--journal", path)
    name = "holdwatch-mountain-hut-storage-bank-2026-05-28-sessions-1-2.html"
    assert (result.exit_code, result.stdout) == (0, f"{name}\n")
    assert "Sessions 1 and 2 compared" in (here / name).read_text()


def test_too_many_sessions(charge_path: Path) -> None:
    assert report(*map(str, range(1, 9)), "--journal", charge_path).exit_code == 2


@pytest.mark.parametrize(
    ("missing", "more", "words"),
    [
        ("matplotlib", [], "a report needs matplotlib"),
        ("jinja2", [], "a report needs jinja2"),
        ("weasyprint", ["--pdf"], "a PDF needs WeasyPrint"),
    ],
)
def test_what_is_missing_is_named(
    charge_path: Path, missing: str, more: list[str], words: str
) -> None:
    code = (
        f"import sys; sys.modules[{missing!r}] = None; from supervisor.cli.main import main; main()"
    )
    command = [sys.executable, "-c", code, "report", "--journal", str(charge_path), *more]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert words in done.stderr
    assert "pip install 'holdwatch[report]'" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["link.html", "pipe.html"])
def test_a_link_or_a_device_is_never_replaced(charge_path: Path, here: Path, name: str) -> None:
    (here / "target.html").write_text("kept")
    (here / "link.html").symlink_to("target.html")
    os.mkfifo(here / "pipe.html")
    result = report("--journal", charge_path, "--output", here / name)
    assert result.exit_code == 1
    assert "is a link or a device" in result.output
    assert (here / "target.html").read_text() == "kept"
    assert (here / "link.html").is_symlink()


def test_a_crash_while_closed_and_a_start_long_after_can_be_reported(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    """No sample within half a minute of the start that finds it: the evidence is wanted most."""
    records = list(charge_records())[:4000]
    back = told(9000.0, "locked_out_at_start", "the last run ended without a word")
    path = written(
        here, a_run(hut_settings), closing(0.0), *records, a_run(hut_settings, mono_s=8990.0), back,
        closing(9100.0, is_new=False), told(9100.0, "closed", "closed, asked by Anna"),
    )  # fmt: skip
    result = report("--journal", path, "--output", "crash.html")
    assert result.exit_code == 0, result.output
    page = (here / "crash.html").read_text()
    assert re.search(r"perhaps closed for \d.* after an end that nobody saw", page)
    assert "some of it could not be counted" in page


def test_the_journal_of_the_one_circuit_is_found(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    for name in ("hut", "barn"):
        (here / "state" / name).mkdir(parents=True)
    ended_charge(here / "state" / "hut", hut_settings)
    assert report("--state-dir", here / "state").exit_code == 0
    ended_charge(here / "state" / "barn", hut_settings)
    result = report("--state-dir", here / "state")
    assert result.exit_code == 2
    assert "several journals" in result.output


# --- what is there already


HTML = "<!doctype html><title>Notes</title>"


@pytest.mark.parametrize("name", ["lockout.json", "journal.sqlite-wal", "notes.html"])
@pytest.mark.parametrize("text", ['{"state": "armed"}', HTML, "%PDF-1.7", ""])
def test_what_is_no_report_is_never_overwritten(
    charge_path: Path, here: Path, name: str, text: str
) -> None:
    (here / name).write_text(text)
    result = report("--journal", charge_path, "--output", here / name)
    assert result.exit_code == 1
    assert "is there and is no report; name another file by --output" in result.output
    assert (here / name).read_text() == text


def test_a_report_of_the_same_session_is_written_anew(charge_path: Path, here: Path) -> None:
    for _ in range(2):
        assert report("--journal", charge_path, "--output", here / "one.html").exit_code == 0


def a_journal(folder: Path, settings: SupervisorSettings, away_s: float = 0.0) -> Path:
    """Two sessions; the numbers begin at 1 in each."""
    folder.mkdir()
    first, second = (
        [
            r._replace(wall_s=r.wall_s + away_s + k * 1000, mono_s=r.mono_s + k * 1000)
            for r in charge_records()
        ]  # type: ignore[call-arg]
        for k in range(2)
    )
    return written(folder, a_run(settings), *first, end(500.0), *second)


def test_a_report_of_another_session_is_never_overwritten(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    """Of another number; of the same number in another journal; of more sessions or fewer."""
    one, other = a_journal(here / "a", hut_settings), a_journal(here / "b", hut_settings, 9.0)
    page = here / "one.html"
    assert report("1", "--journal", one, "--output", page).exit_code == 0
    kept = page.read_bytes()
    for words in (("2", one), ("1", other), ("1", "2", one)):
        result = report(*words[:-1], "--journal", words[-1], "--output", page)
        assert result.exit_code == 1
        assert "is the report of another session; name another file by --output" in result.output
        assert page.read_bytes() == kept
    assert report("1", "2", "--journal", one, "--output", here / "both.html").exit_code == 0
    assert report("2", "1", "--journal", one, "--output", here / "both.html").exit_code == 0


@pytest.mark.skipif(not has_pango(), reason="libpango-1.0-0 and libpangoft2-1.0-0 are missing")
def test_a_pdf_of_another_session_is_never_overwritten(
    here: Path, hut_settings: SupervisorSettings
) -> None:
    journal = a_journal(here / "a", hut_settings)
    for _ in range(2):
        result = report("1", "--journal", journal, "--output", here / "one.html", "--pdf")
        assert result.exit_code == 0, result.output
    (here / "one.html").unlink()
    kept = (here / "one.pdf").read_bytes()
    result = report("2", "--journal", journal, "--output", here / "one.html", "--pdf")
    assert result.exit_code == 1
    assert "one.pdf is there and is the report of another session" in result.output
    assert (here / "one.pdf").read_bytes() == kept


@pytest.mark.parametrize(
    ("bank", "begins"),
    [
        ("Hütte am See / 2", "holdwatch-hutte-am-see-2-2026"),
        ("../../etc", "holdwatch-etc-2026"),
        ("電池", "holdwatch-2026"),
        ("a" * 500, "holdwatch-" + "a" * 40 + "-2026"),
    ],
)
def test_the_name_of_a_file_is_of_plain_letters(
    here: Path, hut_settings: SupervisorSettings, bank: str, begins: str
) -> None:
    named = hut_settings.model_copy(
        update={"bank": hut_settings.bank.model_copy(update={"name": bank})}
    )
    state = here / "state"
    state.mkdir()
    ended_charge(state, named)
    assert report("--state-dir", state).stdout.startswith(begins)
