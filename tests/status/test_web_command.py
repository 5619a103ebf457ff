"""``holdwatch web`` as a process: address, signals, port taken."""

import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import samples
import serving
import yaml
from journals import closing, run, windows, written

from supervisor.cli.common import RUN_DIR, STATE_DIR
from supervisor.cli.web import _journal_of, _usual_state_dir
from supervisor.control.requests import Reply, request_sockets
from supervisor.journal.reader import NoJournal
from supervisor.simulator.clock import SimulatedClock

COMMAND = [sys.executable, "-m", "supervisor", "web"]


@contextmanager
def web(run_dir: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    arguments = [*COMMAND, "--run-dir", str(run_dir), "--port", "0", *options]
    with subprocess.Popen(arguments, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            yield process, process.stderr.readline()
        finally:
            process.kill()


def remaining(process: subprocess.Popen[str]) -> str:
    """What it still says until it ends. ``communicate`` would not have what is read ahead."""
    assert process.stderr is not None
    said = process.stderr.read()
    process.wait(10)
    return said


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serves_and_leaves_clean(tmp_path: Path, number: signal.Signals) -> None:
    samples.publish(tmp_path, samples.CLOSED, age_s=60)
    with web(tmp_path) as (process, line):
        assert line.startswith("Page: http://127.0.0.1:")
        address = line.split()[-1]
        answer = httpx.get(address + "api/status", timeout=10)
        assert answer.status_code == 503
        assert answer.json()["bank"] == samples.CLOSED.bank
        assert "server" not in answer.headers
        assert httpx.get(address, timeout=10).text.startswith("<!DOCTYPE html>")
        assert "holdwatch_up 0.0" in httpx.get(address + "metrics", timeout=10).text
        process.send_signal(number)
        rest = remaining(process)
        assert (process.returncode, rest) == (0, "")


def test_port_taken(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = subprocess.run(
            [*COMMAND, "--run-dir", str(tmp_path), "--port", port],
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
        )
    assert done.returncode == 1
    assert f"127.0.0.1, port {port}: address already in use" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


def test_address_of_another_machine(tmp_path: Path) -> None:
    with web(tmp_path, "--listen", "192.0.2.1") as (process, line):
        process.wait(timeout=10)
        assert process.returncode == 1
        assert "cannot serve the page on 192.0.2.1" in line


def test_unfit_settings(tmp_path: Path) -> None:
    file = tmp_path / "bank.yaml"
    file.write_text("web: {port: yes}\n")
    with web(tmp_path, "--config", str(file)) as (process, line):
        process.wait(timeout=10)
        assert process.returncode == 78
        assert "bank.yaml" in line


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_streams_end_with_it_clean(tmp_path: Path, number: signal.Signals) -> None:
    samples.publish(tmp_path, samples.CLOSED)
    with web(tmp_path) as (process, line):
        port = int(line.strip().rstrip("/").rpartition(":")[2])
        streams = [serving.get(port, "/api/stream") for _ in range(10)]
        for stream in streams:
            serving.head_and_some(stream, b"event: status")
        process.send_signal(number)
        assert all(serving.rest(stream).endswith(b"0\r\n\r\n") for stream in streams)
        rest = remaining(process)
        assert (process.returncode, rest) == (0, "")


def settings_with(folder: Path, hut_path: Path, **web_block: object) -> Path:
    file = folder / "bank.yaml"
    settings = yaml.safe_load(hut_path.read_text("utf-8")) | {"web": web_block}
    file.write_text(json.dumps(settings), "utf-8")
    return file


def test_the_page_opens_by_the_token_of_the_settings(tmp_path: Path, hut_path: Path) -> None:
    token = tmp_path / "token"
    assert subprocess.run([*COMMAND, "--new-token", str(token)], check=False).returncode == 0
    config = settings_with(tmp_path, hut_path, token_file=str(token))
    inboxes = request_sockets(tmp_path, SimulatedClock())
    with web(tmp_path, "--config", str(config)) as (_, line), ThreadPoolExecutor() as threads:
        answer = threads.submit(
            httpx.post,
            line.split()[-1] + "api/open",
            json={"confirm": "open"},
            headers={"Authorization": f"Bearer {token.read_text().strip()}"},
            timeout=10,
        )
        while not answer.done():
            for inbox in inboxes:
                for request in inbox.take():
                    request.answer(Reply(True, f"{request.act}: the coil is dropped", "open"))
        assert answer.result().json() == {
            "done": True, "message": "open: the coil is dropped", "circuit": "open",
        }  # fmt: skip
    for inbox in inboxes:
        inbox.close()


@pytest.mark.parametrize(
    ("block", "words"),
    [
        ({"token_file": "/nowhere/token"}, "token file /nowhere/token cannot be read"),
        ({"certificate_file": "/nowhere/page.pem", "key_file": "/nowhere/page.key"}, "key file"),
    ],
)
def test_a_file_that_does_not_fit_is_told_before_anything_is_served(
    tmp_path: Path, hut_path: Path, block: dict[str, str], words: str
) -> None:
    config = settings_with(tmp_path, hut_path, **block)
    with web(tmp_path, "--config", str(config)) as (process, line):
        rest = remaining(process)
        assert process.returncode == 78
        assert words in line
        assert "what to do" in rest
        assert "Traceback" not in rest


@pytest.mark.parametrize("which", ["certificate_file", "key_file"])
def test_half_of_a_pair_is_not_served_in_the_clear(
    tmp_path: Path, hut_path: Path, which: str
) -> None:
    config = settings_with(tmp_path, hut_path, **{which: "/nowhere/page"})
    with web(tmp_path, "--config", str(config)) as (process, line):
        rest = remaining(process)
        assert process.returncode == 78
        assert f"web.{which}" in line
        assert "is missing" in rest


def test_the_token_in_the_clear_is_warned_of_on_the_network_only(
    tmp_path: Path, hut_path: Path
) -> None:
    token = tmp_path / "token"
    assert subprocess.run([*COMMAND, "--new-token", str(token)], check=False).returncode == 0
    config = str(settings_with(tmp_path, hut_path, token_file=str(token)))
    for address, warns in (("127.0.0.1", False), ("0.0.0.0", True)):
        with web(tmp_path, "--config", config, "--listen", address) as (process, line):
            port = int(line.strip().rstrip("/").rpartition(":")[2])
            with serving.get(port, "/api/sessions") as one:
                serving.head_and_some(one, b"}")
            process.send_signal(signal.SIGTERM)
            rest = remaining(process)
            assert ("anybody on the network can read the token" in rest) is warns


def test_the_record_is_that_of_the_state_folder(tmp_path: Path) -> None:
    written(tmp_path, run(), closing(0.0), *windows(0.0, 20.0))
    with web(tmp_path, "--state-dir", str(tmp_path)) as (_, line):
        answer = httpx.get(line.split()[-1] + "api/history", timeout=10)
        assert answer.json()["bank"] == "Hut bank"


def test_another_run_folder_shows_no_record_by_itself(tmp_path: Path) -> None:
    """It may be a simulation's, and the usual state folder a real bank's."""
    with web(tmp_path) as (_, line):
        answer = httpx.get(line.split()[-1] + "api/history", timeout=10)
        assert answer.status_code == 404
        assert "--state-dir" in answer.json()["problem"]


@pytest.mark.parametrize(
    ("run_dir", "state_dir"),
    [
        (RUN_DIR, STATE_DIR),
        (RUN_DIR / "hut-bank", STATE_DIR / "hut-bank"),
        (Path("/somewhere/run"), None),
        (RUN_DIR / "hut" / "bank", None),
    ],
)
def test_where_the_record_of_a_circuit_is(run_dir: Path, state_dir: Path | None) -> None:
    assert _usual_state_dir(run_dir) == state_dir


def test_several_records_are_not_chosen_from(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        written(tmp_path / name, run())
    find = _journal_of(tmp_path)
    assert find is not None
    with pytest.raises(NoJournal, match="several journals"):
        find()


def test_nothing_that_acts_is_loaded() -> None:
    """The web process can reach no device and knows no rule: it reads files, and asks to open."""
    code = (
        "import sys, pathlib, supervisor.cli.web as web, supervisor.status.app;"
        "web._journal_of(pathlib.Path('/nowhere')); import supervisor.control.requests;"
        "print(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    rooms = {name.split(".")[1] for name in loaded if name.startswith("supervisor.")}
    assert rooms <= {"cli", "control", "devices", "journal", "settings", "snapshot", "status"}
    for room, parts in {
        "devices": {"errors", "protocols"},
        "control": {"aside", "caller", "requests"},
    }.items():
        inside = {name for name in loaded if name.startswith(f"supervisor.{room}.")}
        assert inside <= {f"supervisor.{room}.{part}" for part in parts}
    assert not loaded & {"smbus2", "gpiozero", "lgpio", "adafruit_ads1x15", "numpy"}


def test_what_reads_settings_is_not_kept_by_the_page(tmp_path: Path, hut_path: Path) -> None:
    """It takes a third of its memory. Nor is what only a schema takes."""
    code = (
        "import sys, pathlib; from supervisor.cli import web, web_settings;"
        "told = web_settings.web_settings(pathlib.Path(sys.argv[1]));"
        "from supervisor.status import app, server; app.create_app(pathlib.Path('.'));"
        "print(told.port, *sys.modules)"
    )
    config = settings_with(tmp_path, hut_path, port=8999)
    command = [sys.executable, "-c", code, str(config)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    port, *loaded = done.stdout.split()
    assert port == "8999"
    assert not {"pydantic", "yaml", "numpy", "rich", "supervisor.settings.model"} & set(loaded)
