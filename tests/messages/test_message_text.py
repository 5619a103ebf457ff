"""What a message says, and that it fits."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.messages import wording
from supervisor.messages.message import LONGEST, LONGEST_TITLE, Draft, Message, Place, Weight
from supervisor.messages.wording import Trip

ZURICH = ZoneInfo("Europe/Zurich")
HUT = Place("Mountain hut storage bank", is_simulated=False)
WALL_S = 1_782_907_402.0  # 2026-07-01 12:03:22 UTC
# The basic alphabet of text messages without its extension (3GPP TS 23.038, 6.2.1).
GSM = set(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    "ÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
TRIP = Trip(
    "overvoltage", "front cell at 3.612 V for 1.2 s", "let it rest, then look at the front cell",
    3.612, 3.6, "V", "confirmed", 0.042,
)  # fmt: skip


def message(draft: Draft, **changes: object) -> Message:
    one = {
        "number": 12, "topic": draft.topic, "weight": draft.weight, "what": draft.what,
        "place": draft.place, "body": draft.body(ZURICH, "http://hut:8462/"), "late_s": 0.0,
        "noticed_s": 0.0, "noticed_wall_s": WALL_S,
    }  # fmt: skip
    return Message(**(one | changes))  # type: ignore[arg-type]


def test_a_trip_says_what_where_by_how_much_when_what_was_done_and_what_to_check() -> None:
    told = message(wording.trip(TRIP, HUT, WALL_S))
    assert told.title == "TRIP overvoltage: Mountain hut storage bank"
    assert told.text(0.0, tries=1).splitlines() == [
        "measured 3.612 V, limit 3.600 V",
        "front cell at 3.612 V for 1.2 s",
        "when: 2026-07-01 14:03:22 CEST (12:03:22 UTC)",
        "did: coil off, seen to open in 42 ms, locked out",
        "check: let it rest, then look at the front cell",
        "http://hut:8462/",
        "message 12",
    ]


def test_a_simulated_one_says_so_in_front() -> None:
    place = Place("Hut", is_simulated=True)
    assert message(wording.trip(TRIP, place, WALL_S)).title == "SIMULATED TRIP overvoltage: Hut"


def test_a_trip_from_outside_the_rules_is_told_in_words() -> None:
    stopped = Trip("external", "the stop button was pressed", "look", outcome="confirmed")
    told = message(wording.trip(stopped, HUT, WALL_S))
    assert told.title == "TRIP stop button, power cut or kill: Mountain hut storage bank"
    welded = wording.trip(Trip("external", "x", "y", outcome="failed"), HUT, WALL_S)
    assert welded.what == "DID NOT OPEN after trip stop button, power cut or kill"


def test_one_that_is_old_when_it_is_sent_says_so_first() -> None:
    told = message(wording.trip(TRIP, HUT, WALL_S), late_s=600.0, noticed_s=50.0)
    assert told.text(50.0 + 240.0, tries=3).startswith("late by 14 min\n")
    assert told.text(50.0, tries=3).endswith("\nmessage 12, try 3")


def test_one_on_time_does_not_say_that_it_is_late() -> None:
    assert "late" not in message(wording.trip(TRIP, HUT, WALL_S)).text(60.0, tries=1)


def test_in_doubt_no_figure_is_shown_against_a_limit_it_did_not_pass() -> None:
    doubt = Trip("stale", "no reading", "", 0.2, 0.4, "s", "confirmed", 0.04, by_doubt=True)
    assert "measured" not in message(wording.trip(doubt, HUT, WALL_S)).body


def test_one_that_failed_to_open_is_the_heaviest_and_names_the_mains() -> None:
    draft = wording.trip(Trip("overcurrent", "x", "y", outcome="failed"), HUT, WALL_S)
    assert draft.weight is Weight.FAILED_TO_OPEN
    assert draft.what == "DID NOT OPEN after trip overcurrent"
    assert draft.check.startswith("cut the mains by hand")


TEXT = st.text(max_size=400)


@given(TEXT, TEXT, TEXT, TEXT, st.booleans(), st.floats(0, 1e9), st.integers(1, 99))
def test_whatever_it_says_it_fits_three_parts_and_obeys_nobody(
    what: str, bank: str, told: str, check: str, is_simulated: bool, late_s: float, tries: int
) -> None:
    place = Place(bank, is_simulated)
    trip = wording.trip(TRIP, place, WALL_S)
    draft = Draft("trips", trip.weight, what, place, WALL_S, trip.measured, told, trip.did, check)
    one = message(draft, number=99_999, late_s=late_s)
    text = one.text(0.0, tries)
    assert len(one.title) <= LONGEST_TITLE
    assert "\n" not in one.title
    assert len(one.title) + 1 + len(text) <= LONGEST
    assert "14:03:22" in text
    assert "coil off" in text
    assert all(c.isprintable() or c in " \n" for c in one.title + text)


ODD = (
    st.floats() | st.integers() | st.just(10**400) | st.text(max_size=400) | st.booleans()
    | st.none() | st.sampled_from([1e300, -1e300, float("inf"), float("nan"), 1e9, -1e9])
)  # fmt: skip
KEYS = ("rule", "remedy", "measured", "limit", "unit", "was_closed", "by_doubt")


@given(
    st.fixed_dictionaries(dict.fromkeys(KEYS, ODD)),
    st.fixed_dictionaries({"outcome": ODD, "opened_in_s": ODD}),
    st.text(max_size=400),
    st.floats() | st.floats(0, 1e10),
)
def test_an_odd_event_fits_as_well(
    data: dict[str, object], opening: dict[str, object], text: str, wall_s: float
) -> None:
    trip = Trip.from_event(text, data, opening)
    one = message(wording.trip(trip, HUT, wall_s), number=99_999, late_s=1e9)
    assert len(one.title) <= LONGEST_TITLE
    assert len(one.title) + 1 + len(one.text(0.0, 99)) <= LONGEST
    assert "when: " in one.body
    assert "did: " in one.body
    assert not any(word in one.body for word in ("inf V", "nan V", "inf ms", "nan ms"))


@pytest.mark.parametrize("odd", [float("inf"), float("-inf"), float("nan"), 1e300, 10**400, True])
def test_an_odd_figure_is_not_shown(odd: float) -> None:
    for measured, limit in ((odd, 3.6), (3.612, odd)):
        data = {"rule": "overvoltage", "measured": measured, "limit": limit, "unit": "V"}
        trip = Trip.from_event("overvoltage: x", data, {"opened_in_s": odd})
        assert trip.against == ""
        assert trip.did == "coil off, locked out; not known yet whether it opened"


@given(st.sampled_from(["°C", "V"]), st.floats(0, 80))
def test_its_own_words_stay_within_the_alphabet_of_text_messages(
    unit: str, measured: float
) -> None:
    hot = Trip("temperature", f"{measured:.1f} {unit}", "air", measured, 60.0, unit, "failed")
    told = message(wording.trip(hot, HUT, WALL_S))
    assert set(told.title + told.text(1e6, 2)) <= GSM
