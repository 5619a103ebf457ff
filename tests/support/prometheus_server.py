"""Debian's real Prometheus with the shipped configuration, and who is told by it."""

import json
import re
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, TypeVar

import httpx
import yaml
from prometheus_tools import CONFIG

PATIENCE_S = 120.0  # with a busy machine; what is waited for comes within half a minute
T = TypeVar("T")
LISTENS = re.compile(r'"Listening on" address=(\S+)')


def until(what: str, look: Callable[[], T]) -> T:
    """What ``look`` gives, as soon as it gives something; AssertionError when it never does."""
    end_s = time.monotonic() + PATIENCE_S
    while not (found := look()):
        assert time.monotonic() < end_s, f"never: {what}"
        time.sleep(0.2)
    return found


class Told:
    """Receives alerts as any receiver of Prometheus does: POST /api/v2/alerts."""

    def __init__(self) -> None:
        self.alerts: list[dict[str, Any]] = []
        told = self.alerts

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                told.extend(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"127.0.0.1:{self._server.server_port}"
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._thread.start()

    def of(self, name: str) -> dict[str, str]:
        """Labels of the newest alert of this name; empty while there is none."""
        named = (a["labels"] for a in reversed(self.alerts) if a["labels"]["alertname"] == name)
        return next(named, {})

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class Server:
    """Asked through its HTTP interface."""

    def __init__(self, client: httpx.Client) -> None:
        self._client = client

    def value(self, expression: str) -> float | None:
        """Of the only series; None without one."""
        found = self._ask("query", query=expression)["result"]
        assert len(found) <= 1, found
        return float(found[0]["value"][1]) if found else None

    def firing(self, name: str) -> dict[str, Any] | None:
        alerts = self._ask("alerts")["alerts"]
        named = (a for a in alerts if a["labels"]["alertname"] == name and a["state"] == "firing")
        return next(named, None)

    def kind(self, metric: str) -> str:
        """As the page told it; the older text format knows no state sets."""
        (told,) = self._ask("metadata", metric=metric)[metric]
        return str(told["type"])

    def _ask(self, what: str, **parameters: str) -> dict[str, Any]:
        answer = self._client.get(what, params=parameters)
        answer.raise_for_status()
        data: dict[str, Any] = answer.json()["data"]
        return data


@contextmanager
def prometheus(folder: Path, bench: str, circuit: str, told: Told) -> Iterator[Server]:
    """The shipped configuration on one bench: rules, discovery, relabelling, all but the places."""
    config = yaml.safe_load((CONFIG / "prometheus.yaml").read_text("utf-8"))
    config["rule_files"] = [str(CONFIG / name) for name in config["rule_files"]]
    (job,) = config["scrape_configs"]
    job |= {"scrape_interval": "1s", "scrape_timeout": "1s"}
    benches = folder / job["file_sd_configs"][0]["files"][0]
    benches.write_text(yaml.safe_dump([{"targets": [bench], "labels": {"circuit": circuit}}]))
    config["alerting"]["alertmanagers"] = [{"static_configs": [{"targets": [told.address]}]}]
    file, log = folder / "prometheus.yaml", folder / "prometheus.log"
    file.write_text(yaml.safe_dump(config), "utf-8")
    command = [
        "prometheus", f"--config.file={file}", f"--storage.tsdb.path={folder / 'data'}",
        "--web.listen-address=127.0.0.1:0",
    ]  # fmt: skip
    with log.open("wb") as out, subprocess.Popen(command, stderr=out, stdout=out) as process:
        try:
            listens = until("it listens", lambda: LISTENS.search(log.read_text("utf-8")))
            asked = f"http://{listens[1]}/api/v1/"
            with httpx.Client(base_url=asked, timeout=PATIENCE_S) as client:
                yield Server(client)
        finally:
            process.kill()
