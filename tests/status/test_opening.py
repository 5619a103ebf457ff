"""Opening from the page: who knows the token may, nobody else, and nothing but open."""

import asyncio
import threading
from pathlib import Path
from typing import Any

import asking
import pytest
import serving
import skipping
from asking import BODY, TOKEN, Page
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.control.requests import OPEN_SOCKET_NAME, Reply, ask, request_sockets
from supervisor.simulator.clock import SimulatedClock
from supervisor.status import opening
from supervisor.status.app import create_app
from supervisor.status.opening import WRONG_LATE_S, Opening


@pytest.fixture
def page(tmp_path: Path) -> Page:
    return Page(tmp_path)


def test_the_right_token_opens(page: Page) -> None:
    answer = page.post()
    assert answer.status_code == 200
    assert answer.json() == {"done": True, "message": "the coil is dropped", "circuit": "open"}
    assert page.asked == 1
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "DELETE", "OPTIONS"])
def test_only_a_post_opens(page: Page, method: str) -> None:
    answer = asking.ask(page.app, "/api/open", method, authorization=f"Bearer {TOKEN}")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "POST"
    assert page.asked == 0


def test_not_set_up_is_said_in_words(tmp_path: Path) -> None:
    answer = Page(tmp_path, token=None).post()
    assert answer.status_code == 403
    assert answer.json()["problem"].startswith("opening from the page is not set up: ")


@pytest.mark.parametrize(
    "given",
    [
        {"token": None},
        {"token": "wrong-" + TOKEN},
        {"token": TOKEN[:-1]},
        {"token": ""},
        {"token": None, "authorization": TOKEN},
        {"token": None, "authorization": f"Basic {TOKEN}"},
        {"token": None, "cookie": f"token={TOKEN}"},
    ],
)
def test_without_the_token_nothing_opens(page: Page, given: dict[str, Any]) -> None:
    answer = page.post(**given)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Bearer")  # RFC 6750, section 3
    assert "token" in answer.json()["problem"]
    assert page.asked == 0


@pytest.mark.parametrize(
    ("headers", "code"),
    [
        ({"origin": "http://localhost:8462"}, 200),
        ({"origin": "http://localhost:8462", "sec_fetch_site": "same-origin"}, 200),
        ({"sec_fetch_site": "none"}, 200),
        ({"origin": "https://example.org"}, 403),
        ({"origin": "http://localhost:9999"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://[:1"}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"origin": "http://localhost:8462", "sec_fetch_site": "cross-site"}, 403),
    ],
)
def test_no_page_of_another_site_opens(page: Page, headers: dict[str, str], code: int) -> None:
    assert page.post(**headers).status_code == code
    assert page.asked == (code == 200)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (b"Origin: http://localhost:8462", b"Origin: https://example.org"),
        (b"Origin: https://example.org", b"Origin: http://localhost:8462"),
        (b"Sec-Fetch-Site: same-origin", b"Sec-Fetch-Site: cross-site"),
        (b"Sec-Fetch-Site: none", b"Sec-Fetch-Site: same-site"),
    ],
)
def test_what_says_both_is_refused(page: Page, first: bytes, second: bytes) -> None:
    """A header twice, by something between that adds its own."""
    head = [
        b"POST /api/open HTTP/1.1", b"Host: localhost:8462", first, second, b"Connection: close",
        b"Authorization: Bearer " + TOKEN.encode(), b"Content-Type: application/json",
        b"Content-Length: %d" % len(BODY),
    ]  # fmt: skip
    with serving.served(page.app) as port:
        answer = serving.rest(serving.client(port, b"\r\n".join([*head, b"", BODY])))
    assert answer.startswith(b"HTTP/1.1 403 ")
    assert page.asked == 0


@pytest.mark.parametrize(
    ("body", "media_type", "code"),
    [
        (BODY, "application/json; charset=utf-8", 200),
        (BODY, "text/plain", 415),
        (BODY, "application/x-www-form-urlencoded", 415),
        (b"", "application/json", 422),
        (b"{}", "application/json", 422),
        (b'{"confirm": "close"}', "application/json", 422),
        (b'{"confirm": "open", "act": "close"}', "application/json", 422),
        (b"[" * 1000, "application/json", 422),
        (b"\xff", "application/json", 422),
        (b" " * 1025, "application/json", 413),
    ],
)
def test_the_body_is_the_confirmation_and_nothing_else(
    page: Page, body: bytes, media_type: str, code: int
) -> None:
    answer = page.post(body=body, content_type=media_type)
    assert answer.status_code == code
    assert page.asked == (code == 200)
    assert code == 200 or answer.json()["problem"]


@settings(max_examples=60)
@given(st.binary(max_size=80), st.text(max_size=40))
def test_nothing_that_comes_is_a_fault_of_ours(
    tmp_path_factory: pytest.TempPathFactory, body: bytes, token: str
) -> None:
    page = Page(tmp_path_factory.getbasetemp())
    sent = token.encode("utf-8", "surrogatepass").decode("latin-1")
    sent = "".join(c for c in sent if c.isprintable())
    answer = page.post(token=None, body=body, authorization=f"Bearer {sent}".strip())
    assert answer.status_code == 401
    assert page.post(body=body).status_code in (200, 422)


@pytest.mark.parametrize(
    "trouble", [FileNotFoundError(2, "No such file"), TimeoutError("timed out"), ValueError("odd")]
)
def test_no_answer_says_what_to_do(page: Page, trouble: Exception) -> None:
    page.reply = trouble
    answer = page.post()
    assert answer.status_code == 503
    assert "open by hand now" in answer.json()["problem"]


# --- wrong tokens


@pytest.mark.parametrize("addresses", [1, 300])
def test_no_number_of_wrong_tokens_locks_out_the_right_one(page: Page, addresses: int) -> None:
    """Behind a proxy or a tunnel all have one address."""
    for number in range(300):
        guesser = f"10.0.{number % addresses}.1"
        assert page.post("wrong-wrong-wrong", address=guesser).status_code == 401
    assert page.post(address="10.0.0.1").status_code == 200
    assert page.asked == 1


@pytest.mark.parametrize(
    ("token", "late_s"), [("wrong-" + TOKEN, WRONG_LATE_S), (TOKEN, 0.0), (None, 0.0)]
)
def test_only_a_wrong_one_is_answered_late(page: Page, token: str | None, late_s: float) -> None:
    """By the clock of the event loop, which jumps."""

    async def took_s() -> float:
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        await page.answer(token)
        return loop.time() - began_s

    assert skipping.run(took_s()) == pytest.approx(late_s)


def test_who_waits_for_a_wrong_answer_holds_nobody_up(page: Page) -> None:
    """A hundred and one that come together are all answered within the one second."""

    async def codes() -> list[int]:
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        tokens = [TOKEN] + 100 * ["wrong-wrong-wrong"]
        answers = await asyncio.gather(*map(page.answer, tokens))
        assert loop.time() - began_s == pytest.approx(WRONG_LATE_S)
        return [answer.status_code for answer in answers]

    assert skipping.run(codes()) == [200] + 100 * [401]


# --- through the daemon's second socket


class Daemon(threading.Thread):
    """Polls both sockets as the loop does, and answers."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.acts: list[str] = []
        self.most_a_cycle = 0
        self._inboxes = request_sockets(folder, SimulatedClock())
        self._ends = threading.Event()

    def run(self) -> None:
        while not self._ends.wait(0.001):
            taken = [request for inbox in self._inboxes for request in inbox.take()]
            self.most_a_cycle = max(self.most_a_cycle, len(taken))
            for request in taken:
                self.acts.append(request.act)
                request.answer(Reply(True, "the coil is dropped", "open"))

    def end(self) -> None:
        self._ends.set()
        self.join()
        for inbox in self._inboxes:
            inbox.close()


@pytest.fixture
def daemon(tmp_path: Path) -> Any:
    daemon = Daemon(tmp_path)
    daemon.start()
    yield daemon
    daemon.end()


def test_the_page_reaches_the_daemon_through_the_socket_for_open(
    tmp_path: Path, daemon: Daemon
) -> None:
    page = Page(tmp_path)
    to_open = Opening(TOKEN, lambda: ask(tmp_path, "open", socket_name=OPEN_SOCKET_NAME))
    page.app = create_app(tmp_path, opening=to_open)
    assert page.post().json()["message"] == "the coil is dropped"
    assert daemon.acts == ["open"]


@pytest.mark.parametrize("act", ["close", "reset", "profile", "silence", "status"])
def test_that_socket_does_nothing_but_open(tmp_path: Path, daemon: Daemon, act: str) -> None:
    reply = ask(tmp_path, act, socket_name=OPEN_SOCKET_NAME)
    assert not reply.done
    assert "one of open" in reply.message
    assert daemon.acts == []


def test_more_at_once_than_there_are_threads_are_all_answered(tmp_path: Path) -> None:
    page = Page(tmp_path)
    answers: list[int] = []
    crowd = [
        threading.Thread(target=lambda: answers.append(page.post().status_code))
        for _ in range(3 * opening.AT_ONCE)
    ]
    for one in crowd:
        one.start()
    for one in crowd:
        one.join()
    assert answers == [200] * len(crowd)
