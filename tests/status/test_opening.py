"""Opening from the page: who knows the token may, nobody else, and nothing but open."""

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import asking
import pytest
from asking import BODY, TOKEN, Page
from hypothesis import given, settings
from hypothesis import strategies as st

from supervisor.control.requests import OPEN_SOCKET_NAME, Reply, ask, request_sockets
from supervisor.simulator.clock import SimulatedClock
from supervisor.status import opening
from supervisor.status.app import create_app
from supervisor.status.opening import Opening
from supervisor.status.wrong_tokens import MOST_OF_ALL, MOST_OF_ONE, WITHIN_S, WrongTokens


@dataclass
class Now:
    s: float = 0.0

    def __call__(self) -> float:
        return self.s


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


def test_few_wrong_tokens_a_minute_from_one_address(page: Page) -> None:
    codes = [page.post("wrong-wrong-wrong").status_code for _ in range(MOST_OF_ONE + 1)]
    assert codes == [401] * MOST_OF_ONE + [429]
    answer = page.post()  # even the right one has to wait now
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["retry-after"]) <= WITHIN_S
    assert page.asked == 0


def test_strangers_lock_nobody_out(page: Page) -> None:
    for number in range(3 * MOST_OF_ALL):
        page.post("wrong-wrong-wrong", address=f"10.0.0.{number}")
    strangers = page.post("wrong-wrong-wrong", address="10.0.1.1")
    assert strangers.status_code == 429
    assert page.post(address="192.168.1.77").status_code == 200


def test_a_minute_later_one_is_listened_to_again() -> None:
    now = Now()
    wrong = WrongTokens(now)
    for _ in range(MOST_OF_ONE):
        assert wrong.wait_s("a") == 0
        wrong.note("a")
        now.s += 1.0
    assert wrong.wait_s("a") == pytest.approx(WITHIN_S - MOST_OF_ONE, abs=1)
    assert wrong.wait_s("b") == 0
    now.s = WITHIN_S + 0.5
    assert wrong.wait_s("a") == 0


@given(st.lists(st.tuples(st.sampled_from("abcdefgh"), st.floats(0, 5)), max_size=200))
def test_no_address_and_not_all_together_are_heard_more_often(
    tries: list[tuple[str, float]],
) -> None:
    """But once each: whoever sent no wrong token yet is heard."""
    now = Now()
    wrong, heard = WrongTokens(now), []
    for address, later_s in tries:
        now.s += later_s
        if wrong.wait_s(address) == 0:
            wrong.note(address)
            heard.append((now.s, address))
    for at_s, address in heard:
        within = [a for s, a in heard if at_s <= s < at_s + WITHIN_S]
        assert within.count(address) <= MOST_OF_ONE
        assert len(within) <= MOST_OF_ALL + len("abcdefgh")


def test_what_is_remembered_of_them_is_bounded() -> None:
    wrong = WrongTokens(Now())
    for number in range(100_000):
        wrong.note(str(number))
    assert len(wrong._wrong) < 5000


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
