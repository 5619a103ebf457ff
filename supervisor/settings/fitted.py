"""Which channels are wired."""

from supervisor.readings import Channel
from supervisor.settings.hardware import CellChannel, ShuntChannel
from supervisor.settings.model import SupervisorSettings


def fitted_channels(settings: SupervisorSettings) -> dict[Channel, CellChannel | ShuntChannel]:
    """The wired channels with their settings, in the order of a scan."""
    wired = ((channel, getattr(settings.channels, channel.value)) for channel in Channel)
    return {channel: wiring for channel, wiring in wired if wiring is not None}


def fitted_cells(settings: SupervisorSettings) -> tuple[Channel, ...]:
    """The wired channels that sense a cell's voltage."""
    return tuple(c for c in fitted_channels(settings) if c is not Channel.SHUNT)
