"""What all faults share: settings that know how to strike the rig and to heal."""

from supervisor.settings.base import Settings
from supervisor.simulator.rig import Rig


class FaultSettings(Settings):
    """Base of the faults. ``strike`` and ``heal`` raise ValueError when the rig lacks the part."""

    kind: str

    def strike(self, rig: Rig) -> None:
        raise NotImplementedError

    def heal(self, rig: Rig) -> None:
        """Undo it; what happens in an instant has nothing to undo."""


def set_on(rig: Rig, part: object, name: str, value: object) -> None:
    """Change a part of the plant now; the circuit is solved anew after it."""
    rig.change(lambda: setattr(part, name, value))
