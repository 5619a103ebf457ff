"""A daemon's sockets with somebody who answers, for the commands that ask."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from supervisor.control.requests import Reply, Request, request_sockets
from supervisor.simulator.clock import SimulatedClock


def done(request: Request) -> Reply:
    return Reply(True, f"{request.act}: {request.reason}", "open")


@contextmanager
def answering(
    run_dir: Path, reply: Callable[[Request], Reply] = done
) -> Iterator[list[tuple[str, str]]]:
    """Made with its folder; yields what was asked for: act and reason."""
    run_dir.mkdir(parents=True, exist_ok=True)
    inboxes, ends = request_sockets(run_dir, SimulatedClock()), threading.Event()
    asked: list[tuple[str, str]] = []

    def serve() -> None:
        while not ends.is_set():
            for inbox in inboxes:
                for request in inbox.take():
                    asked.append((request.act, request.reason))
                    request.answer(reply(request))

    daemon = threading.Thread(target=serve)
    daemon.start()
    try:
        yield asked
    finally:
        ends.set()
        daemon.join()
        for inbox in inboxes:
            inbox.close()
