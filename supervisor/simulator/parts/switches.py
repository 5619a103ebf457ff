"""Settings of the simulated contactor and mains relay."""

from typing import Annotated

from pydantic import Field

from supervisor.settings.base import Settings

SwitchMilliseconds = Annotated[float, Field(gt=0, le=5000)]


class SwitchSettings(Settings):
    """What contactor and mains relay really do, whatever the settings file claims."""

    pull_in_milliseconds: SwitchMilliseconds = 25
    release_milliseconds: SwitchMilliseconds = 12
    mains_pull_in_milliseconds: SwitchMilliseconds = 15
    mains_release_milliseconds: SwitchMilliseconds = 10
