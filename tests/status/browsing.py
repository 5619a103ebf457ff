"""A real browser on a served page, for the tests of what it makes of it."""

import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import samples
import uvicorn

from supervisor.status.app import create_app

ARGUMENTS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


class Browser:
    """The few WebDriver calls that are needed."""

    def __init__(self, client: httpx.Client) -> None:
        self._client = client
        options = {
            "goog:chromeOptions": {"args": ARGUMENTS},
            "goog:loggingPrefs": {"browser": "ALL"},
            "timeouts": {"script": 15_000},
        }
        answer = self._post("/session", {"capabilities": {"alwaysMatch": options}})
        self._session = f"/session/{answer['sessionId']}"

    def _post(self, path: str, body: dict[str, Any]) -> Any:
        answer = self._client.post(path, json=body)
        assert answer.status_code == 200, answer.text
        return answer.json()["value"]

    def visit(self, url: str) -> None:
        self._post(self._session + "/url", {"url": url})

    def run(self, script: str) -> Any:
        return self._post(self._session + "/execute/sync", {"script": script, "args": []})

    def wait_for(self, word: str, place: str = "state") -> None:
        """Until this place reads so; the driver's script timeout ends a vain wait."""
        script = """
            const [word, place, done] = arguments, node = document.getElementById(place);
            const look = () => node.textContent === word && done(true);
            new MutationObserver(look).observe(node, {childList: true});
            look();"""
        self._post(self._session + "/execute/async", {"script": script, "args": [word, place]})

    def texts(self, selector: str) -> list[str]:
        """The text of all that match, empty where hidden."""
        found = self.run(
            f"return [...document.querySelectorAll('{selector}')]"
            ".map(n => n.checkVisibility() ? n.innerText : '')"
        )
        assert isinstance(found, list)
        return found

    def complaints(self) -> list[str]:
        """What the console told since the last time: errors, and breaches of the page's policy."""
        log = self._post(self._session + "/se/log", {"type": "browser"})
        return [entry["message"] for entry in log]

    def end(self) -> None:
        self._client.delete(self._session)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as s:
        port: int = s.getsockname()[1]
        return port


@contextmanager
def browser() -> Iterator[Browser]:
    port = free_port()
    command = ["chromedriver", f"--port={port}"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as driver:
        assert driver.stdout is not None
        while "successfully" not in driver.stdout.readline():
            assert driver.poll() is None
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
            opened = Browser(client)
            yield opened
            opened.end()
        driver.terminate()


@contextmanager
def served(run_dir: Path, snapshot: samples.Snapshot, age_s: float = 0.5) -> Iterator[str]:
    """The page over a snapshot that keeps this age."""
    written = samples.publish(run_dir, snapshot)
    app = create_app(run_dir, now_s=lambda: written.published_at_s + age_s)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        config = uvicorn.Config(app, ws="none", lifespan="off", log_level="error")
        config.timeout_graceful_shutdown = 1
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}/"
        finally:
            server.should_exit = True
            thread.join()


def struck(browser: Browser) -> set[str]:
    """Text decorations of all present values."""
    found = browser.run(
        "return [...document.querySelectorAll('.live')]"
        ".map(n => getComputedStyle(n).textDecorationLine)"
    )
    return set(found)
