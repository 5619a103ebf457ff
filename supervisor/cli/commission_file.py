"""The settings file of a walk: the same all along, but for what a calibration writes."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from supervisor.commissioning.person import Unanswered
from supervisor.control.build_steps import plain
from supervisor.settings.document import KeyPath, as_keys
from supervisor.settings.edit import edited
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.profiles import with_profile
from supervisor.settings.rewrite import write_edited
from supervisor.settings.source import read_text
from supervisor.settings.text import parse
from supervisor.sizing.fitness import examine_document, fit

SHUNT = "channels.shunt."
CHANNELS = ("front_cell", "far_cell", "shunt")
CALIBRATION = ("gain", "offset_volts", "offset_amperes", "gain_uncertainty_percent")


class SettingsFile:
    """Read once, as a profile of it. Raises SettingsFaults when it is not fit, and click.UsageError
    when there is no such profile."""

    def __init__(self, path: Path, profile: str | None = None) -> None:
        self.path = path
        self._profile = profile
        self._read()

    @property
    def content(self) -> bytes:
        """What the settings were read from."""
        return self._text.encode()

    def holds(self) -> None:
        """Raises Unanswered when it is another file than was read, if only by a remark: the
        certificate names it by its hash."""
        try:
            found = read_text(self.path)
        except SettingsFaults as faults:
            found, why = None, f"{faults}\n"
        else:
            why = ""
        if found != self._text:
            raise Unanswered(
                f"{self.path} was changed while this walk went on\n{why}"
                "  why: what is tried with one file must not go on record under another\n"
                "  what to do: see what was changed, and by whom; then begin again: what was done "
                "before counts where its settings are the same"
            )

    def write(self, changes: Mapping[str, float], at: datetime) -> Path | None:
        """The file as it was before, kept; None when nothing had to be written. The file is left
        alone when the new settings would not do. Raises Unanswered.

        What is of a profile's own shunt is written into that profile.
        """
        self.holds()
        placed = self._placed(changes)
        try:
            text = edited(self._text, placed, str(self.path))
            fit(examine_document(parse(text, f"{self.path} (as it would be)")))
            kept = write_edited(self.path, placed, at)
            self._read()
        except SettingsFaults as faults:
            raise Unanswered(refused(faults)) from None
        except OSError as error:
            raise Unanswered(
                f"the new settings are not written: {self.path}: {error.strerror or error}\n"
                "  why: a channel reads right only with what its calibration has found\n"
                "  what to do: look at that file and its disk, then do the step again"
            ) from None
        return kept

    def calibrated(self, settings: SupervisorSettings) -> dict[str, float]:
        """What these settings have calibrated otherwise than the file, by dotted path."""
        return {
            f"channels.{channel}.{key}": value
            for channel in CHANNELS
            for key, value in calibration_of(settings, channel).items()
            if value is not None and value != calibration_of(self.settings, channel).get(key)
        }

    def text_with(self, changes: Mapping[str, float]) -> str:
        """The file's text with other values, for a copy. Raises SettingsFaults."""
        return edited(self._text, self._placed(changes), str(self.path))

    def _placed(self, changes: Mapping[str, float]) -> dict[KeyPath, float]:
        return {self._place(path): value for path, value in changes.items()}

    def _place(self, path: str) -> KeyPath:
        """Where a value stands in the file."""
        settings = self.settings
        if settings.is_of_profile and path.startswith(SHUNT):
            changed = settings.profiles[settings.profile].changes
            if any(one.startswith(SHUNT) for one in changed):
                return ("profiles", settings.profile, "overrides", path)
        return as_keys(path)

    def _read(self) -> None:
        self._text = read_text(self.path)
        whole = fit(examine_document(parse(self._text, str(self.path))))
        name = whole.profile if self._profile is None else self._profile
        known = (whole.profile, *whole.profiles)
        if name not in known:
            raise click.UsageError(
                f"{self.path} has no profile {name!r}; there are: {', '.join(known)}"
            )
        self.settings: SupervisorSettings = with_profile(whole, name)


def calibration_of(settings: SupervisorSettings, channel: str) -> dict[str, Any]:
    """Gain, offset and what is unsure of them, as set; empty of a channel that there is not."""
    block = plain(settings, f"channels.{channel}") or {}
    return {key: block[key] for key in CALIBRATION if key in block}


def refused(faults: SettingsFaults) -> str:
    told = "\n".join(str(fault) for fault in faults.faults)
    return f"the new settings would not pass, and are not written:\n{told}"
