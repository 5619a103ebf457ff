"""An answers file: taken in turn, and told at once where it cannot be one."""

from collections.abc import Callable
from pathlib import Path

import pytest

from supervisor.cli.person_by_answers import DEEDS, PersonByAnswers, questions
from supervisor.commissioning.deeds import Deed, DidIt, MeterReads, PutBack
from supervisor.commissioning.person import Unanswered
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings

FRONT = MeterReads("front_cell", "V")
BUZZER = DidIt("buzzer", "Does the buzzer sound?")
Person = Callable[..., PersonByAnswers]


@pytest.fixture
def person(hut_settings: SupervisorSettings, tmp_path: Path) -> Person:
    def of(text: str, hands: Callable[[Deed], None] = lambda _deed: None) -> PersonByAnswers:
        path = tmp_path / "answers.yaml"
        path.write_text(text, "utf-8")
        return PersonByAnswers(path, hut_settings, "A. Warden", hands)

    return of


def test_a_list_is_taken_in_turn_and_a_single_one_always(person: Person) -> None:
    one = person("answers:\n  meter_front_cell: [3.0, 3, 3.6]\n  saw_buzzer: true\n")
    assert [one.reads(FRONT) for _ in range(3)] == [3.0, 3.0, 3.6]
    assert [one.saw(BUZZER) for _ in range(5)] == [True] * 5
    assert not one.surplus


def test_yes_and_no_in_quotes(person: Person) -> None:
    one = person('answers:\n  saw_buzzer: ["yes", "no", true, false]\n')
    assert [one.saw(BUZZER) for _ in range(4)] == [True, False, True, False]


def test_what_is_missing_is_told_with_key_and_question(person: Person) -> None:
    one = person("answers:\n  meter_front_cell: [3.0]\n")
    one.reads(FRONT)
    with pytest.raises(Unanswered, match=r"answers\.meter_front_cell") as missing:
        one.reads(FRONT)
    assert FRONT.text in str(missing.value)
    with pytest.raises(Unanswered, match=r"answers\.saw_buzzer: no answer to: Does the buzzer"):
        one.saw(BUZZER)
    with pytest.raises(Unanswered, match=r"meters\.volts"):
        one.meter("volts")


def test_what_is_left_over_is_told_with_its_line(person: Person) -> None:
    one = person("answers:\n  meter_front_cell:\n    - 3.0\n    - 3.3\n    - 3.6\n")
    one.reads(FRONT)
    assert len(one.surplus) == 1
    assert "answers.yaml:4: answers.meter_front_cell: 2 more" in one.surplus[0]


def test_deeds_count_as_done_when_they_are_named(person: Person) -> None:
    done: list[Deed] = []
    person("deeds: done\n", done.append).does(PutBack())
    person("deeds: [put_back]\n", done.append).does(PutBack())
    assert done == [PutBack(), PutBack()]
    for text in ("deeds: [coil_only]\n", "answers:\n  saw_buzzer: true\n"):
        with pytest.raises(Unanswered, match="put_back"):
            person(text, done.append).does(PutBack())
    assert len(done) == 2


def test_a_meter_as_its_manual_states_it(person: Person) -> None:
    text = 'meters:\n  volts: {accuracy: "0,05 % + 3", resolution: "0.1 mV"}\n'
    meter = person(text).meter("volts")
    assert (meter.reading_percent, meter.counts, meter.resolution) == (0.05, 3, 0.0001)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("answer:\n  saw_buzzer: true\n", 1, "answers"),
        ("answers:\n  meter_front_cel: [3.0]\n", 2, "meter_front_cell"),
        ("answers:\n  meter_sink: [20.0]\n", 2, "Nobody asks for meter_sink"),  # no such probe
        ("answers:\n  saw_buzzer: yes\n", 2, "true or false"),
        ("answers:\n  saw_buzzer:\n    - true\n    - 3\n", 4, "neither yes nor no"),
        ("answers:\n  saw_buzzer: maybe\n", 2, "neither yes nor no"),
        ("answers:\n  meter_front_cell: [3.0, high]\n", 2, "no number of V"),
        ("answers:\n  meter_front_cell: true\n", 2, "no number of V"),
        ("answers:\n  meter_front_cell: 3,412\n", 2, "decimal comma"),
        ("answers:\n  meter_front_cell: [34.12]\n", 2, "more than can be"),
        ("answers:\n  meter_front_cell: {a: 1}\n", 2, "no number of V"),
        ("answers: [1, 2]\n", 1, "answers"),
        ("deeds: [put_bak]\n", 1, "put_back"),
        ("deeds: [3]\n", 1, "Nobody asks for 3"),
        ("deeds: [[put_back]]\n", 1, "Nobody asks for"),
        ("deeds: all\n", 1, "done"),
        ("deeds: true\n", 1, "done"),
        ('meters:\n  volts: {accuracy: "good", resolution: "0.1 mV"}\n', 2, "does not begin"),
        ('meters:\n  volts: {accuracy: "0.05 % + 3"}\n', 2, "resolution"),
        ('meters:\n  ohms: {accuracy: "1 % + 3", resolution: "1"}\n', 2, "ohms"),
        ("", 1, "nothing in this file"),
        ("just words\n", 1, "key and a colon"),
    ],
)
def test_an_odd_file_is_refused_with_line_and_words(
    person: Person, text: str, line: int, words: str
) -> None:
    with pytest.raises(SettingsFaults) as refused:
        person(text)
    told = " ".join(str(refused.value).split())
    assert f"answers.yaml:{line}" in told
    assert words in told


def test_all_that_is_odd_is_told_at_once(person: Person) -> None:
    text = "answers:\n  saw_nothing: true\n  meter_front_cell: [x]\ndeeds: [nothing]\n"
    with pytest.raises(SettingsFaults) as refused:
        person(text)
    assert len(refused.value.faults) == 3


def test_every_deed_and_question_has_a_key(hut_settings: SupervisorSettings) -> None:
    assert len(DEEDS) == len(set(DEEDS))
    assert {"meter_front_cell", "meter_far_cell", "meter_shunt"} <= questions(hut_settings).keys()


def test_a_list_that_was_never_begun_is_no_surplus(person: Person) -> None:
    """One file serves for all steps, and for one of them."""
    one = person("answers:\n  meter_front_cell: [3.0, 3.3]\n  meter_far_cell: [3.0, 3.3]\n")
    assert one.surplus == ()
    one.reads(FRONT)
    assert len(one.surplus) == 1


NOT_OF_ANSWERS = ("setting", "limit", "hut-bank", "right for every build")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "There is no such file"),
        ("", "There is nothing in this file"),
        ("just words\n", "does not begin with a key"),
        ("answer:\n  saw_buzzer: true\n", "There is no key answer at the top of the file"),
        ("a: [\n", "This is not YAML"),
        ("meters: 3\n", "must be a block"),
        ('meters:\n  volts: {accuracy: "1 % + 3"}\n', "resolution is missing"),
        ('meters:\n  volts: {accuracy: "1 % + 3"}\n', 'resolution: "0.1 mV"'),
        ('meters:\n  volts: {accuracy: "0.05 %% + 3", resolution: "1 mV"}\n', "one % too many"),
        ('meters:\n  volts: {accuracy: "good", resolution: "1 mV"}\n', "meters.volts.accuracy"),
        ('meters:\n  volts: {accuracy: "1 %", resolution: "fine"}\n', "meters.volts.resolution"),
        ('meters:\n  volts: {accuracy: "1 %", resolution: "0 mV"}\n', "meters.volts.resolution"),
        ("meters:\n  volts: {accuracy: 3, resolution: 1}\n", "accuracy is 3"),
        ("answers:\n  meter_front_cell: [3.0, high]\n", "'high' is no number of V"),
        ("answers:\n  meter_front_cell: [3.0, high]\n", "did not show"),
        ("answers:\n  meter_front_cell: 3,412\n", "decimal comma"),
        ("answers:\n  saw_buzzer: yes\n", "true or false"),
        ("answers:\n  saw_buzzer: &a true\n", "&a"),
        ("x" * 300_000, "larger than 256 KiB"),
        ("a: b\x00\n", "zero bytes"),
        ("a: \u2028\n", "invisible"),
    ],
)
def test_faults_of_answers_are_told_in_their_own_words(
    hut_settings: SupervisorSettings, tmp_path: Path, text: str | None, words: str
) -> None:
    path = tmp_path / "answers.yaml"
    if text is not None:
        path.write_text(text, "utf-8")
    with pytest.raises(SettingsFaults) as refused:
        PersonByAnswers(path, hut_settings, "A. Warden")
    told = " ".join(str(refused.value).split())
    assert words in told
    assert "answers.yaml" in told
    assert not [word for word in NOT_OF_ANSWERS if word in told]
