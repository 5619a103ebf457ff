"""The settings that a drawn build starts from: the example, and nothing that a build can lack.

Overrides can add a part and not take one away.
"""

from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

import supervisor
from supervisor.settings.document import Document
from supervisor.settings.load import read_document

EXAMPLE = Path(supervisor.__file__).parent / "examples" / "hut-bank.yaml"
NAME = "bare-bank.yaml"
OPTIONAL = (
    "channels.far_cell",
    "charge",
    "contactor.auxiliary",
    "contactor.dropout_milliseconds",
    "mains_contactor",
    "profiles",
    "protection.balance",
    "protection.knob_speed",
    "protection.session_hold",
    "protection.supply_thermal",
)
NOT_FITTED = "Drawn by the campaign without it, to see what the others do"
CAN_LACK = ("balance", "supply_thermal", "temperature")


@cache
def bare_bank() -> Document:
    """Valid as it is."""
    data = deepcopy(read_document(EXAMPLE).data)
    for path in OPTIONAL:
        *blocks, key = path.split(".")
        block: dict[str, Any] = data
        for name in blocks:
            block = block[name]
        block.pop(key, None)
    data["contactor"]["drive"] = "level"
    data["protection"]["overvoltage_high_set"]["trip_volts"] = 3.62  # as a level opens later
    data["protection"]["without"] = dict.fromkeys(CAN_LACK, NOT_FITTED)
    return Document(NAME, data, {})
