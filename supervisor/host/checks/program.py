"""Where the program lies: the service's user can reach it, and the unit does not hide it."""

import sys
from collections.abc import Iterator
from pathlib import Path

import supervisor
from supervisor.host.check_answer import Answer, cannot_tell, fault, good
from supervisor.host.check_host import Host
from supervisor.host.install_executable import REMEDY

READ_RUN = 5
LONGEST_FIRST_LINE = 256
AGAIN = f"{REMEDY[:1].upper()}{REMEDY[1:]}."


def place(host: Host) -> Iterator[Answer]:
    """Of the program, the interpreter it names and, of our own, the package: where links lead."""
    parts = {path: host.machine.real(path) for path in _parts(host)}
    hidden = [path for path in parts.values() if _is_hidden(host, path)]
    if hidden:
        yield fault(
            f"the service would not see {hidden[0]}",
            "The unit hides homes and temporary folders from the daemon: it does not start.",
            AGAIN,
        )
    else:
        yield good(f"{_program(host)} lies where the service sees it")


def readable(host: Host) -> Iterator[Answer]:
    user, program = host.service_user, _program(host)
    if user is None:
        yield cannot_tell(f"whether {host.unit.user} may run {program}: there is no such user")
        return
    for path in _parts(host):
        real = host.machine.real(path)
        access = host.machine.access(real)
        may = host.machine.may(user, real, READ_RUN)
        if access is None or may is None:
            yield fault(
                f"{path} is not there"
                if not host.machine.there(path)
                else f"{path} leads to {real}, which is not there or cannot be looked at",
                "The daemon does not start.",
                AGAIN,
            )
            return
        if not may:
            yield fault(
                f"{user.name} may not run {path} ({host.machine.owner_words(access)})",
                "The daemon does not start.",
                AGAIN,
            )
            return
    yield good(f"{user.name} may run {program}")


def _program(host: Host) -> str:
    """What the unit starts; without a unit, what runs now."""
    return host.unit.program or str(Path(sys.prefix, "bin", "holdwatch"))


def _parts(host: Host) -> list[str]:
    program = _program(host)
    parts = [program]
    first = (host.machine.text(program) or "")[:LONGEST_FIRST_LINE].partition("\n")[0]
    if first.startswith("#!/"):
        parts.append(first[2:].split(" ")[0].strip())
    if not host.unit.program or Path(program).is_relative_to(sys.prefix):
        parts.append(str(Path(supervisor.__file__).parent))
    return parts


def _is_hidden(host: Host, path: str) -> bool:
    return any(Path(path).is_relative_to(folder) for folder in host.unit.hidden)


CHECKS = {"place": place, "readable": readable}
