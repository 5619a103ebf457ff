"""One delivery, in a process of its own: ``python -m supervisor.messages.deliver``.

So a target that hangs can be ended, and nothing that apprise or a service says of an address, its
passwords included, reaches a log. Takes one JSON object on its standard input, gives one on its
standard output: ``{"sent": true, "why": ""}``, or ``{"understood": [true, false]}``.
"""

import json
import logging
import re
import sys
from typing import Any

STATUS = re.compile(r"error=([1-5][0-9]{2})\b")  # of HTTP, the one thing that is taken from a log
NO_CONNECTION = "connection error"


class _Reasons(logging.Handler):
    """Why it failed, as far as that can be said without repeating what apprise says."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.why = "apprise gives no reason"

    def emit(self, record: logging.LogRecord) -> None:
        text = record.getMessage()
        if found := STATUS.search(text):
            self.why = f"the service answers with status {found[1]}"
        elif NO_CONNECTION in text.lower():
            self.why = "no connection, or no answer in time"


def send(task: dict[str, Any], reasons: _Reasons) -> dict[str, Any]:
    import apprise  # noqa: PLC0415  # takes its time, and may be missing

    service = apprise.Apprise.instantiate(task["url"], asset=apprise.AppriseAsset())
    if service is None:
        return {"sent": False, "why": "apprise understands no such address"}
    service_group = apprise.Apprise()
    service_group.add(service)
    sent = service_group.notify(
        title=task["title"],
        body=task["body"],
        notify_type=apprise.NotifyType(task["kind"]),
        body_format=apprise.NotifyFormat.TEXT,
    )
    return {"sent": bool(sent), "why": "" if sent else reasons.why}


def understand(urls: list[str]) -> dict[str, Any]:
    import apprise  # noqa: PLC0415

    return {"understood": [apprise.Apprise.instantiate(url) is not None for url in urls]}


def main() -> None:
    answer_to, sys.stdout = sys.stdout, sys.stderr  # nothing else may get between
    reasons = _Reasons()
    apprise_log = logging.getLogger("apprise")
    apprise_log.addHandler(reasons)
    apprise_log.propagate = False
    task = json.load(sys.stdin)
    try:
        answer = understand(task["urls"]) if "urls" in task else send(task, reasons)
    except Exception as error:  # a service's own fault; its text may hold an address
        answer = {"sent": False, "why": f"apprise failed: {type(error).__name__}"}
    print(json.dumps(answer), file=answer_to, flush=True)


if __name__ == "__main__":
    main()
