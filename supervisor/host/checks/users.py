"""The daemon's user and its groups, and whether the caller may close and reset."""

from collections.abc import Iterator

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note
from supervisor.host.check_host import Host
from supervisor.host.check_unit import GROUP, GROUPS
from supervisor.host.install_executable import as_root

SYSTEMD_RUNS = "/run/systemd/system"  # sd_booted(3)


def service(host: Host) -> Iterator[Answer]:
    user, name = host.service_user, host.unit.user
    if user is None:
        yield fault(
            f"there is no user {name}, as whom the daemon is to run",
            "The service does not start.",
            _install(host),
        )
    elif user.uid == 0:
        yield fault(
            "the unit runs the daemon as root",
            "A fault in it, or in anything it loads, has the whole machine.",
            "Let the unit say User=holdwatch.",
        )
    else:
        yield good(f"the daemon's user {name} is there")


def groups(host: Host) -> Iterator[Answer]:
    """Only those that exist can be given; that they are enough is judged at the devices."""
    wanted = dict.fromkeys((*host.unit.groups, *GROUPS))
    missing = [name for name in wanted if name not in host.machine.groups]
    user = host.service_user
    if missing:
        yield fault(
            f"there {'is' if len(missing) == 1 else 'are'} no {_named(missing)}",
            "The service does not start, or may not use bus and pins.",
            _install(host),
        )
    elif user is None:
        yield cannot_tell(f"which groups the daemon has: there is no user {host.unit.user}")
    else:
        lacking = [name for name in GROUPS if host.machine.groups[name][0] not in user.gids]
        if lacking:
            yield fault(
                f"the daemon's user is not in the group {', '.join(lacking)}",
                "It may not use bus or pins, and does not start.",
                "Let the unit say SupplementaryGroups=i2c gpio.",
            )
        else:
            yield good(f"it has the groups {', '.join(GROUPS)}")


def _named(groups: list[str]) -> str:
    return f"group{'s' if len(groups) > 1 else ''} {', '.join(groups)}"


def caller(host: Host) -> Iterator[Answer]:
    group = host.machine.groups.get(GROUP)
    if host.caller.uid == 0:
        yield good("you are root: you may close and reset")
    elif group is None:
        yield cannot_tell(
            f"whether you may close and reset: there is no group {GROUP}", remedy=_install(host)
        )
    elif group[0] in host.caller.gids:
        yield good(f"you are in the group {GROUP}: you may close and reset")
    elif host.machine.name_of(host.caller.uid) in group[1]:
        yield note(
            f"you have been put into the group {GROUP}, but not since you logged in",
            "Until then you may look and open, not close or reset.",
            "Log out and in again.",
        )
    else:
        yield note(
            f"you are not in the group {GROUP}",
            "You may look, and open; not close or reset.",
            f"Whoever is to close: sudo usermod -aG {GROUP} THEIR-NAME, then log in again.",
        )


def _install(host: Host) -> str:
    makes = f"{as_root('install-units')} makes users and groups, and gives them the devices."
    if host.machine.there(SYSTEMD_RUNS):
        return makes
    return f"{makes} Systemd does not run here, so then: sudo systemd-sysusers."


CHECKS = {"service": service, "groups": groups, "caller": caller}
