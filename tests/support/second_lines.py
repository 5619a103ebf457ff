"""A build with a second line, and a bench for its watch alone."""

from supervisor.devices.bus_keeper import BusKeeper
from supervisor.devices.second_line import SecondLineWatch
from supervisor.readings import ContactorState, SecondLine
from supervisor.settings.hardware import Converter
from supervisor.settings.hardware import SecondLine as SecondLineSettings
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.clock import SimulatedClock
from supervisor.simulator.fault import FaultSettings
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.world import World

TRIP_V, RELEASE_V = 3.64, 3.40
LIMITS = (27200, 29120)  # the two in steps of 125 uV, release first
CHECK_EVERY_S = 20.0  # in tests; really ten minutes
GUARD = "guard"
LOW, HIGH = 2, 3


def with_second_line(
    settings: SupervisorSettings, *, samples_per_second: int = 860, **changes: object
) -> SupervisorSettings:
    """The same build with a second line on a third converter."""
    line = {"converter": GUARD, "inputs": "0-1", "trip_volts": TRIP_V, "release_volts": RELEASE_V}
    converter = Converter.model_validate(
        {"address": 0x4A, "samples_per_second": samples_per_second}
    )
    return settings.model_copy(
        update={
            "second_line": SecondLineSettings.model_validate(line | {"pin": 26} | changes),
            "converters": {**settings.converters, GUARD: converter},
        }
    )


class SecondLineBench:
    """The watch on the simulated board, told what the front channel reads and the contactor."""

    def __init__(self, settings: SupervisorSettings, plant: PlantSettings | None = None) -> None:
        line = settings.second_line
        assert line is not None
        self.clock = SimulatedClock()
        cells = CellsSettings(state_of_charge=0.6)
        self.world = World(settings, plant or PlantSettings(cells=cells), self.clock)
        self.cycle_s = settings.loop.cycle_s
        self.keeper = BusKeeper(self.world.open_bus, self.clock, 0.02)
        self.watch = self._new_watch(line)
        self.contactor = ContactorState(False, 0.0, None)
        self.front_reads: float | None = None  # what the front channel says; None: the truth
        self.front_is_blind = False
        self.most_transfers = 0
        self.seen = SecondLine(False, "", None)

    def _new_watch(self, line: SecondLineSettings) -> SecondLineWatch:
        settings = self.world.settings
        return SecondLineWatch(
            line, settings.converters[GUARD], settings.loop.window_s, self.keeper,
            self.world.pin_factory, self.clock,
        )  # fmt: skip

    def restart(self) -> None:
        """A new process finds the chip as the old one left it."""
        assert self.world.settings.second_line
        self.watch.close()
        self.watch = self._new_watch(self.world.settings.second_line)
        self.tell(closed=False)

    @property
    def chip(self) -> ADS1115:
        return self.world.chips[GUARD]

    @property
    def codes(self) -> tuple[int, int]:
        """The chip's thresholds, low and high."""
        return self.chip._registers[LOW], self.chip._registers[HIGH]

    @property
    def has_its_limits(self) -> bool:
        return self.codes == LIMITS and self.chip._registers[1] & 0x7FFF == 0x02E1

    def cycle(self) -> SecondLine:
        self.clock.sleep_until(self.clock.now_s() + self.cycle_s)
        self.world.catch_up()
        front_v = self.world.plant.cell_v(0) if self.front_reads is None else self.front_reads
        before = self.world.wire.transfers
        self.seen = self.watch.attend(None if self.front_is_blind else front_v, self.contactor)
        self.most_transfers = max(self.most_transfers, self.world.wire.transfers - before)
        return self.seen

    def run(self, seconds: float) -> list[SecondLine]:
        until_s = self.clock.now_s() + seconds
        seen = []
        while self.clock.now_s() < until_s:
            seen.append(self.cycle())
        return seen

    def verified(self) -> "SecondLineBench":
        """Past the self-check of the start."""
        self.run(2.0)
        assert self.seen.problem == ""
        return self

    def tell(self, *, closed: bool) -> None:
        self.contactor = ContactorState(closed, self.clock.now_s(), None)

    def cell_at(self, volts: float) -> None:
        """Front channel and second line see this voltage, input filters settled."""
        self.move_lead(volts)
        self.front_reads = volts
        self.clock.sleep_until(self.clock.now_s() + 0.5)

    def move_lead(self, volts: float | None) -> None:
        wiring = self.world.second_line
        assert wiring is not None
        self.world.change(lambda: setattr(wiring, "elsewhere_v", volts))

    def fault(self, fault: FaultSettings) -> None:
        self.world.fault(fault)
