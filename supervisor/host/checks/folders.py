"""Folders and files: the daemon may use its own, and nobody else may change them."""

import stat
from collections.abc import Iterator
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.install_executable import as_root
from supervisor.status.token import FOR_OTHERS

READ, WRITE_ENTER = 4, 3
WEB_USER, MESSAGES_USER = "holdwatch-web", "holdwatch-messages"
SETTINGS_DIR = "/etc/holdwatch"


def state(host: Host) -> Iterator[Answer]:
    yield from _folder(host, host.state_dir, "the lockout and the record", "StateDirectory")


def run(host: Host) -> Iterator[Answer]:
    yield from _folder(host, host.run_dir, "the status and the requests", "RuntimeDirectory")


def writing(host: Host) -> Iterator[Answer]:
    """One small file that reaches the medium: the only thing that these checks ever write."""
    access = host.machine.access(host.state_dir)
    if access is None:
        return
    if not access.lets(host.caller, WRITE_ENTER):
        yield cannot_tell(
            f"whether {host.state_dir} takes what is written: this user may not write there",
            remedy=f"Run this as root: {as_root('host-check')}.",
        )
        return
    try:
        host.kernel.try_writing(host.machine.at(host.state_dir))
    except OSError as error:
        yield fault(
            f"nothing can be written in {host.state_dir}: {(error.strerror or str(error)).lower()}",
            "The latch cannot be armed: it does not close.",
            "Look at the disk: df -h, mount, sudo dmesg.",
        )
    else:
        yield good(f"a file written in {host.state_dir} reached the medium")


def settings(host: Host) -> Iterator[Answer]:
    path = host.settings_file
    if path is None:
        yield cannot_tell(
            "who may read and change the settings: there are none",
            remedy=f"Put them into {SETTINGS_DIR}/NAME.yaml, or name them by --config.",
        )
        return
    yield from _readable(host, path)
    yield from _unchanged_by_others(host, path)


def secrets(host: Host) -> Iterator[Answer]:
    """Token, key and passwords: for their owner, as ``web`` and ``messages`` demand."""
    web = host.settings.web if host.settings else None
    files = [(web.token_file, "the token"), (web.key_file, "the page's key")] if web else []
    for path, what in [(Path(path), what) for path, what in files if path]:
        yield from _private(host, path, what, WEB_USER)
    messages = Path(SETTINGS_DIR, f"{host.circuit}.messages.yaml")
    if host.circuit and host.machine.there(messages):
        yield from _private(host, messages, "the settings of messages", MESSAGES_USER)


def _folder(host: Host, path: Path, keeps: str, directive: str) -> Iterator[Answer]:
    access, user = host.machine.access(path), host.service_user
    if host.unit.is_there and not host.circuit:
        yield cannot_tell(f"which folder keeps {keeps}: the service has one for each settings file")
    elif access is None and host.machine.there(path):
        yield cannot_tell(f"who may use {path}: this user may not look")
    elif access is None:
        yield note(f"{path} is not there yet: the unit makes it at its start ({directive})")
    elif not stat.S_ISDIR(access.mode):
        yield fault(f"{path} is not a folder", "The daemon does not start.", f"Move {path} away.")
    elif access.mode & stat.S_IWOTH:
        yield fault(
            f"anybody may change {keeps} in {path} ({host.machine.owner_words(access)})",
            "Whoever may write there may take a lockout away.",
            f"sudo chmod o-w {path}",
        )
    elif user is None:
        yield cannot_tell(f"whether the daemon may use {path}: there is no user {host.unit.user}")
    elif host.machine.may(user, path, WRITE_ENTER) is False:
        yield fault(
            f"{user.name} may not write in {path} ({host.machine.owner_words(access)})",
            f"It keeps {keeps} there: the daemon does not start.",
            f"sudo chown -R {user.name} {path}",
        )
    else:
        yield good(f"{user.name} may write in {path}")


def _readable(host: Host, path: Path) -> Iterator[Answer]:
    user, name = host.service_user, host.unit.user
    may = host.machine.may(user, path, READ) if user else None
    if user is None:
        yield cannot_tell(f"whether {name} may read {path}: there is no such user")
    elif may is None:
        yield cannot_tell(f"whether {name} may read {path}: this user cannot look")
    elif may:
        yield good(f"{name} may read {path}")
    else:
        yield fault(
            f"{name} may not read {path}",
            "The daemon does not start.",
            f"sudo chown root:{name} {path}; sudo chmod 640 {path}; and let it enter the folders.",
        )


def _unchanged_by_others(host: Host, path: Path) -> Iterator[Answer]:
    for place in (path, path.parent):
        access = host.machine.access(place)
        if access is None:
            continue
        sticky = place != path and access.mode & stat.S_ISVTX
        by_group = access.mode & stat.S_IWGRP and access.gid != 0
        if access.mode & stat.S_IWOTH and not sticky:
            yield fault(
                f"anybody may change {place} ({host.machine.owner_words(access)})",
                "Whoever may write there sets the limits that the bank is trusted to.",
                f"sudo chmod go-w {place}",
                about=str(place),
            )
        elif by_group:
            yield warning(
                f"a whole group may change {place} ({host.machine.owner_words(access)})",
                "Whoever may write there sets the limits that the bank is trusted to.",
                f"sudo chmod g-w {place}, unless you want it so.",
                about=str(place),
            )


def _private(host: Host, path: Path, what: str, name: str) -> Iterator[Answer]:
    access = host.machine.access(path)
    user = host.machine.user(name)
    if access is None:
        yield warning(
            f"{what}, {path}, is not there or cannot be looked at",
            "The protection is not affected; what needs it does not start.",
            "Make it, or take its line out of the settings; as root this command can tell more.",
            about=str(path),
        )
    elif access.mode & FOR_OTHERS:
        yield warning(
            f"{what}, {path}, is open to others ({host.machine.owner_words(access)})",
            "It is refused so. The protection is not affected.",
            f"sudo chown {name} {path}; sudo chmod 600 {path}",
            about=str(path),
        )
    elif user is None or host.machine.may(user, path, READ) is not False:
        yield good(f"{what}, {path}, is for its owner alone", about=str(path))
    else:
        yield warning(
            f"{name} may not read {what}, {path} ({host.machine.owner_words(access)})",
            "The protection is not affected; what needs it does not start.",
            f"sudo chown {name} {path}; sudo chmod 600 {path}",
            about=str(path),
        )


CHECKS = {
    "state": state,
    "run": run,
    "writing": writing,
    "settings": settings,
    "secrets": secrets,
}
