"""The whole rig on the bench: plant, sense leads, converters, wire, pins, buttons."""

from collections.abc import Callable, Iterator
from random import Random
from threading import RLock

from supervisor.devices.protocols import Clock
from supervisor.readings import Channel
from supervisor.settings.hardware import CellChannel, Inputs, ShuntChannel
from supervisor.settings.model import SupervisorSettings
from supervisor.simulator.ads1115 import ADS1115, Analog, Tolerance
from supervisor.simulator.heat import Heat
from supervisor.simulator.i2c import Wire
from supervisor.simulator.lead import Lead, open_input_v
from supervisor.simulator.one_wire import SimulatedOneWire
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.pins import PlantFactory
from supervisor.simulator.plant import Plant
from supervisor.simulator.probes import build_probes, by_serial, lm75_chips
from supervisor.simulator.second_line import SecondLineWiring
from supervisor.simulator.shunt import Shunt
from supervisor.simulator.switch import Switch

OWN_PAIRS: tuple[Inputs, ...] = ("0-1", "2-3")  # of others the negative input may be shared


class Rig:
    """What the supervisor's settings say is there, built and wired, with the plant behind it."""

    def __init__(
        self, settings: SupervisorSettings, plant: PlantSettings, clock: Clock, seed: int
    ) -> None:
        self.settings = settings
        self.plant_settings = plant
        self.clock = clock
        self.lock = RLock()  # alarms of the real clock come in threads of their own
        self.plant = Plant(settings, plant, clock.now_s(), seed=seed)
        self.shunt = self._build_shunt()
        self.leads = self._build_leads()
        self.second_line = self._build_second_line()
        self.chips = {name: self._build_chip(name, seed) for name in self._converters_in_turn()}
        self._in_turn = tuple(self.chips.values())
        if settings.second_line and self.second_line:
            self.second_line.attach(self.chips[settings.second_line.converter])
        self.wire = Wire(clock, settings.bus.kilohertz, catch_up=self.catch_up, lock=self.lock)
        for name, converter in settings.converters.items():
            self.wire.chips[converter.address] = self.chips[name]
        self.heat = Heat(self.plant, plant.thermal, clock.now_s())
        self.probes = build_probes(settings, self.heat)
        self.wire.chips.update(lm75_chips(settings, self.probes))
        self.one_wire = SimulatedOneWire(
            by_serial(settings, self.probes), clock, catch_up=self.catch_up, lock=self.lock
        )
        self.stop_pressed = False
        self.reset_pressed = False
        self.auxiliary_shows: bool | None = None  # stuck: closed or open; None: the truth
        self.pin_factory = self._build_pins()

    def now_s(self) -> float:
        return self.clock.now_s()

    def catch_up(self) -> None:
        """Bring converters and plant to the present."""
        self.bring_to(self.now_s())

    def bring_to(self, at_s: float) -> None:
        """The converters first: what they sampled was before whatever comes now.

        Of these the second line's last. It never stops converting, and takes the plant with it
        from one conversion to the next: so it drops the coil at its time, however long ago.
        """
        with self.lock:
            for chip in self._in_turn:
                if chip.due_s <= at_s:
                    chip.catch_up(at_s)
            self.plant.advance(at_s)

    def change(self, act: Callable[[], None]) -> None:
        """Do something to the plant now; the circuit is solved anew after it."""
        with self.lock:
            self.bring_to(self.now_s())
            self.plant.change(self.now_s(), act)

    def chips_named(self, name: str | None) -> list[ADS1115]:
        """The one of that name, or all. Raises ValueError for an unknown one."""
        if name is None:
            return list(self.chips.values())
        self.address_of(name)
        return [self.chips[name]]

    def address_of(self, name: str) -> int:
        try:
            return self.settings.converters[name].address
        except KeyError:
            known = ", ".join(self.chips)
            raise ValueError(f"no converter is named {name!r}; there are: {known}") from None

    def lead_of(self, channel: str) -> Lead:
        try:
            return self.leads[Channel(channel)]
        except KeyError:
            raise ValueError(f"channel {channel} is not fitted in these settings") from None

    # --- wiring

    def _build_leads(self) -> dict[Channel, Lead]:
        channels = self.settings.channels
        leads = {
            Channel.FRONT_CELL: self._cell_lead(channels.front_cell, 0),
            Channel.SHUNT: self._shunt_lead(channels.shunt),
        }
        if channels.far_cell is not None:
            leads[Channel.FAR_CELL] = self._cell_lead(channels.far_cell, -1)
        return leads

    def _cell_lead(self, channel: CellChannel, group: int) -> Lead:
        plant = self.plant
        return self._lead(
            lambda: (plant.cell_v(group), plant.cell_ripple_v(group)),
            1 / channel.gain,
            channel.offset_volts,
            open_input_v(channel),
        )

    def _shunt_lead(self, channel: ShuntChannel) -> Lead:
        return self._lead(
            self.shunt.shown_a,
            channel.ohms / channel.gain,
            channel.offset_amperes,
        )

    def _build_shunt(self) -> Shunt:
        return Shunt(
            self.plant_settings.converters.shunt,
            self.plant,
            ohm=self.settings.channels.shunt.ohms,
            start_s=self.now_s(),
        )

    def _lead(
        self,
        true: Callable[[], tuple[float, float]],
        scale: float,
        offset: float,
        open_v: float = 0.0,
    ) -> Lead:
        """The plant is what the settings' calibration says: they belong to the same build."""
        ours = self.plant_settings.converters.leads
        return Lead(
            self.plant,
            true,
            scale=scale,
            offset=offset,
            filter_hz=self.plant_settings.converters.filter_hertz,
            start_s=self.now_s(),
            ohm=ours.ohms,
            bleed_ohm=ours.bleed_kilohms * 1000,
            open_v=open_v,
            stray_v=ours.stray_v,
        )

    def _build_second_line(self) -> SecondLineWiring | None:
        if self.settings.second_line is None:
            return None
        return SecondLineWiring(
            self.settings.second_line,
            self.plant,
            self.plant_settings.converters,
            start_s=self.now_s(),
        )

    def _converters_in_turn(self) -> list[str]:
        """The second line's is the last."""
        second_line = self.settings.second_line
        last = second_line.converter if second_line else None
        return sorted(self.settings.converters, key=lambda name: name == last)

    def _build_chip(self, name: str, seed: int) -> ADS1115:
        ours = self.plant_settings.converters
        tolerance = Tolerance(
            clock_error=ours.clock_error_percent / 100,
            gain_error=ours.gain_error_percent / 100,
            offset_lsb=ours.offset_lsb,
            noise_factor=ours.noise_factor,
            supply_v=self.settings.converters[name].supply_volts,
        )
        return ADS1115(self._analog_inputs(name), Random(f"{seed} {name}"), tolerance, self.now_s())

    def _analog_inputs(self, name: str) -> Analog:
        """Positive inputs follow their leads; the rest is at ground.

        Of a pair of its own with its wires swapped, the negative input follows.
        """
        pins: list[Lead | None] = [None] * 4
        negatives: list[Lead | None] = [None] * 4
        for inputs, lead in self._leads_on(name):
            pins[int(inputs[0])] = lead
            if inputs in OWN_PAIRS:
                negatives[int(inputs[2])] = lead

        def volts(pin: int, middle_s: float, span_s: float) -> float:
            lead, negative = pins[pin], negatives[pin]
            if negative is not None:
                return -negative.volts(middle_s, span_s) if negative.reversed else 0.0
            if lead is None or (lead.reversed and lead in negatives):
                return 0.0
            return lead.volts(middle_s, span_s)

        return volts

    def _leads_on(self, name: str) -> Iterator[tuple[Inputs, Lead]]:
        """The leads at a converter, with its inputs."""
        for channel, lead in self.leads.items():
            wiring = getattr(self.settings.channels, channel.value)
            if wiring.converter == name:
                yield wiring.inputs, lead
        second_line = self.settings.second_line
        if second_line and self.second_line and second_line.converter == name:
            yield second_line.inputs, self.second_line.lead

    def _build_pins(self) -> PlantFactory:
        factory = PlantFactory(
            self.clock.now_s,
            keeps_level=self.plant_settings.outputs_of_a_dead_owner == "keep_level",
        )
        factory.before_read = self.catch_up
        factory.listener = self._output_changes
        auxiliary, panel = self.settings.contactor.auxiliary, self.settings.panel
        if auxiliary is not None:
            mirrored = auxiliary.contact == "normally_closed"
            factory.contacts[auxiliary.pin] = lambda: self._shown_closed() is not mirrored
        if panel.stop_button is not None:
            factory.contacts[panel.stop_button.pin] = lambda: not self.stop_pressed
        if panel.reset_button is not None:
            factory.contacts[panel.reset_button.pin] = lambda: self.reset_pressed
        if self.settings.second_line and (wiring := self.second_line):
            factory.contacts[self.settings.second_line.pin] = lambda: wiring.alert
        return factory

    def _shown_closed(self) -> bool:
        if self.auxiliary_shows is not None:
            return self.auxiliary_shows
        return self.plant.contactor.auxiliary_closed(self.now_s())

    def _output_changes(self, pin: int, level: bool) -> None:
        mains = self.settings.mains_contactor
        if pin == self.settings.contactor.pin:
            self._drive(self.plant.contactor, level)
        elif mains is not None and pin == mains.pin and self.plant.mains is not None:
            self._drive(self.plant.mains, level)

    def _drive(self, switch: Switch, level: bool) -> None:
        self.catch_up()
        with self.lock:
            self.plant.drive(switch, level, self.clock.now_s())
