"""The messages' own settings file: who is told what, and when not."""

import re
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, Field, model_validator

from supervisor.settings.base import Settings

Topic = Literal["trips", "cues", "finished", "blind", "started", "record"]
CLOCK_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
NAME = re.compile(r"[a-z][a-z0-9_-]{0,29}")
ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://\S+")
PAGE = re.compile(r"https?://[^\s@]+")  # no "@": everybody who gets a message sees it


def _clock_time(text: str) -> str:
    if not CLOCK_TIME.fullmatch(text):
        raise ValueError('This must be a time of day from "00:00" to "23:59", in quotes.')
    return text


def _name(text: str) -> str:
    if not NAME.fullmatch(text):
        raise ValueError("A target's name must be a short word of small letters, digits, _ and -.")
    return text


def _address(text: str) -> str:
    if not ADDRESS.fullmatch(text):
        raise ValueError("url must be one address without spaces: a kind, then ://, then where.")
    return text


def _page(text: str) -> str:
    if not PAGE.fullmatch(text):
        raise ValueError(
            "page must be an address of http or https, without a user or password in it."
        )
    return text


def _time_zone(text: str) -> str:
    if text not in available_timezones():
        raise ValueError("This machine knows no such time zone; one is Europe/Zurich.")
    return text


def _some(topics: tuple[Topic, ...]) -> tuple[Topic, ...]:
    if not topics:
        raise ValueError("tell must name something; a target that is told nothing is none.")
    return topics


ClockTime = Annotated[str, AfterValidator(_clock_time)]


class Target(Settings):
    """One way to reach somebody."""

    # Not in its repr: it may hold a password.
    url: Annotated[str, Field(min_length=8, max_length=2000), AfterValidator(_address)] = Field(
        repr=False, description="Where to send, as apprise writes it; it may hold a password."
    )
    tell: Annotated[tuple[Topic, ...], AfterValidator(_some)] = Field(
        default=("trips", "blind", "cues", "finished", "record"),
        description="What is told here: trips (with them failing to open, and a lockout found at a "
        "start), blind, cues, finished, record, started.",
    )


class QuietHours(Settings):
    """What can wait is held back so long, by the clock on the wall."""

    begin: ClockTime = Field(description='Time of day in quotes, like "22:00".')
    end: ClockTime = Field(description='Time of day in quotes, like "07:00"; past midnight or not.')

    @model_validator(mode="after")
    def _are_two(self) -> "QuietHours":
        if self.begin == self.end:
            raise ValueError("begin and end are the same: nobody can tell whether that is all day.")
        return self


class MessageSettings(Settings):
    """The whole file."""

    targets: Annotated[
        dict[Annotated[str, AfterValidator(_name)], Target], Field(min_length=1, max_length=20)
    ] = Field(description="Whom to tell, by names of your own.")
    quiet_hours: QuietHours | None = Field(
        default=None,
        description="Holds back what can wait; never a trip, a contactor that did not open, blind, "
        "or an ignored cue.",
    )
    time_zone: Annotated[str, AfterValidator(_time_zone)] | None = Field(
        default=None, description="For quiet hours and times told; left out: this machine's."
    )
    cue_ignored_after_seconds: Annotated[float, Field(ge=10, le=3600)] = Field(
        default=120, description="A cue that says NOW is shown so long, and nobody has acted on it."
    )
    blind_after_seconds: Annotated[float, Field(ge=5, le=3600)] = Field(
        default=60, description="So long without fresh data: whoever relies on them must know."
    )
    page: Annotated[str, Field(max_length=100), AfterValidator(_page)] | None = Field(
        default=None, description="Address of the page, put into every message."
    )
    most_per_hour: Annotated[int, Field(ge=1, le=60)] = Field(
        default=6, description="To each target, alarms not counted; the last of them sums up."
    )

    @property
    def zone(self) -> ZoneInfo | None:
        """None: this machine's."""
        return None if self.time_zone is None else ZoneInfo(self.time_zone)
