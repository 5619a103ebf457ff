"""What is heard: "now" every 15 s, "soon" every 5 min, "note" once; nothing while silenced."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.guidance.attention import LASTS_S, Attention
from supervisor.guidance.cues import RANK, Cue
from supervisor.snapshot import Sound, Urgency

NOW, SOON, NOTE = Urgency.NOW, Urgency.SOON, Urgency.NOTE
STEP_S = 0.5
HOUR_S = 3600.0


def cue(urgency: Urgency, name: str = "ease_down") -> Cue:
    return Cue(name, urgency, "Ease down.", "")


def steps(from_s: float, to_s: float) -> Iterator[float]:
    """Half seconds, the end not included."""
    return (from_s + STEP_S * k for k in range(round((to_s - from_s) / STEP_S)))


def begins(
    attention: Attention, cues: list[Cue], to_s: float, from_s: float = 0.0
) -> list[tuple[float, Sound]]:
    """When a sound begins."""
    found, before = [], Sound.NONE
    for now_s in steps(from_s, to_s):
        sound = attention.sound(cues, now_s, alarm=False)
        if sound is not before and sound is not Sound.NONE:
            found.append((now_s, sound))
        before = sound
    return found


@pytest.mark.parametrize(
    ("urgency", "sound", "at_s"),
    [
        (NOW, Sound.NOW, [15.0 * k for k in range(240)]),
        (SOON, Sound.SOON, [300.0 * k for k in range(12)]),
        (NOTE, Sound.NOTE, [0.0]),
    ],
)
def test_repeated_by_its_urgency(urgency: Urgency, sound: Sound, at_s: list[float]) -> None:
    assert begins(Attention(), [cue(urgency)], HOUR_S) == [(s, sound) for s in at_s]


@pytest.mark.parametrize(("urgency", "lasts_s"), [(NOW, 4.0), (SOON, 2.0), (NOTE, 1.0)])
def test_lasts_a_few_seconds(urgency: Urgency, lasts_s: float) -> None:
    attention = Attention()
    heard = [attention.sound([cue(urgency)], now_s, alarm=False) for now_s in steps(0.0, 15.0)]
    assert [sound is not Sound.NONE for sound in heard] == [s < lasts_s for s in steps(0.0, 15.0)]


def test_nothing_to_say_nothing_heard() -> None:
    assert begins(Attention(), [], HOUR_S) == []


def test_the_most_urgent_drowns_the_others() -> None:
    attention = Attention()
    assert attention.sound([cue(NOW), cue(SOON, "heat")], 0.0, alarm=False) is Sound.NOW
    assert attention.sound([cue(SOON, "heat")], 1.0, alarm=False) is Sound.SOON


def test_a_second_cue_is_heard_beside_an_old_one() -> None:
    attention = Attention()
    begins(attention, [cue(SOON)], 60.0)
    both = [cue(SOON), cue(SOON, "heat")]
    assert attention.sound(both, 60.0, alarm=False) is Sound.SOON
    assert begins(attention, both, 300.0, 62.5) == []


@pytest.mark.parametrize(("away_s", "anew"), [(0.5, False), (60.0, False), (60.5, True)])
@pytest.mark.parametrize("urgency", [SOON, NOTE])
def test_away_for_less_than_a_minute_it_has_not_ended(
    urgency: Urgency, away_s: float, anew: bool
) -> None:
    """Heard at 0 s, last seen at 9.5 s."""
    attention = Attention()
    begins(attention, [cue(urgency)], 10.0)
    back_s = 9.5 + away_s
    assert begins(attention, [], back_s, 10.0) == []
    assert bool(begins(attention, [cue(urgency)], back_s + 5, back_s)) is anew


def test_flickering_now_is_heard_no_more_often() -> None:
    attention, heard, before = Attention(), [], Sound.NONE
    for now_s in steps(0.0, 60.0):
        cues = [cue(NOW)] if round(now_s / STEP_S) % 3 else []
        sound = attention.sound(cues, now_s, alarm=False)
        if sound is Sound.NOW and before is not Sound.NOW:
            heard.append(now_s)
        before = sound if cues else before
    assert heard == [0.5, 15.5, 30.5, 45.5]


def test_a_more_urgent_version_is_heard_at_once() -> None:
    attention = Attention()
    begins(attention, [cue(NOTE)], 10.0)
    assert attention.sound([cue(SOON)], 10.0, alarm=False) is Sound.SOON
    assert attention.sound([cue(NOW)], 10.5, alarm=False) is Sound.NOW


def test_a_less_urgent_version_is_not_heard_anew() -> None:
    attention = Attention()
    begins(attention, [cue(NOW)], 10.0)
    assert begins(attention, [cue(SOON)], 300.0, 10.0) == []
    assert begins(attention, [cue(SOON)], 301.0, 300.0) == [(300.0, Sound.SOON)]


def test_between_two_urgencies_it_is_heard_no_more_often() -> None:
    """4 s of every 15 s, as if it stayed the more urgent one."""
    attention, heard_s = Attention(), 0.0
    for now_s in steps(0.0, 60.0):
        which = SOON if round(now_s / STEP_S) % 2 else NOW
        if attention.sound([cue(which)], now_s, alarm=False) is not Sound.NONE:
            heard_s += STEP_S
            assert now_s % 15.0 < LASTS_S[NOW]
    assert 0 < heard_s <= 4 * LASTS_S[NOW]


# Silence


def test_an_alarm_drowns_every_cue_and_lasts() -> None:
    attention = Attention()
    for now_s in steps(0.0, HOUR_S):
        assert attention.sound([cue(NOW)], now_s, alarm=True) is Sound.ALARM


@pytest.mark.parametrize("alarm", [True, False])
def test_silenced_for_its_time_and_no_longer(alarm: bool) -> None:
    attention = Attention()
    attention.sound([cue(NOW)], 0.0, alarm=alarm)
    attention.silence(1.0, 900.0)
    assert attention.silent_s(1.0) == 900.0
    for now_s in steps(1.0, 901.0):
        assert attention.sound([cue(NOW)], now_s, alarm=alarm) is Sound.NONE
    assert attention.silent_s(901.0) == 0.0
    expected = Sound.ALARM if alarm else Sound.NOW
    assert attention.sound([cue(NOW)], 901.0, alarm=alarm) is expected


@pytest.mark.parametrize(("urgency", "sound"), [(NOW, Sound.NOW), (SOON, Sound.SOON)])
def test_what_is_still_there_is_heard_again(urgency: Urgency, sound: Sound) -> None:
    attention = Attention()
    begins(attention, [cue(urgency)], 10.0)
    attention.silence(10.0, 900.0)
    assert begins(attention, [cue(urgency)], 912.0, 10.0) == [(910.0, sound)]


@pytest.mark.parametrize(("urgency", "sound"), [(SOON, Sound.SOON), (NOTE, Sound.NOTE)])
def test_what_came_up_in_silence_is_heard_after_it(urgency: Urgency, sound: Sound) -> None:
    attention = Attention()
    attention.silence(0.0, 60.0)
    assert begins(attention, [cue(urgency)], 61.0, 10.0) == [(60.0, sound)]


def test_what_has_gone_in_silence_is_not_heard_after_it() -> None:
    attention = Attention()
    attention.silence(0.0, 60.0)
    begins(attention, [cue(NOW)], 30.0)
    assert begins(attention, [], HOUR_S, 30.0) == []


names = st.sampled_from(["ease_down", "heat", "full"])
cue_lists = st.lists(
    st.builds(lambda name, urgency: cue(urgency, name), names, st.sampled_from(Urgency)),
    max_size=3,
    unique_by=lambda one: one.name,
).map(lambda cues: sorted(cues, key=lambda one: RANK[one.urgency]))
acts = st.lists(
    st.tuples(cue_lists, st.booleans(), st.floats(0.1, 400), st.none() | st.floats(1, 3600)),
    max_size=40,
)


@given(acts)
def test_silent_exactly_as_long_as_asked_for(
    acts: list[tuple[list[Cue], bool, float, float | None]],
) -> None:
    """An alarm is always heard but for that time, which a new one ends, and a new "now"."""
    attention, now_s, until_s, was_alarm = Attention(), 1000.0, 0.0, False
    urgent_s: dict[str, float] = {}
    for cues, alarm, step_s, silence_s in acts:
        now_s += step_s
        if silence_s is not None:
            attention.silence(now_s, silence_s)
            until_s = now_s + silence_s
        sound = attention.sound(cues, now_s, alarm=alarm)
        urgent = {one.name for one in cues if one.urgency is NOW}
        is_new = any(now_s - urgent_s.get(name, 0.0) > 60.0 for name in urgent)
        urgent_s |= dict.fromkeys(urgent, now_s)
        if (alarm and not was_alarm) or is_new:
            until_s = min(until_s, now_s)
        was_alarm = alarm
        if now_s < until_s:
            assert sound is Sound.NONE
        elif alarm:
            assert sound is Sound.ALARM
        else:
            assert sound in {Sound.NONE} | {Sound(one.urgency.value) for one in cues}
        assert attention.silent_s(now_s) == max(0.0, until_s - now_s)


@given(acts)
def test_what_asks_now_is_never_left_unheard_for_long(
    acts: list[tuple[list[Cue], bool, float, float | None]],
) -> None:
    """Whatever came before: within 15 s after all silence it is heard, for 4 s."""
    attention, now_s = Attention(), 1000.0
    for cues, alarm, step_s, silence_s in acts:
        now_s += step_s
        if silence_s is not None:
            attention.silence(now_s, silence_s)
        attention.sound(cues, now_s, alarm=alarm)
    from_s = now_s + attention.silent_s(now_s) + STEP_S
    heard = [
        attention.sound([cue(NOW)], s, alarm=False)
        for s in steps(from_s, from_s + 15 + LASTS_S[NOW])
    ]
    assert heard.count(Sound.NOW) >= LASTS_S[NOW] / STEP_S


def test_a_new_alarm_ends_the_silence() -> None:
    """Silence given for a cue is none for a trip that comes later; given in the alarm, it holds."""
    attention = Attention()
    attention.silence(0.0, 900.0)
    assert attention.sound([], 1.0, alarm=False) is Sound.NONE
    assert attention.sound([], 10.0, alarm=True) is Sound.ALARM
    attention.silence(20.0, 900.0)
    assert attention.sound([], 21.0, alarm=True) is Sound.NONE
    assert attention.sound([], 920.0, alarm=True) is Sound.ALARM


def test_what_is_over_is_heard_a_few_times_and_then_only_shown() -> None:
    full = cue(SOON, "full")._replace(most_sounds=3)
    attention = Attention()
    assert begins(attention, [full], HOUR_S) == [(300.0 * k, Sound.SOON) for k in range(3)]
    assert begins(attention, [], 2 * HOUR_S, from_s=HOUR_S) == []
    again = begins(attention, [full], 3 * HOUR_S, from_s=2 * HOUR_S)
    assert len(again) == 3, "the next time it is news"


def test_what_becomes_urgent_ends_a_silence_and_what_was_urgent_does_not() -> None:
    attention = Attention()
    attention.sound([cue(SOON), cue(NOW, "heat")], 0.0, alarm=False)
    attention.silence(5.0, 900.0)
    same = [cue(SOON), cue(NOW, "heat")]
    assert all(attention.sound(same, s, alarm=False) is Sound.NONE for s in steps(5.0, 60.0))
    worse = [cue(NOW), cue(NOW, "heat")]
    assert attention.sound(worse, 60.0, alarm=False) is Sound.NOW
    assert attention.silent_s(60.5) == 0.0


def test_what_flickers_is_not_new_each_time() -> None:
    attention = Attention()
    attention.sound([cue(NOW)], 0.0, alarm=False)
    attention.silence(1.0, 900.0)
    for at_s in steps(1.0, 600.0):
        shown = [cue(NOW)] if at_s % 20 < 10 else []
        assert attention.sound(shown, at_s, alarm=False) is Sound.NONE
