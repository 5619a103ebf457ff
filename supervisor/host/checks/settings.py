"""The settings: there, fit, and what they say of the build."""

from collections.abc import Iterator

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note
from supervisor.host.check_host import Host
from supervisor.host.install_executable import as_root


def fit(host: Host) -> Iterator[Answer]:
    path = host.settings_file
    if path is None:
        yield cannot_tell(
            "whether the settings are fit: there are none in /etc/holdwatch",
            "Much of what follows depends on them.",
            "Name them by --config, or put them there.",
        )
    elif host.settings is None and not host.faults:
        yield cannot_tell(
            f"whether {path} is fit: this user may not read it",
            "Much of what follows depends on it.",
            f"Run this as root: {as_root('host-check')}.",
        )
    elif host.settings is None:
        yield fault(
            f"{path} has faults: {host.faults}",
            "The daemon does not start with it; what depends on it cannot be told here.",
            f"holdwatch check {path}",
        )
    else:
        yield good(f"{path} is fit for use")


def commissioned(host: Host) -> Iterator[Answer]:
    if host.settings and host.settings.uncommissioned:
        yield note(
            "it closes although nobody may have tried this build (uncommissioned is accepted): "
            f"{host.settings.uncommissioned_reason}",
            "What this command finds good says nothing of contactor, leads and supply.",
            f"{as_root(f'commission --config {host.settings_file}')}, then take uncommissioned and "
            "its reason out of that file",
        )


CHECKS = {"fit": fit, "commissioned": commissioned}
