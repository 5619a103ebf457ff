"""Settings of the simulated plant: its parts, each in a file of its own."""

from typing import Literal

from pydantic import Field

from supervisor.settings.base import Settings
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.sensing import ConverterSettings
from supervisor.simulator.parts.supply import AnySupplySettings, SupplySettings
from supervisor.simulator.parts.switches import SwitchSettings
from supervisor.simulator.parts.thermal import ThermalSettings


class PlantSettings(Settings):
    """Everything the simulator needs beyond the supervisor's own settings."""

    cells: CellsSettings = CellsSettings()
    supply: AnySupplySettings = SupplySettings()
    switches: SwitchSettings = SwitchSettings()
    converters: ConverterSettings = ConverterSettings()
    thermal: ThermalSettings = ThermalSettings()
    outputs_of_a_dead_owner: Literal["keep_level", "drop"] = Field(
        default="keep_level",
        description="What the kernel does with output pins when the process is killed.",
    )
