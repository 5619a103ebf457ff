"""The parts on the bus: converters, and temperature probes."""

from supervisor.commissioning.deeds import MeterReads
from supervisor.commissioning.measuring import measuring
from supervisor.commissioning.steps.step import Bench, Outcome
from supervisor.control.build_record import Finding
from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.converter import ConfigChanged, Converter, NotReady
from supervisor.devices.one_wire import KernelOneWire
from supervisor.devices.thermometers import Thermometers
from supervisor.readings import ProbeReading
from supervisor.sizing.heat_budgets import tolerance_k

SCANS = 10
PROBES_S = 5.0
REFERENCE_K = 1.0  # of the reference thermometer: common practice, no source
BROKEN = (
    "no answer",
    "not ready",
    "configuration changed",
    "reset",
    "the wrong chip",
    "too coarse",
    "frozen",
)


class PartsStep:
    key = "parts"
    cautions = ()
    measures = "Every converter answers, keeps what is written to it, and converts. Good: all do."

    def run(self, bench: Bench) -> Outcome:
        with measuring(bench.settings, bench.leaves) as channels:
            for _ in range(SCANS):
                scan = channels.scan()
        by_chip: dict[str, list[str]] = {name: [] for name in bench.settings.converters}
        by_chip |= _second_line(bench)
        for channel, reading in scan.items():
            chip = getattr(bench.settings.channels, channel.value).converter
            if reading.quality.value in BROKEN:
                by_chip[chip].append(f"{channel.words}: {reading.quality.value}")
        return Outcome(
            tuple(
                Finding(
                    f"the converter {name} at {bench.settings.converters[name].address:#04x}",
                    not said,
                    words="; ".join(said),
                    defect="" if not said else said[0].split(": ")[1],
                    remedy="Check its supply, its ADDR pin, SDA and SCL with their pull-ups, and "
                    "that it is an ADS1115 (holdwatch host-check looks at the bus).",
                )
                for name, said in by_chip.items()
            )
        )


def _second_line(bench: Bench) -> dict[str, list[str]]:
    """Its converter, which no channel uses, and what is wrong with it."""
    line, clock = bench.settings.second_line, bench.leaves.clock
    if line is None:
        return {}
    bus = bench.leaves.open_bus()
    try:
        chip = Converter(bus, bench.settings.converters[line.converter], clock)
        chip.convert(line.inputs, line.range_volts)
    except (OSError, ValueError):
        return {line.converter: ["second line: no answer"]}
    except (NotReady, ConfigChanged) as error:
        return {line.converter: [f"second line: {error or 'not ready'}"]}
    finally:
        bus.close()
    return {line.converter: []}


class ProbesStep:
    key = "probes"
    cautions = ()
    measures = (
        "Each probe beside a thermometer. Good: they differ by no more than both may be wrong."
    )

    def run(self, bench: Bench) -> Outcome:
        readings = self._readings(bench)
        return Outcome(tuple(self._finding(bench, name, one) for name, one in readings.items()))

    def _readings(self, bench: Bench) -> dict[str, ProbeReading]:
        settings, leaves = bench.settings, bench.leaves
        serials = [probe.serial for probe in settings.probes.values() if probe.serial]
        one_wire = leaves.one_wire
        if one_wire is None and serials:
            one_wire = KernelOneWire(serials, leaves.clock)
        keeper = BusKeeper(leaves.open_bus, leaves.clock, settings.bus.deadline_milliseconds / 1000)
        probes = Thermometers(settings.probes, keeper, leaves.clock, one_wire)
        try:
            until_s = leaves.clock.now_s() + PROBES_S
            while leaves.clock.now_s() < until_s:
                readings = probes.look()
                leaves.clock.sleep_until(leaves.clock.now_s() + settings.loop.cycle_s)
        finally:
            probes.close()
            keeper.close()
        return dict(readings)

    def _finding(self, bench: Bench, name: str, reading: ProbeReading) -> Finding:
        what = f"the probe {name}, on the {reading.place.words}"
        if reading.celsius is None:
            return Finding(
                what,
                False,
                words=reading.quality.value,
                defect="the probe does not answer",
                remedy="Check its wires and its address or number in the settings.",
            )
        true_c = bench.person.reads(MeterReads(name, "\N{DEGREE SIGN}C"))
        most_k = tolerance_k(bench.settings.probes[name], true_c) + REFERENCE_K
        passed = abs(reading.celsius - true_c) <= most_k
        return Finding(
            what,
            passed,
            measured=reading.celsius,
            unit="\N{DEGREE SIGN}C",
            low=true_c - most_k,
            high=true_c + most_k,
            uncertainty=most_k,
            defect="" if passed else "the probe shows another temperature",
            remedy="Wait until both are as warm as the room; then see which probe is where.",
        )
