"""The reference of scenario files, from the models themselves."""

from collections.abc import Iterator

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from supervisor.bench.operators import OperatorSettings
from supervisor.bench.scenario import Act, Expected, Kill, Knob, Scenario, Seen
from supervisor.settings.expected import locate
from supervisor.settings.reference import value_words
from supervisor.simulator.faults import kinds
from supervisor.simulator.parts.cells import CellsSettings
from supervisor.simulator.parts.plant import PlantSettings
from supervisor.simulator.parts.sensing import ConverterSettings
from supervisor.simulator.parts.supply import BenchSupplySettings, SupplySettings
from supervisor.simulator.parts.switches import (
    CoilSettings,
    SwitchSettings,
    TransformerSettings,
)
from supervisor.simulator.parts.thermal import ThermalSettings, WarmedByCurrent, WarmedByLoss

HEAD = """\
# Scenarios

Every key of a scenario file, by block. The files in [scenarios/](scenarios/) are examples; how one
is written stands in [DEVELOPERS.md](../DEVELOPERS.md).

Made by `holdwatch drill --reference`; tests keep it in step with the code.
"""
TABLE = ("| key | value | left out | meaning |", "|---|---|---|---|")
BLOCKS: tuple[tuple[str, type[BaseModel]], ...] = (
    ("At the top", Scenario),
    ("`timeline`, each", Act),
    ("`timeline.knob`", Knob),
    ("`timeline.kill`", Kill),
    ("`timeline.expect`", Seen),
    ("`expect`", Expected),
    ("`operator`", OperatorSettings),
    ("`plant`", PlantSettings),
    ("`plant.cells`", CellsSettings),
    ("`plant.supply`, `kind: rectifier`", SupplySettings),
    ("`plant.supply`, `kind: bench`", BenchSupplySettings),
    ("`plant.switches`", SwitchSettings),
    ("`plant.switches.coil`", CoilSettings),
    ("`plant.switches.transformer`", TransformerSettings),
    ("`plant.converters`", ConverterSettings),
    ("`plant.thermal`", ThermalSettings),
    ("`plant.thermal.heat_sink`, `plant.thermal.transformer`", WarmedByLoss),
    ("`plant.thermal.cells`", WarmedByCurrent),
)


def scenario_reference() -> str:
    """Markdown of all keys and of every kind of fault."""
    sections = [_section(title, model) for title, model in BLOCKS]
    faults = [_section(f"fault `{kind}`", model) for kind, model in sorted(kinds().items())]
    return "\n".join([HEAD, *sections, *faults])


def _section(title: str, model: type[BaseModel]) -> str:
    about = " ".join((model.__doc__ or "").split())
    rows = list(_rows(model))
    table = ["", *TABLE, *rows] if rows else []
    return "\n".join([f"## {title}", "", about, *table]) + "\n"


def _rows(model: type[BaseModel]) -> Iterator[str]:
    for name, info in model.model_fields.items():
        if name != "kind" or not info.is_required():
            cells = (f"`{name}`", _kind(model, name), _left_out(info), info.description or "")
            yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def _kind(model: type[BaseModel], name: str) -> str:
    spot = locate(model, (name,))
    words, unit = spot.expected(), spot.unit
    if spot.is_block or words == "something else":  # one of several blocks
        return "a block"
    return words if not unit or unit in words else f"{words}, in {unit}"


def _left_out(info: FieldInfo) -> str:
    if info.is_required():
        return "must be given"
    default = info.get_default(call_default_factory=True)
    return "its defaults" if isinstance(default, BaseModel) else value_words(default)
