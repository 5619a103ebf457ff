"""A real browser, and how it is told to be a phone."""

import base64
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx

ARGUMENTS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
# Width and height in CSS pixels: a small phone, a tablet upright, a laptop.
SIZES = {"phone": (360, 800), "tablet": (768, 1024), "desktop": (1280, 800)}
SCHEMES = ("light", "dark")
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # W3C WebDriver, section 12
ENTER, TAB, SPACE = "\ue007", "\ue004", " "  # the same, section 17.4.2


class Browser:
    """The few WebDriver calls that are needed."""

    def __init__(self, client: httpx.Client) -> None:
        self._client = client
        self._added: list[str] = []
        options = {
            "goog:chromeOptions": {"args": ARGUMENTS},
            "goog:loggingPrefs": {"browser": "ALL"},
            "timeouts": {"script": 45_000},
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
        self.run_async(script, word, place)

    def wait_until(self, condition: str) -> None:
        """Until this expression is true. Asked by a timer: a busy machine may draw no frame."""
        script = f"""
            const [done] = arguments;
            const look = () => ({condition}) ? done(true) : setTimeout(look, 20);
            look();"""
        self.run_async(script)

    def run_async(self, script: str, *args: Any) -> Any:
        """The script's last argument ends it, with what it is called with."""
        body = {"script": script, "args": args}
        return self._post(self._session + "/execute/async", body)

    def command(self, name: str, **parameters: Any) -> Any:
        """One of the Chrome DevTools protocol."""
        body = {"cmd": name, "params": parameters}
        return self._post(self._session + "/goog/cdp/execute", body)

    def be(self, size: str = "desktop", scheme: str = "light", **features: str) -> None:
        """A device of this size and colour scheme, with further media features."""
        width, height = SIZES[size]
        self.command(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=size != "desktop",
        )  # fmt: skip
        told = {"prefers-color-scheme": scheme} | {
            name.replace("_", "-"): value for name, value in features.items()
        }
        told_as = [{"name": name, "value": value} for name, value in told.items()]
        self.command("Emulation.setEmulatedMedia", features=told_as)

    def before_each_page(self, script: str) -> None:
        """Runs it in every page of this test before the page's own."""
        found = self.command("Page.addScriptToEvaluateOnNewDocument", source=script)
        self._added.append(found["identifier"])

    def be_itself(self) -> None:
        for identifier in self._added:
            self.command("Page.removeScriptToEvaluateOnNewDocument", identifier=identifier)
        self._added.clear()
        self.command("Emulation.clearDeviceMetricsOverride")
        self.command("Emulation.setEmulatedMedia", features=[])

    def click(self, selector: str) -> None:
        """As a finger does: where the element is, when nothing lies over it."""
        self.run(f"document.querySelector(`{selector}`).scrollIntoView({{block: 'center'}})")
        body = {"using": "css selector", "value": selector}
        found = self._post(self._session + "/element", body)[ELEMENT]
        self._post(f"{self._session}/element/{found}/click", {})

    def press(self, *keys: str) -> None:
        strokes = [{"type": t, "value": k} for k in keys for t in ("keyDown", "keyUp")]
        actions = [{"type": "key", "id": "keys", "actions": strokes}]
        self._post(self._session + "/actions", {"actions": actions})

    def picture(self, whole: bool = False) -> bytes:
        """PNG of what is in view, or of the whole page."""
        found = self.command("Page.captureScreenshot", captureBeyondViewport=whole)
        return base64.b64decode(found["data"])

    def texts(self, selector: str) -> list[str]:
        """The text of all that match, empty where hidden."""
        found = self.run(
            f"return [...document.querySelectorAll('{selector}')]"
            ".map(n => n.checkVisibility() ? n.innerText : '')"
        )
        assert isinstance(found, list)
        return found

    def complaints(self, url: str) -> list[str]:
        """What the console told on this page: errors, and breaches of the page's policy."""
        log = self._post(self._session + "/se/log", {"type": "browser"})
        return [entry["message"] for entry in log if url in entry["message"]]

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


def struck(browser: Browser) -> set[str]:
    """Text decorations of all present values."""
    found = browser.run(
        "return [...document.querySelectorAll('.live')]"
        ".map(n => getComputedStyle(n).textDecorationLine)"
    )
    return set(found)
