"""How faults print."""

from supervisor.settings.faults import MOST_SHOWN, Fault, SettingsFaults

FAULT = Fault(
    "hut.yaml",
    12,
    "protection.overvoltage.trip_volts",
    "3.8 V is not below bank.never_above_volts, 3.65 V.",
    "The limit would act only after the cells are harmed. Measuring error and the time to open "
    "come on top.",
    "Write a limit well below 3.65; `holdwatch check` tells how far.",
)


def test_printed_like_a_compiler() -> None:
    assert str(FAULT) == (
        "hut.yaml:12: protection.overvoltage.trip_volts\n"
        "  3.8 V is not below bank.never_above_volts, 3.65 V.\n"
        "  Why: The limit would act only after the cells are harmed. Measuring error and\n"
        "       the time to open come on top.\n"
        "  Do:  Write a limit well below 3.65; `holdwatch check` tells how far."
    )


def test_without_line_or_path() -> None:
    assert str(Fault("f", None, "", "p", "w", "r")).splitlines()[0] == "f"
    assert str(Fault("f", None, "a.b", "p", "w", "r")).splitlines()[0] == "f: a.b"


def test_sorted_by_line_and_counted() -> None:
    later, early = Fault("f", 10, "", "p", "w", "r"), Fault("f", 9, "", "p", "w", "r")
    faults = SettingsFaults([later, early])
    assert faults.faults == (early, later)
    assert str(faults).endswith("2 faults in f. Nothing was started.")
    assert str(SettingsFaults([early])).endswith("1 fault in f. Nothing was started.")


def test_codes_of_a_terminal_are_not_passed_on() -> None:
    nasty = Fault("f\x1b[2J", 1, "a\nb\x07", "p\x1b]0;x", "w\u202e", "r\x00")
    printed = str(nasty)
    assert printed.count("\n") == 3
    assert all(c.isprintable() for c in printed.replace("\n", ""))


def test_a_flood_is_cut() -> None:
    flood = SettingsFaults([Fault("f", n, "k", "p" * 10000, "w", "r") for n in range(1000)])
    assert f"... and {1000 - MOST_SHOWN} more." in str(flood)
    assert len(str(flood)) < 50_000
