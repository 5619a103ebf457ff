"""The second line on the board: its sense lead, and its ALERT line to coil driver and pin."""

from supervisor.settings.hardware import SecondLine
from supervisor.simulator.ads1115 import ADS1115
from supervisor.simulator.lead import Lead
from supervisor.simulator.parts.sensing import ConverterSettings
from supervisor.simulator.plant import Plant


class SecondLineWiring:
    """A lead of its own to the front cell; from ALERT a wire to the AND before the coil and a pin.

    The chip is heard at the very moment its comparator acts, whoever makes it catch up.
    ``elsewhere_v`` is what the lead sits on when that is not the front cell.
    """

    def __init__(
        self, settings: SecondLine, plant: Plant, sensing: ConverterSettings, *, start_s: float
    ) -> None:
        self._plant = plant
        self._chip: ADS1115 | None = None
        self._wire_cut = False
        self.elsewhere_v: float | None = None
        self.lead = Lead(
            plant,
            self._true_v,
            scale=1 / settings.gain,
            offset=0.0,
            filter_hz=sensing.filter_hertz,
            start_s=start_s,
            ohm=sensing.leads.ohms,
            bleed_ohm=sensing.leads.bleed_kilohms * 1000,
            stray_v=sensing.leads.stray_v,
        )

    def attach(self, chip: ADS1115) -> None:
        self._chip = chip
        chip.on_alert = lambda _level, at_s: self._gate(at_s)

    @property
    def alert(self) -> bool:
        """Whether coil driver and pin see the line low, which holds the coil off."""
        return not (self._chip is None or self._chip.alert_level or self._wire_cut)

    @property
    def is_whole(self) -> bool:
        """Its wire and its lead are where they belong."""
        return not self._wire_cut and self.elsewhere_v is None

    def cut_wire(self, cut: bool, at_s: float) -> None:
        """Break the wire at the chip, so that the pull-up holds the rest of it; or mend it."""
        self._wire_cut = cut
        self._gate(at_s)

    def _gate(self, at_s: float) -> None:
        self._plant.enable_contactor(not self.alert, at_s)

    def _true_v(self) -> tuple[float, float]:
        if self.elsewhere_v is not None:
            return self.elsewhere_v, 0.0
        return self._plant.cell_v(0), self._plant.cell_ripple_v(0)
