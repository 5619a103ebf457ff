"""Profiles: other values for another job with the same build, such as a few cells for practice, or
the last hours on a small regulated supply."""

import json
import re
from typing import Annotated, Any

from pydantic import Field

from supervisor.settings.base import Settings

# What a profile may change. Pins, buses and leads are the build's: nobody rewires them for a job.
CHANGEABLE = ("bank.cells_in_parallel", "channels.shunt.", "protection.", "charge.")
WIRED = ("channels.shunt.converter", "channels.shunt.inputs")
NAME = re.compile(r"[a-z][a-z0-9_]{0,29}")


class Profile(Settings):
    """Another job, chosen when closing (`holdwatch close --profile NAME`)."""

    about: Annotated[str, Field(min_length=8, max_length=200)] = Field(
        description="What it is for; said when it is chosen."
    )
    overrides: dict[str, Any] = Field(
        description="Other values, at dotted paths of these settings; for the number of cells, the "
        "shunt, the protection and the charge only."
    )
    leave_out: tuple[Annotated[str, Field(min_length=3, max_length=100)], ...] = Field(
        default=(),
        description="Dotted paths of optional blocks that this job does without; a rule that the "
        "risk needs wants its reason in protection.without all the same.",
    )
    steps: tuple[Annotated[str, Field(min_length=3, max_length=200)], ...] = Field(
        default=(), description="What to do by hand before closing, asked for one by one."
    )

    @property
    def changes(self) -> dict[str, Any]:
        """Dotted paths and what stands there then; None: nothing."""
        return self.overrides | dict.fromkeys(self.leave_out)


def is_changeable(path: str) -> bool:
    """Whether a profile may change the value at this dotted path."""
    return path.startswith(CHANGEABLE) and path not in WIRED


def with_profile(settings: Any, name: str) -> Any:
    """The settings as they are with this profile; the file's own under their own name.

    Raises KeyError for an unknown one. Sound when the file was: ``sizing.fitness`` examines each.
    """
    if name == settings.profile:
        return settings
    profile = settings.profiles[name]
    data = settings.model_dump(mode="json")
    for path, value in (*profile.changes.items(), ("profile", name)):
        *blocks, key = path.split(".")
        block = data
        for step in blocks:
            if not isinstance(block.get(step), dict):
                block[step] = {}
            block = block[step]
        block[key] = value
    return type(settings).model_validate_json(json.dumps(data))
