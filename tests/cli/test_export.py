"""``holdwatch export``: files where they are asked for, and words where they cannot be."""

import builtins
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from journals import closing, end, event, run, windows, written
from pyarrow import parquet

from supervisor.cli.main import main
from supervisor.journal.pruning import thin
from supervisor.journal.store import Store

CSV = [f"holdwatch-session-1-SIMULATED-{name}.csv" for name in (
    "samples-1s", "events", "progress", "temperatures"
)]  # fmt: skip


@pytest.fixture
def state(tmp_path: Path) -> Path:
    folder = tmp_path / "state"
    folder.mkdir()
    written(folder, run(), closing(0.0), *windows(0.0, 100.0), event(100.0), end(200.0))
    return folder


def exported(state: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["export", *arguments, "--state-dir", str(state)])


def test_it_names_its_files_on_stdout(state: Path, tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    result = exported(state, "1", "--output", str(out))
    assert result.exit_code == 0, result.output
    assert result.stdout.split() == [str(out / name) for name in (*CSV, "datapackage.json")]
    assert sorted(path.name for path in out.iterdir()) == sorted([*CSV, "datapackage.json"])
    assert "101 rows in holdwatch-session-1-SIMULATED-samples-1s.csv" in result.stderr
    assert "SIMULATED: no real bank was charged" in result.stderr
    assert len((out / CSV[0]).read_text().splitlines()) == 102


def test_left_out_the_folder_has_the_sessions_name(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert exported(state, "1").exit_code == 0
    assert (tmp_path / "holdwatch-session-1-SIMULATED" / "datapackage.json").exists()


def test_parquet(state: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = exported(state, "1", "--format", "parquet", "--span", "60", "--output", str(out))
    assert result.exit_code == 0, result.output
    samples = parquet.read_table(out / "holdwatch-session-1-SIMULATED-samples-60s.parquet")
    assert samples["windows"].to_pylist() == [599, 401]
    formats = {r["format"] for r in json.loads((out / "datapackage.json").read_text())["resources"]}
    assert formats == {"parquet"}


def test_parquet_without_its_package_says_what_to_install(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *arguments: Any, **keywords: Any) -> Any:
        if name == "supervisor.journal.parquet":
            raise ModuleNotFoundError("No module named 'pyarrow'", name="pyarrow")
        return real(name, *arguments, **keywords)

    monkeypatch.setattr(builtins, "__import__", without)
    result = exported(state, "1", "--format", "parquet", "--output", str(tmp_path / "out"))
    assert result.exit_code == 1
    assert "pip install 'holdwatch[parquet]'" in result.stderr
    assert not (tmp_path / "out").exists()


def test_what_is_there_is_not_overwritten(state: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    result = exported(state, "1", "--output", str(out))
    assert result.exit_code == 1
    assert "nothing is overwritten" in result.stderr
    assert [path.name for path in out.iterdir()] == ["mine.txt"]
    assert exported(state, "1", "--output", str(out / "mine.txt")).exit_code == 1
    assert (out / "mine.txt").read_text() == "mine"


def test_an_export_that_fails_leaves_nothing(state: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = exported(state, "1", "--output", str(tmp_path / "file" / "out"))
    assert result.exit_code == 1
    assert "cannot write" in result.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "state"]


def test_no_such_session_says_which_there_are(state: Path, tmp_path: Path) -> None:
    result = exported(state, "7", "--output", str(tmp_path / "out"))
    assert (result.exit_code, result.stdout) == (1, "")
    assert "there is no session 7" in result.stderr
    assert "choose one of 1\n" in result.stderr


def test_no_journal_says_where_it_was_looked_for(tmp_path: Path) -> None:
    result = exported(tmp_path, "1")
    assert result.exit_code == 1
    assert f"there is no journal {tmp_path / 'journal.sqlite'}" in result.stderr
    assert "--journal FILE" in result.stderr


def test_a_file_that_is_no_journal_is_told_as_such(tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    other.write_bytes(b"something else" * 100)
    result = CliRunner().invoke(main, ["export", "1", "--journal", str(other)])
    assert result.exit_code == 1
    assert str(other) in result.stderr


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_damage_inside_is_told_and_never_a_traceback(tmp_path: Path, share: float) -> None:
    """What can be read is exported; or nothing is, and no folder is left."""
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 3000.0), event(3000.0), end(4000.0))
    with path.open("r+b") as file:
        file.seek(int(path.stat().st_size * share) // 4096 * 4096)
        file.write(b"\xff" * 4096)
    out = tmp_path / "out"
    result = exported(tmp_path, "1", "--output", str(out))
    assert "damaged" in result.stderr
    assert "what to do: keep a copy of the file" in result.stderr
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert (result.exit_code == 0) is (out / "datapackage.json").exists()
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_dir()) in ([], ["out"])


@pytest.mark.parametrize(("span", "why"), [("1", "take --span 60"), ("0.1", "take --span 1")])
def test_spans_that_are_not_there_are_told(tmp_path: Path, span: str, why: str) -> None:
    path = written(tmp_path, run(), closing(0.0), *windows(0.0, 100.0), end(200.0))
    store = Store(path)
    store.connect()
    thin(store.db, 1)
    store.disconnect()
    result = exported(tmp_path, "1", "--span", span, "--output", str(tmp_path / "out"))
    assert result.exit_code == 0
    assert why in result.stderr
