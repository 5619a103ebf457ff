"""What the process may do: by its unit, and by what it loads."""

import re
import subprocess
import sys
from pathlib import Path

UNITS = Path(__file__).parents[2] / "systemd"
HARDENING = re.compile(
    r"(Protect|Private|Restrict(?!AddressFamilies)|Lock|NoNew|Capability|SystemCall)"
)


def settings_of(unit: str) -> list[tuple[str, str]]:
    lines = (UNITS / unit).read_text("utf-8").splitlines()
    return [
        (key, value) for key, is_set, value in (line.partition("=") for line in lines) if is_set
    ]


def set_to(key: str, unit: str = "holdwatch-messages@.service") -> list[str]:
    return [value for name, value in settings_of(unit) if name == key]


def test_its_user_is_its_own_and_it_can_reach_no_socket_of_the_daemon() -> None:
    assert set_to("User") == set_to("Group") == ["holdwatch-messages"]
    assert set_to("SupplementaryGroups") == []  # the daemon's may close and reset
    assert set_to("RestrictAddressFamilies") == ["AF_INET AF_INET6"]


def test_what_it_reads_others_than_the_daemons_group_may_read() -> None:
    for folder in ("RuntimeDirectoryMode", "StateDirectoryMode"):
        assert set_to(folder, "holdwatch@.service") == ["0755"]


def test_it_may_do_no_more_than_the_page_may() -> None:
    page = {s for s in settings_of("holdwatch-web@.service") if HARDENING.match(s[0])}
    assert len(page) > 8
    assert page <= set(settings_of("holdwatch-messages@.service"))


def test_its_memory_has_a_limit_that_ends_one_delivery_and_not_all() -> None:
    assert set_to("MemoryMax")
    assert set_to("OOMPolicy") == ["continue"]


def test_it_can_write_in_its_own_folder_only() -> None:
    assert set_to("ProtectSystem") == ["strict"]
    assert set_to("ReadWritePaths") == []
    (folder,) = set_to("StateDirectory")
    assert f"--sent-dir /var/lib/{folder}" in set_to("ExecStart")[0]


def test_those_that_deliver_may_come_to_their_end_when_it_is_stopped() -> None:
    assert set_to("KillMode") == ["mixed"]


def test_the_process_that_stays_never_loads_apprise() -> None:
    """It is large, and what it logs holds addresses."""
    program = (
        "import sys, supervisor.cli.messages, supervisor.messages.watch, supervisor.messages.load,"
        " supervisor.messages.courier; print([m for m in sys.modules if m.startswith('apprise')])"
    )
    asked = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert asked.stdout.strip() == "[]"
