"""What a browser makes of the page. Needs Chromium and its driver; few, because they are slow."""

import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest
import samples
import uvicorn

from supervisor.status.app import create_app

pytestmark = pytest.mark.skipif(
    shutil.which("chromedriver") is None or shutil.which("chromium") is None,
    reason="chromium and chromedriver are not installed",
)

ARGUMENTS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


class Browser:
    """The few WebDriver calls that are needed."""

    def __init__(self, client: httpx.Client) -> None:
        self._client = client
        options = {"goog:chromeOptions": {"args": ARGUMENTS}, "timeouts": {"script": 15_000}}
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

    def end(self) -> None:
        self._client.delete(self._session)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as s:
        port: int = s.getsockname()[1]
        return port


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    port = free_port()
    command = ["chromedriver", f"--port={port}"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as driver:
        assert driver.stdout is not None
        while "successfully" not in driver.stdout.readline():
            assert driver.poll() is None
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
            browser = Browser(client)
            yield browser
            browser.end()
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


def test_closed(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.SIMULATED) as url:
        browser.visit(url)
        browser.wait_for("Closed")
        assert browser.texts("#front_cell .live, #far_cell .live, #shunt .live") == [
            "3.462",
            "3.455",
            "118.4",
        ]
        assert browser.texts("#margin") == ["0.138\u00a0V below the overvoltage limit."]
        assert browser.texts("#bank") == [samples.CLOSED.bank]
        assert browser.texts("#rules .word") == ["clear"] * len(samples.RULES)
        assert browser.texts("#simulation b") == ["SIMULATION"]
        assert browser.texts("#lockout, #blocked, #uncommissioned") == ["", "", ""]
        assert struck(browser) == {"none"}


def test_locked_out_tells_its_story(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.LOCKED_OUT) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        lockout = samples.LOCKED_OUT.lockout
        assert lockout is not None
        (story,) = browser.texts("#lockout")
        for part in (lockout.reason, lockout.remedy, "3.6074\u00a0V", "3.6000\u00a0V", "34 ms"):
            assert part in story
        assert browser.texts("#simulation") == [""]


def test_failure_to_open_is_not_called_locked_out(browser: Browser, tmp_path: Path) -> None:
    lockout = samples.LOCKED_OUT.lockout
    assert lockout is not None
    failed = replace(samples.LOCKED_OUT, lockout=replace(lockout, failed_to_open=True))
    with served(tmp_path, failed) as url:
        browser.visit(url)
        browser.wait_for("Not seen to open")
        assert "switch the supply off at the mains now" in browser.texts("#meaning")[0]


def test_unfit_says_why(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.UNFIT) as url:
        browser.visit(url)
        browser.wait_for("Unfit")
        assert browser.texts("#blocked-list li") == list(samples.UNFIT.not_closing_because)
        assert browser.texts("#far_cell .live") == ["no value: out of range"]
        assert browser.texts("#margin") == ["Margin to the overvoltage limit: cannot tell."]
        assert samples.UNFIT.uncommissioned in browser.texts("#uncommissioned-reason")[0]


def test_old_data_are_struck_out(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, samples.CLOSED, age_s=3.2) as url:
        browser.visit(url)
        browser.wait_for(samples.CLOSED.bank, "bank")
        assert browser.texts("#state") == ["NO FRESH DATA"]
        assert struck(browser) == {"line-through"}
        assert browser.texts("#front_cell .live") == ["3.462"]
        assert "The last word was “closed”" in browser.texts("#meaning")[0]


def test_page_goes_stale_by_itself_when_the_server_is_gone(
    browser: Browser, tmp_path: Path
) -> None:
    with served(tmp_path, samples.CLOSED) as url:
        browser.visit(url)
        browser.wait_for("Closed")
    browser.run("const real = Date.now; Date.now = () => real() + 4000")  # the device slept
    browser.wait_for("No fresh data")
    assert struck(browser) == {"line-through"}
    assert "no answer from the machine" in browser.texts("#meaning")[0]


@pytest.mark.parametrize("sample", samples.BY_STATE.values(), ids=samples.BY_STATE.keys())
def test_nothing_overflows_a_narrow_screen_with_large_text(
    browser: Browser, tmp_path: Path, sample: samples.Snapshot
) -> None:
    with served(tmp_path, sample) as url:
        browser.visit(url)
        browser.run(
            "document.body.style.width = '360px';document.documentElement.style.fontSize = '200%';"
        )
        browser.wait_for(sample.circuit.capitalize())
        assert browser.run("return document.body.scrollWidth") <= 360
