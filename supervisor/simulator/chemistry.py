"""What a kind of cell is made of: a file with the published points of its open-circuit curve."""

import math
from functools import lru_cache
from importlib.resources import as_file, files
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, model_validator

from supervisor.settings.base import Settings
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.load import read_document, validate
from supervisor.simulator.open_circuit import OpenCircuitCurve

REFERENCE_C = 25.0
ZERO_K = 273.15
GAS_J_PER_MOL_K = 8.314462618

Soc = Annotated[float, Field(ge=-0.1, le=1.2)]
PointVolts = Annotated[float, Field(ge=0, le=6)]


class Chemistry(Settings):
    """A file in ``config/chemistries/``."""

    name: Annotated[str, Field(min_length=3, max_length=60)]
    source: str = Field(description="Where the numbers were published.")
    open_circuit: tuple[tuple[Soc, PointVolts], ...] = Field(
        min_length=3, description="State of charge, volts; both rising."
    )
    activation_kilojoules_per_mole: Annotated[float, Field(ge=0, le=100)] = Field(
        default=0, description="How resistance falls with warmth (Arrhenius)."
    )
    entropy_millivolts_per_kelvin: Annotated[float, Field(ge=-2, le=2)] = Field(
        default=0, description="How the open-circuit voltage goes with warmth."
    )

    @model_validator(mode="after")
    def _points_rise(self) -> Self:
        for (soc, volts), (next_soc, next_v) in pairwise(self.open_circuit):
            if not (next_soc > soc and next_v > volts):
                raise ValueError(
                    f"open_circuit must rise: [{next_soc:g}, {next_v:g}] comes after "
                    f"[{soc:g}, {volts:g}]"
                )
        return self

    def curve(self) -> OpenCircuitCurve:
        return OpenCircuitCurve(self.open_circuit)

    def resistance_factor(self, celsius: float) -> float:
        """Resistance to that at 25 degrees."""
        per_kelvin = 1 / (celsius + ZERO_K) - 1 / (REFERENCE_C + ZERO_K)
        return math.exp(self.activation_kilojoules_per_mole * 1000 / GAS_J_PER_MOL_K * per_kelvin)

    def entropic_v(self, celsius: float) -> float:
        return self.entropy_millivolts_per_kelvin / 1000 * (celsius - REFERENCE_C)


@lru_cache(maxsize=16)
def load_chemistry(name: str) -> Chemistry:
    """The shipped one of that name, or the file at that path.

    Raises ValueError with what is wrong with it.
    """
    with as_file(files("supervisor") / "examples" / "chemistries") as shipped:
        known = sorted(path.stem for path in shipped.glob("*.yaml"))
        path = shipped / f"{name}.yaml" if name in known else Path(name)
        if name not in known and path.suffix != ".yaml":
            raise ValueError(
                f"no chemistry is named {name!r}; there are: {', '.join(known)}. "
                f"One of your own is given as the path of its .yaml file"
            )
        try:
            return validate(Chemistry, read_document(path))
        except SettingsFaults as faults:
            raise ValueError(str(faults)) from None
