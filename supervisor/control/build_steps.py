"""What has to be tried on a build before it may close: its steps, and what each relied on."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from supervisor.settings.model import SupervisorSettings

Wanted = Callable[[SupervisorSettings], bool]
WIRING = ("bus", "gpio", "converters")
COIL = ("gpio", "contactor.pin", "contactor.drive", "contactor.dropout_milliseconds")
SEEN = (*COIL, "contactor.auxiliary", "contactor.release_milliseconds")
CELLS = (*WIRING, "channels.front_cell", "channels.far_cell")
SHUNT = (*WIRING, "channels.shunt")
WINDOWS = ("loop.window_milliseconds", "loop.scans_per_window")
# The contact opens and closes, and the auxiliary one tells of it. The step "auxiliary" itself needs
# no "drive": its ohmmeter tells which of the two contacts it is.
CONTACT = ("drive", "auxiliary")


@dataclass(frozen=True, slots=True)
class BuildStep:
    """``relies_on``: dotted paths of settings, a block for all that is in it. While one of them is
    not what it was when the step was done, the step counts as not done. ``of``: blocks, one of
    which a build must have, or there is nothing to try. ``stands_on``: steps whose outcome it uses;
    when one of them is done again, so it has to be. ``needs``: steps that have to have passed
    before it is tried at all."""

    key: str
    title: str
    relies_on: tuple[str, ...]
    of: tuple[str, ...] = ()
    is_wanted: Wanted = lambda _settings: True
    stands_on: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()

    def is_needed(self, settings: SupervisorSettings) -> bool:
        """Of this build, before it may close."""
        return self.is_wanted(settings) and not self.has_nothing_to_try(settings)

    def has_nothing_to_try(self, settings: SupervisorSettings) -> str:
        """Why not, in words; empty when there is something."""
        if not self.of or any(plain(settings, path) for path in self.of):
            return ""
        named = " or ".join(self.of)
        return f"this build has no {named}: there is no such block in its settings"

    def relied_on(self, settings: SupervisorSettings) -> dict[str, Any]:
        """The values it relies on, as plain data, by path."""
        return {path: plain(settings, path) for path in self.relies_on}


def plain(settings: SupervisorSettings, path: str) -> Any:
    """The value at a dotted path as JSON has it; None where there is no such block."""
    value: Any = settings
    for key in path.split("."):
        if value is None:
            return None
        value = value.get(key) if isinstance(value, Mapping) else getattr(value, key)
    if isinstance(value, Mapping):
        return {name: _as_json(block) for name, block in value.items()}
    return _as_json(value)


def _as_json(value: Any) -> Any:
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value


def _listens(settings: SupervisorSettings) -> bool:
    """To others than this machine."""
    return settings.web.listen not in ("127.0.0.1", "::1", "localhost")


def _trip(rule: str, title: str, *others: str) -> BuildStep:
    path = f"protection.{rule}"
    return BuildStep(
        f"trip_{rule}", f"Trip point: {title}", (path, *others), (path,), needs=CONTACT
    )


STEPS = (
    BuildStep("parts", "Parts on the bus", WIRING),
    BuildStep("drive", "The coil, and what drives it", SEEN),
    BuildStep(
        "auxiliary",
        "Auxiliary contact",
        (*COIL, "contactor.auxiliary"),
        ("contactor.auxiliary",),
    ),
    BuildStep(
        "release",
        "Release time",
        SEEN,
        ("contactor.auxiliary",),
        stands_on=("auxiliary",),
        needs=CONTACT,
    ),
    BuildStep(
        "kill",
        "The coil drops when the daemon is killed",
        (*COIL, "contactor.auxiliary", *WIRING),
        stands_on=("auxiliary",),
        needs=CONTACT,
    ),
    BuildStep(
        "zero",
        "Zero of the shunt",
        (*SHUNT, "protection.sensing.zero_amperes"),
        needs=CONTACT,
    ),
    BuildStep("front_cell", "Voltage of the front cell", (*WIRING, "channels.front_cell")),
    BuildStep(
        "far_cell",
        "Voltage of the far cell",
        (*WIRING, "channels.far_cell"),
        ("channels.far_cell",),
    ),
    BuildStep("current", "Current", SHUNT, needs=CONTACT),
    BuildStep("leads", "Sense leads: each at its place, and an open one is seen", (*CELLS, *SHUNT)),
    BuildStep("probes", "Temperature probes", ("bus", "probes"), ("probes",)),
    BuildStep("stop_button", "Stop button", ("gpio", "panel.stop_button"), ("panel.stop_button",)),
    BuildStep("second_output", "Second output", ("gpio", "mains_contactor"), ("mains_contactor",)),
    BuildStep(
        "panel",
        "Buzzer and lamp",
        ("gpio", "panel.buzzer", "panel.lamp"),
        ("panel.buzzer", "panel.lamp"),
    ),
    _trip("overvoltage", "overvoltage", *CELLS, *WINDOWS, *SEEN),  # SEEN: their times count
    _trip("overvoltage_high_set", "overvoltage, high set", *CELLS, *WINDOWS, *SEEN),
    _trip("undervoltage", "undervoltage", *CELLS, *WINDOWS),
    _trip("rate_of_rise", "rate of rise", *CELLS, *WINDOWS),
    _trip("balance", "balance of front and far cell", *CELLS, *WINDOWS),
    _trip("overcurrent", "overcurrent", *SHUNT, *WINDOWS),
    _trip("reverse_current", "reverse current", *SHUNT, *WINDOWS),
    BuildStep(
        "trip_second_line",
        "Trip point: second line, by wire",
        (*COIL, "contactor.auxiliary", *WIRING, "second_line"),
        ("second_line",),
        needs=CONTACT,
    ),
    BuildStep(
        "response",
        "Response, and how high a cell can get",
        (
            "bank.never_above_volts",
            "bank.fastest_rise_volts_per_second",
            "protection",
            "contactor",
            "loop.lease_milliseconds",
            *WINDOWS,
        ),
        stands_on=("trip_overvoltage", "trip_overvoltage_high_set"),
        needs=("trip_overvoltage", "trip_overvoltage_high_set"),
    ),
    BuildStep("phone", "The page on a phone", ("web.listen", "web.port"), is_wanted=_listens),
    BuildStep("alert", "A message on a phone", (), is_wanted=lambda _settings: False),
)
BY_KEY = {step.key: step for step in STEPS}


def needed(settings: SupervisorSettings) -> tuple[BuildStep, ...]:
    """The steps that this build has to pass."""
    return tuple(step for step in STEPS if step.is_needed(settings))
