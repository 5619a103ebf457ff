"""A bench in real time, its page, Debian's Prometheus and a receiver: who is told of what."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from patient import patient_scenario
from prometheus_server import Told, prometheus, until
from prometheus_tools import needs_prometheus

HOLDWATCH = [sys.executable, "-m", "supervisor"]


class Bench:
    """``holdwatch run --simulate`` and ``holdwatch web`` over one run directory."""

    def __init__(self, folder: Path, daemon: subprocess.Popen[bytes], page: str) -> None:
        self._run_dir = folder / "run"
        self._daemon = daemon
        self.page = page

    def insist(self, *command: str) -> None:
        """Ask until it is done, as an operator would."""
        asks = [*HOLDWATCH, *command, "--run-dir", str(self._run_dir)]
        until(
            " ".join(command),
            lambda: subprocess.run(asks, capture_output=True, check=False).returncode == 0,
        )

    def status(self) -> dict[str, object]:
        told: dict[str, object] = json.loads((self._run_dir / "status.json").read_text("utf-8"))
        return told

    def signal(self, number: signal.Signals) -> None:
        os.kill(self._daemon.pid, number)


@contextmanager
def bench(folder: Path) -> Iterator[Bench]:
    scenario, run_dir = folder / "scenario.yaml", str(folder / "run")
    scenario.write_text(patient_scenario(), "utf-8")
    runs = ["run", "--simulate", str(scenario), "--state-dir", str(folder / "state")]
    shows = ["web", "--port", "0"]
    with (
        (folder / "daemon.log").open("wb") as log,
        subprocess.Popen([*HOLDWATCH, *runs, "--run-dir", run_dir], stderr=log) as daemon,
        subprocess.Popen(
            [*HOLDWATCH, *shows, "--run-dir", run_dir], stderr=subprocess.PIPE, text=True
        ) as web,
    ):
        try:
            assert web.stderr
            address = web.stderr.readline().split("http://")[1].strip().rstrip("/")
            yield Bench(folder, daemon, address)
        finally:
            daemon.kill()
            web.kill()


@pytest.fixture
def told() -> Iterator[Told]:
    receiver = Told()
    yield receiver
    receiver.close()


@needs_prometheus
def test_a_trip_and_a_death_are_told(tmp_path: Path, told: Told) -> None:
    with (
        bench(tmp_path) as hut,
        prometheus(tmp_path, hut.page, "hut-bank", told) as server,
    ):
        hut.insist("close")
        until("closed is seen", lambda: server.value("holdwatch_coil_on"))
        assert not told.of("CircuitTripped")
        assert server.kind("holdwatch_circuit_state") == "stateset"  # so it asked for OpenMetrics

        hut.signal(signal.SIGSTOP)  # the loop stands still, as on a machine that hangs
        until("silence is seen", lambda: server.value("holdwatch_up") == 0)
        hut.signal(signal.SIGCONT)
        trip = until("CircuitTripped", lambda: server.firing("CircuitTripped"))
        lockout = hut.status()["lockout"]
        assert isinstance(lockout, dict)
        assert trip["labels"]["tripped_by"] == lockout["tripped_by"]
        assert trip["labels"] | {"circuit": "hut-bank", "kind": "simulated"} == trip["labels"]
        assert f"locked out by {lockout['tripped_by']}" in trip["annotations"]["description"]
        # Whoever is called is told that it is practice.
        assert (
            until("told of the trip", lambda: told.of("CircuitTripped"))["severity"] == "practice"
        )
        until("the overview", lambda: server.value("circuit:holdwatch_up:min") == 1)

        hut.insist("reset", "--reason", "it stood still for a test")
        hut.insist("close")
        until("closed again", lambda: server.value("holdwatch_coil_on"))
        until("the trip is over", lambda: server.firing("CircuitTripped") is None)

        hut.signal(signal.SIGKILL)
        dead = until("SupervisorDead", lambda: server.firing("SupervisorDead"))
        assert dead["labels"]["kind"] == "simulated"
        assert "has said nothing for" in dead["annotations"]["description"]
        assert until("told of it", lambda: told.of("SupervisorDead"))["circuit"] == "hut-bank"
        assert server.value("holdwatch_coil_on") is None  # nothing that is old
