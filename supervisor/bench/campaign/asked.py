"""What somebody asked for, and by when the daemon has surely heard it.

The daemon takes requests once a cycle. A request that comes in its midst may be heard in that cycle
or in the next; one that is three looks old has been heard, or the daemon was dead.
"""

from dataclasses import dataclass

HEARD_LOOKS = 3
HONOURED_S = 2.0  # so long after it was heard nobody waits for it any longer, pull-in included


@dataclass
class _Request:
    act: str
    asked_s: float
    looks: int = 0
    heard_s: float | None = None


class Asked:
    """Requests in the order they came in. ``look`` once after each cycle."""

    def __init__(self) -> None:
        self._requests: list[_Request] = []

    def note(self, act: str, at_s: float) -> None:
        self._requests.append(_Request(act, at_s))

    def look(self, now_s: float) -> list[float]:
        """When those requests to open were asked that have surely been heard by now."""
        opens_s = []
        for request in self._requests:
            request.looks += 1
            if request.looks == HEARD_LOOKS:
                request.heard_s = now_s
                if request.act == "open":
                    opens_s.append(request.asked_s)
        self._requests = [r for r in self._requests if _is_waited_for(r, now_s)]
        return opens_s

    def closing(self, now_s: float) -> bool:
        """Whether one may be carried out now. An open ends what was asked for before it."""
        for request in reversed(self._requests):
            if request.act == "close":
                return _is_waited_for(request, now_s)
            if request.act == "open" and request.heard_s is not None:
                return False
        return False

    def reset(self, now_s: float, since_s: float) -> bool:
        """Whether one asked for after ``since_s`` may be carried out now."""
        resets = (r for r in self._requests if r.act == "reset" and r.asked_s >= since_s)
        return any(_is_waited_for(request, now_s) for request in resets)

    def closed(self) -> None:
        """One request, one closing. What nobody can have heard before still counts."""
        self._forget_closings()

    def tripped(self) -> None:
        """No closing outlives a trip; to be called before the ``look`` of that cycle."""
        self._forget_closings()

    def _forget_closings(self) -> None:
        self._requests = [r for r in self._requests if r.act != "close" or r.looks == 0]


def _is_waited_for(request: _Request, now_s: float) -> bool:
    return request.heard_s is None or now_s - request.heard_s <= HONOURED_S
