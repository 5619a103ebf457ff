"""The page's files: named in whole, and a certificate never without its key."""

from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.model import SupervisorSettings


def web_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    web = settings.web
    for key in ("token_file", "certificate_file", "key_file"):
        path = getattr(web, key)
        if path is not None and not path.startswith("/"):
            yield Contradiction(
                f"web.{key}",
                f"{path} is not a whole path.",
                "A service starts in another folder, and would not find it there.",
                f"Write all of it, such as /etc/holdwatch/{path.rpartition('/')[2] or 'FILE'}.",
            )
    pair = {"certificate_file": web.certificate_file, "key_file": web.key_file}
    for key, other in (("certificate_file", "key_file"), ("key_file", "certificate_file")):
        if pair[key] is not None and pair[other] is None:
            yield Contradiction(
                f"web.{key}",
                f"{key} is there, but {other} is missing.",
                "One without the other encrypts nothing: the page would not be served.",
                f"Write {other} beside it, or take {key} out.",
            )
