"""Who asked, by name, and why: it goes into the record that people sign."""

from pathlib import Path

from supervisor.control.caller import local_users


def test_the_users_of_this_machine_by_number(tmp_path: Path) -> None:
    path = tmp_path / "passwd"
    path.write_text(
        "root:x:0:0:root:/root:/bin/sh\n\n# a remark\nanna:x:1000:1000::/home/anna:/bin/sh\n"
        "twin:x:1000:1000::/:/bin/sh\nbroken\n+::::::\nodd:x:minus:1::/:\n"
    )
    assert local_users(path) == {0: "root", 1000: "anna"}


def test_without_such_a_file_there_are_numbers_only(tmp_path: Path) -> None:
    assert local_users(tmp_path / "none") == {}
