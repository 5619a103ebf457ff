"""The paths of a profile: misspelt, said twice, or of what no build can do without."""

from collections.abc import Callable
from pathlib import Path

import pytest

from supervisor.settings.faults import Fault
from supervisor.settings.text import parse
from supervisor.sizing.fitness import examine_document

CELLS = "      bank.cells_in_parallel: 4\n"
NOTHING = "    # leave_out: []\n"
PROFILE = "profiles.practice_group"


class Told:
    """The text of the example with other lines in its first profile, and what is told of it."""

    def __init__(self, text: str, overrides: tuple[str, ...], leave_out: tuple[str, ...]) -> None:
        items = "".join(f"      - {path}\n" for path in leave_out)
        added = "".join(f"      {line}\n" for line in overrides)
        assert text.count(CELLS) == text.count(NOTHING) == 1
        self.text = text.replace(CELLS, CELLS + added)
        self.text = self.text.replace(NOTHING, f"    leave_out:\n{items}" if items else NOTHING)
        self.faults = examine_document(parse(self.text, "hut.yaml")).faults

    def fault(self) -> Fault:
        (fault,) = self.faults
        return fault

    def line(self, words: str) -> int:
        (number,) = (n for n, t in enumerate(self.text.splitlines(), start=1) if t == words)
        return number


Tell = Callable[..., Told]


@pytest.fixture
def tell(hut_path: Path) -> Tell:
    text = hut_path.read_text("utf-8")

    def tell(*overrides: str, leave_out: tuple[str, ...] = ()) -> Told:
        return Told(text, overrides, leave_out)

    return tell


MISSPELT = [
    ("protecton.overvoltage.trip_volts", "protection.overvoltage.trip_volts"),
    ("protecton.overvoltag.trip_volt", "protection.overvoltage.trip_volts"),
    ("chanels.shunt.rated_amperes", "channels.shunt.rated_amperes"),
    ("channels.shnt.rated_amperes", "channels.shunt.rated_amperes"),
    ("bank.cells_in_paralel", "bank.cells_in_parallel"),
    ("Charge.hold_volts", "charge.hold_volts"),
]


@pytest.mark.parametrize(("path", "meant"), MISSPELT)
def test_a_misspelt_path_is_told_the_one_that_was_meant(tell: Tell, path: str, meant: str) -> None:
    told = tell(f"{path}: 3")
    fault = told.fault()
    assert fault.problem == f"There is no setting {path}."
    assert fault.remedy == f"Write {meant}."
    assert fault.line == told.line(f"      {path}: 3")
    assert fault.path == f"{PROFILE}.overrides.{path}"


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        ("protecton.stage_limits", "protection.stage_limits"),
        ("protection.stage_limit", "stage_limits"),
        ("charge.holt_volts", "hold_volts"),
    ],
)
def test_a_misspelt_path_that_is_left_out(tell: Tell, path: str, meant: str) -> None:
    told = tell(leave_out=(path,))
    fault = told.fault()
    assert "There is no setting" in fault.problem
    assert fault.remedy.startswith(f"Write {meant}.")
    assert fault.line == told.line(f"      - {path}")


@pytest.mark.parametrize("path", ["gpio.chip", "contactor.pim", "nothing.like.it"])
def test_what_is_near_to_nothing_that_it_may_change(tell: Tell, path: str) -> None:
    assert tell(f"{path}: 3").fault().problem == f"A profile cannot change {path}."


@pytest.mark.parametrize(
    "path",
    [
        "protection.overvoltage", "protection.stale", "protection.without", "charge.hold_volts",
        "charge.rest", "protection.overvoltage.delay_seconds", "bank.cells_in_parallel",
        "channels.shunt.rated_amperes",
    ],
)  # fmt: skip
def test_what_no_build_can_do_without(tell: Tell, path: str) -> None:
    told = tell(leave_out=("charge.bench_supply_amperes", path))
    fault = told.fault()
    assert fault.problem == f"{path} cannot be left out."
    assert fault.remedy.startswith("Take it out of leave_out")
    assert fault.line == told.line(f"      - {path}")
    assert fault.path == f"{PROFILE}.leave_out[1]"
    assert fault.why


@pytest.mark.parametrize("rule", ["balance", "session_time", "session_charge", "supply_thermal"])
def test_a_rule_that_the_risk_needs_is_left_out_with_a_reason(tell: Tell, rule: str) -> None:
    told = tell(leave_out=(f"protection.{rule}",))
    fault = next(f for f in told.faults if "no reason" in f.problem)
    assert fault.problem == f"protection.{rule} is left out, and there is no reason why."
    assert f"`protection.without.{rule}:`" in fault.remedy
    assert fault.line == told.line(f"      - protection.{rule}")


@pytest.mark.parametrize(
    "reason",
    [
        "protection.without.balance: four cells on one bar",
        "protection.without: {balance: four cells on one bar, temperature: no probes are fitted}",
    ],
)
def test_with_its_reason_it_is_left_out(tell: Tell, reason: str) -> None:
    assert tell(reason, leave_out=("protection.balance",)).faults == ()


def test_changed_and_left_out_at_once(tell: Tell) -> None:
    told = tell("charge.bench_supply_amperes: 8", leave_out=("charge.bench_supply_amperes",))
    fault = told.fault()
    assert fault.problem == "charge.bench_supply_amperes is in overrides as well."
    assert fault.line == told.line("      - charge.bench_supply_amperes")


def test_left_out_and_a_value_within_it(tell: Tell) -> None:
    told = tell(
        "protection.without.balance: four cells on one bar",
        "protection.balance.trip_volts: 0.06",
        leave_out=("protection.balance",),
    )
    left_out_at = told.line("      - protection.balance")
    fault = next(f for f in told.faults if f.path == "protection.balance.trip_volts")
    assert f"protection.balance is left out as well (line {left_out_at})." in fault.problem
    assert fault.line == told.line("      protection.balance.trip_volts: 0.06")
    assert "within" not in fault.remedy


@pytest.mark.parametrize("order", [1, -1])
def test_a_block_and_a_value_within_it(tell: Tell, order: int) -> None:
    both = ("protection.knob_speed: {trip_amperes_per_second: 9, trip_volts_per_second: 0.01}",
            "protection.knob_speed.over_seconds: 3")[::order]  # fmt: skip
    told = tell(*both)
    fault = told.fault()
    assert fault.path == "protection.knob_speed.over_seconds"
    assert "replaced as a whole as well" in fault.problem
    assert fault.line == told.line("      protection.knob_speed.over_seconds: 3")


def test_a_part_of_what_is_not_there(tell: Tell) -> None:
    told = tell(leave_out=("protection.stage_limits.hold",))
    fault = told.fault()
    assert fault.problem == "There is no protection.stage_limits, so there is nothing to leave out."
    assert fault.line == told.line("      - protection.stage_limits.hold")


def test_a_part_of_what_the_profile_itself_writes(tell: Tell) -> None:
    told = tell(
        "protection.stage_limits.taper.trip_amperes: 120",
        leave_out=("protection.stage_limits.hold",),
    )
    assert told.faults == ()
