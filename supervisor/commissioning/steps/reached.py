"""Who is to be reached away from the machine: the page on a phone, a message."""

from supervisor.commissioning.deeds import DidIt, Output
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding


class ReachedStep:
    """Nothing is measured: somebody looks at a phone."""

    cautions = ()

    def __init__(self, key: Output, asked: str, defect: str, remedy: str) -> None:
        self.key = key
        self.measures = "Whether it arrives. Good: it does, with this bank's name on it."
        self._asked = asked
        self._defect = defect
        self._remedy = remedy

    def run(self, bench: Bench) -> Outcome:
        arrived = bench.person.saw(DidIt(self.key, self._asked))
        return Outcome(
            (
                Finding(
                    f"the {self.key} shows it",
                    arrived,
                    words="seen" if arrived else "not seen",
                    defect="" if arrived else self._defect,
                    remedy=self._remedy,
                ),
            )
        )


def phone_step() -> ReachedStep:
    return ReachedStep(
        "phone",
        "Start `holdwatch web` (or its service) and open the page on the phone, away from the "
        "bench: does it come up?",
        "the page does not come up on the phone",
        "See web.listen and web.port, the phone's network, and `holdwatch status --qr`.",
    )


def alert_step() -> ReachedStep:
    return ReachedStep(
        "alert",
        "Run `holdwatch messages FILE --test` in another terminal: has the message come in on the "
        "phone?",
        "the message does not arrive",
        "See the targets in the messages' file; `holdwatch messages FILE --check` looks at them.",
    )
