"""What the page costs: lateness of the loop, memory and bytes. Prints; asserts nothing.

A simulated daemon in real time and ``holdwatch web`` beside it: alone, with one phone, with 50
streams, a scraper, trends and a slow-loris client at once, and with a flood at the open socket.
Then one by TLS alone, with clients that never shake hands.
"""

import json
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import yaml
from patient import patient_scenario
from report_speed import a_charge

from supervisor.journal.reader import Reader
from supervisor.snapshot import Snapshot
from supervisor.status.history import Asked, history
from supervisor.status.status_file import read

EXAMPLE = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
HOLDWATCH = [sys.executable, "-m", "supervisor"]
SPELL_S = 20.0
FLOOD_S, FLOOD_A_SECOND = 4.0, 400
UNIT = Path(__file__).parents[2] / "systemd" / "holdwatch-web@.service"
STREAMS, STREAMS_OF_ONE = 50, 17  # from addresses of their own: one has 20 connections at most
GET = "GET {} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"


@contextmanager
def started(*command: str, ready: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    with subprocess.Popen([*HOLDWATCH, *command], stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr
        try:
            for line in process.stderr:
                if ready in line:
                    threading.Thread(target=process.stderr.read, daemon=True).start()
                    yield process, line
                    return
            raise SystemExit(f"holdwatch {' '.join(command)} did not start")
        finally:
            process.terminate()
            process.wait()


class Load:
    """Threads of clients, ended together; ``received`` counts the bytes of the streams."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.ends = threading.Event()
        self.received = 0
        self.threads: list[threading.Thread] = []

    def begin(self, act: Callable[..., None], *values: object) -> None:
        self.threads.append(threading.Thread(target=self._until_the_end, args=(act, *values)))
        self.threads[-1].start()

    def end(self) -> None:
        self.ends.set()
        for thread in self.threads:
            thread.join()

    def _until_the_end(self, act: Callable[..., None], *values: object) -> None:
        while not self.ends.is_set():
            try:
                act(*values)
            except OSError:
                self.ends.wait(0.1)

    def _connect(self, address: str) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), 2, (address, 0))

    def stream(self, address: str) -> None:
        with self._connect(address) as client:
            client.sendall(GET.format("/api/stream").encode())
            while not self.ends.is_set() and (received := client.recv(65536)):
                self.received += len(received)

    def ask(self, path: str, every_s: float) -> None:
        with self._connect("127.0.0.9") as client:
            client.sendall(GET.format(path).encode())
            while client.recv(65536):
                pass
        self.ends.wait(every_s)

    def slow_loris(self) -> None:
        clients = [self._connect("127.0.0.66") for _ in range(20)]
        for _ in range(20):
            for client in clients:
                client.sendall(b"G")
            self.ends.wait(0.5)


def flood(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as client:
        client.settimeout(2)
        client.connect(str(path))
        client.sendall(b'{"act": "open"}\n' * 100 + b"garbage\n" * 100)
        client.recv(65536)


def processor_s(process: subprocess.Popen[str]) -> float:
    """proc(5), stat: utime and stime, fields 14 and 15."""
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100


def resident_mib(process: subprocess.Popen[str], which: str = "VmRSS") -> float:
    """proc(5), status; VmHWM is the most it ever was."""
    for line in Path(f"/proc/{process.pid}/status").read_text().splitlines():
        if line.startswith(f"{which}:"):
            return int(line.split()[1]) / 1024
    raise SystemExit(f"no {which}")


def snapshot(run_dir: Path) -> Snapshot:
    found, problem = read(run_dir)
    if found is None:
        raise SystemExit(problem)
    return found


def nobody(_load: Load, _run_dir: Path) -> None: ...


def one_phone(load: Load, _run_dir: Path) -> None:
    load.begin(load.stream, "127.0.0.1")


def crowd(load: Load, _run_dir: Path) -> None:
    for number in range(STREAMS):
        load.begin(load.stream, f"127.0.0.{10 + number // STREAMS_OF_ONE}")
    load.begin(load.ask, "/metrics", 1.0)
    load.begin(load.ask, "/api/history?minutes=10", 1.0)
    load.begin(load.slow_loris)


def at_the_open_socket(load: Load, run_dir: Path) -> None:
    for _ in range(4):
        load.begin(flood, run_dir / "open.sock")


SPELLS = {
    "nobody looks": nobody,
    "one phone": one_phone,
    "50 streams, scraper, trends, slow loris": crowd,
    "a flood at the open socket by four": at_the_open_socket,
}


def spell(name: str, begin: Callable[[Load, Path], None], folder: Path) -> None:
    """A daemon and a page of its own, so that the worst is the worst of this."""
    run_dir, state_dir, scenario = folder / "run", folder / "state", folder / "scenario.yaml"
    scenario.write_text(patient_scenario(seconds=3600), "utf-8")
    where = ("--run-dir", str(run_dir), "--state-dir", str(state_dir))
    with (
        started("run", "--simulate", str(scenario), *where, ready="supervising") as (daemon, _),
        started("web", *where, "--port", "0", ready="Page:") as (page, line),
    ):
        time.sleep(2)
        load = Load(int(line.strip().rstrip("/").rpartition(":")[2]))
        begin(load, run_dir)
        before, spent_s = snapshot(run_dir), (processor_s(daemon), processor_s(page))
        began_s = time.monotonic()
        time.sleep(SPELL_S)
        took_s, after = time.monotonic() - began_s, snapshot(run_dir)
        late = after.counters.deadline_misses - before.counters.deadline_misses
        cycles = after.counters.cycles - before.counters.cycles
        shares = (processor_s(daemon) - spent_s[0], processor_s(page) - spent_s[1])
        print(
            f"{name:<40} {cycles / took_s:5.1f} cycles/s, {late:3} late, the worst by "
            f"{1000 * after.counters.worst_late_s:5.1f} ms; processor: daemon "
            f"{shares[0] / took_s:4.1%}, page {shares[1] / took_s:4.1%}, "
            f"{resident_mib(page):.0f} MiB; streams {load.received / took_s / 1000:.0f} kB/s"
        )
        load.end()


def whole() -> None:
    for name, begin in SPELLS.items():
        with tempfile.TemporaryDirectory() as folder:
            spell(name, begin, Path(folder))


def trends() -> None:
    with tempfile.TemporaryDirectory() as name:
        path = a_charge(Path(name))
        for minutes in (10, 120, 24 * 60, None):
            times_s = []
            for _ in range(20):
                began_s = time.process_time()
                with Reader(path) as reader:
                    answer = json.dumps(history(reader, Asked(minutes, None, 360)).as_dict())
                times_s.append(time.process_time() - began_s)
            half_ms, worst_ms = 1000 * sorted(times_s)[10], 1000 * max(times_s)
            what = "whole" if minutes is None else f"{minutes} min"
            print(
                f"trends of {what} out of 48 h: {half_ms:.1f} ms of the processor, "
                f"worst {worst_ms:.1f}; {len(answer) / 1000:.0f} kB"
            )


def tls_settings(folder: Path) -> Path:
    """The example's, with a certificate that signs itself."""
    certificate, key, settings = (folder / name for name in ("page.pem", "page.key", "bank.yaml"))
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-days", "2", "-subj", "/CN=localhost", "-nodes", "-keyout", key, "-out", certificate],
        check=True,
        capture_output=True,
    )  # fmt: skip
    key.chmod(0o600)
    web = {"certificate_file": str(certificate), "key_file": str(key)}
    text = yaml.safe_load(EXAMPLE.read_text("utf-8")) | {"web": web}
    settings.write_text(json.dumps(text), "utf-8")
    return settings


def hung_handshakes(name: str, addresses: int, folder: Path) -> None:
    """Clients that connect and then say nothing, in a number that no bound of the page knows."""
    where = ("--run-dir", str(folder), "--config", str(tls_settings(folder)))
    with started("web", *where, "--port", "0", ready="Page:") as (page, line), ExitStack() as held:
        port = int(line.strip().rstrip("/").rpartition(":")[2])
        before_mib, began_s, count = resident_mib(page), time.monotonic(), 0
        while (spent_s := time.monotonic() - began_s) < FLOOD_S:
            if count >= spent_s * FLOOD_A_SECOND:
                time.sleep(0.001)
                continue
            count += 1
            source = (f"127.0.0.{10 + count % addresses}", 0)
            with suppress(OSError):
                client = socket.create_connection(("127.0.0.1", port), 2, source)
                held.enter_context(client)
        (most,) = [at for at in UNIT.read_text("utf-8").splitlines() if at.startswith("MemoryMax")]
        print(
            f"{count} hung handshakes {name}: {before_mib:.0f} MiB before, "
            f"{resident_mib(page, 'VmHWM'):.0f} at the most; the unit has {most}"
        )


def tls() -> None:
    for name, addresses in {"from one address": 1, "from 40 addresses": 40}.items():
        with tempfile.TemporaryDirectory() as folder:
            hung_handshakes(name, addresses, Path(folder))


if __name__ == "__main__":
    trends()
    whole()
    tls()
