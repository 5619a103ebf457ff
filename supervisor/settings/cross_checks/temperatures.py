"""Temperature probes and their limits: each probe can be read, and each limit has a probe."""

import re
from collections.abc import Iterator

from supervisor.settings.cross_checks.contradiction import Contradiction
from supervisor.settings.hardware import Probe
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.rules import Temperature

# Keys of the limits, by the place they watch.
LIMITS = {
    "heat_sink": ("heat_sink_above_celsius",),
    "transformer": ("transformer_above_celsius",),
    "cells": ("cells_above_celsius", "cells_below_celsius"),
}
RULE = "protection.temperature"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,39}")
ONE_WIRE_READ_S = 1.0  # conversion of 750 ms and the transfers, rounded up
ROUNDS = 3  # one answer may fail, and the next one takes its time

# Which of the two keys says where a chip is, and which is the other chip's.
KEYS = {"lm75": ("address", "serial"), "ds18b20": ("serial", "address")}
HOW_TO_FIND = {
    "lm75": "Write its I2C address, 0x48 to 0x4F, set by its pins A0 to A2.",
    "ds18b20": "Write its number, 28- and twelve digits, as shown below /sys/bus/w1/devices.",
}


def temperature_checks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    for name, probe in settings.probes.items():
        yield from _name(name)
        yield from _keys_of_the_chip(name, probe)
    yield from _one_address_twice(settings)
    yield from _one_serial_twice(settings)
    yield from _names_alike(settings)
    rule = settings.protection.temperature
    if rule is None:
        yield from _nobody_looks(settings)
    elif not settings.probes:
        yield _no_probes()
    else:
        yield from _limits_without_probe(settings, rule)
        yield from _probes_without_limit(settings, rule)
        yield from _slow_rounds(settings, rule)
    if rule is not None:
        yield from _low_and_high(rule)


def _name(name: str) -> Iterator[Contradiction]:
    if not NAME.fullmatch(name):
        yield Contradiction(
            f"probes.{name}",
            f'"{name[:50]}" is no name for a probe.',
            "It is shown on the page and is a label of the metrics.",
            "Write 1 to 40 letters, digits, blanks, - or _, such as sink_left.",
        )


def _keys_of_the_chip(name: str, probe: Probe) -> Iterator[Contradiction]:
    own, other = KEYS[probe.chip]
    if getattr(probe, own) is None:
        yield Contradiction(
            f"probes.{name}.{own}",
            f"chip is {probe.chip}, but {own} is missing.",
            "It says which of the chips on the bus this one is.",
            HOW_TO_FIND[probe.chip],
        )
    if getattr(probe, other) is not None:
        yield Contradiction(
            f"probes.{name}.{other}",
            f"chip is {probe.chip}, but {other} belongs to {_chip_with(other)}.",
            "It is not clear which chip is fitted, and on which bus it is to be read.",
            f"Take {other} out, or write chip: {_chip_with(other)}.",
        )


def _chip_with(key: str) -> str:
    return next(chip for chip, (own, _) in KEYS.items() if own == key)


def _one_address_twice(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners = {c.address: f"converter {name}" for name, c in settings.converters.items()}
    for name, probe in settings.probes.items():
        if probe.address is None:
            continue
        owner = owners.setdefault(probe.address, f"probe {name}")
        if owner != f"probe {name}":
            yield Contradiction(
                f"probes.{name}.address",
                f"{name} has the address 0x{probe.address:X} of {owner}.",
                "Two chips at one address answer at the same time: both readings are rubbish.",
                "Set another address by its pins A0 to A2, such as 0x4C to 0x4F, and write that.",
            )


def _one_serial_twice(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners: dict[str, str] = {}
    for name, probe in settings.probes.items():
        if probe.serial is None:
            continue
        owner = owners.setdefault(probe.serial, name)
        if owner != name:
            yield Contradiction(
                f"probes.{name}.serial",
                f"{name} and {owner} are the same probe, {probe.serial}.",
                "One probe cannot be in two places: one of them would not be watched at all.",
                "Warm one of them with your hand to see which is which, and write both numbers.",
            )


def _names_alike(settings: SupervisorSettings) -> Iterator[Contradiction]:
    owners: dict[str, str] = {}
    for name in settings.probes:
        owner = owners.setdefault(name.strip().casefold(), name)
        if owner != name:
            yield Contradiction(
                f"probes.{name}",
                f'The probes "{name}" and "{owner}" have the same name but for its letters\' case '
                "or a space.",
                "Who reads at night which one is too hot must not look at the wrong one.",
                "Give each a name that says where it is, such as sink_left and sink_right.",
            )


def _nobody_looks(settings: SupervisorSettings) -> Iterator[Contradiction]:
    if settings.probes:
        yield Contradiction(
            "probes",
            "There are probes, but no protection.temperature.",
            "They would be shown, and nothing would ever open because of them.",
            "Add `temperature:` to protection with a limit for each place, or take them out.",
        )


def _no_probes() -> Contradiction:
    return Contradiction(
        RULE,
        "There are limits of temperature, but no probes.",
        "The rule could never see anything, and the contactor would never close.",
        "Add the probes, or take the rule out and say why under protection.without.",
    )


def _limits_without_probe(
    settings: SupervisorSettings, rule: Temperature
) -> Iterator[Contradiction]:
    fitted = {probe.place for probe in settings.probes.values()}
    for place, keys in LIMITS.items():
        for key in keys:
            if getattr(rule, key) is not None and place not in fitted:
                yield Contradiction(
                    f"{RULE}.{key}",
                    f"There is no probe with place: {place}.",
                    "A limit that nothing measures protects nothing, and looks as if it did.",
                    f"Add a probe with place: {place}, or take the limit out.",
                )


def _probes_without_limit(
    settings: SupervisorSettings, rule: Temperature
) -> Iterator[Contradiction]:
    for name, probe in settings.probes.items():
        keys = LIMITS[probe.place]
        if all(getattr(rule, key) is None for key in keys):
            yield Contradiction(
                f"probes.{name}.place",
                f"No limit belongs to place: {probe.place}.",
                "The probe would be shown, and nothing would ever open because of it.",
                f"Write {' or '.join(f'{RULE}.{key}' for key in keys)}, or take the probe out.",
            )


def _slow_rounds(settings: SupervisorSettings, rule: Temperature) -> Iterator[Contradiction]:
    slow = sum(probe.chip == "ds18b20" for probe in settings.probes.values())
    needed_s = slow * ONE_WIRE_READ_S * ROUNDS
    if rule.lost_after_seconds < needed_s:
        yield Contradiction(
            f"{RULE}.lost_after_seconds",
            f"{rule.lost_after_seconds:g} s is too short for {slow} ds18b20: each is read once in "
            f"about {slow * ONE_WIRE_READ_S:g} s.",
            "They are read one after the other, and one failed answer would count as a lost probe.",
            f"Write at least {needed_s:g}, or fit lm75 chips.",
        )


def _low_and_high(rule: Temperature) -> Iterator[Contradiction]:
    low, high = rule.cells_below_celsius, rule.cells_above_celsius
    if low is not None and high is not None and low >= high:
        yield Contradiction(
            f"{RULE}.cells_below_celsius",
            f"{low:g} is not below cells_above_celsius, {high:g}.",
            "Every temperature would trip one of the two.",
            "Take both from the maker's data sheet for charging, such as 5 and 45.",
        )
