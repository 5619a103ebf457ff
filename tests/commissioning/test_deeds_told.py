"""What a person is told: no more than is true, and before it happens."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest
from click.testing import CliRunner
from commissioned import behind, walk
from second_lines import with_second_line

from supervisor.bench.commissioning.hands import SimulatedHands
from supervisor.cli.commission_bench import overridden
from supervisor.cli.main import main
from supervisor.commissioning.deeds import Deed, PutBack, Raise, Source, TakeOff
from supervisor.commissioning.tidy import TidyPerson
from supervisor.control.build_steps import BY_KEY, STEPS
from supervisor.settings.model import SupervisorSettings

SHUNT = Source(("shunt",), 2.0, 0.5)
FRONT, FAR = Source(("front_cell",), 3.3), Source(("far_cell",), 3.3)
BOTH = Source(("front_cell", "far_cell"), 3.4)


@dataclass
class Listener:
    name: str = "Ida"
    texts: list[str] = field(default_factory=list)

    def does(self, deed: Deed) -> None:
        self.texts.append(deed.text)


def texts(*deeds: Deed, second_line: bool = False) -> list[str]:
    listener = Listener()
    tidy = TidyPerson(listener, second_line=second_line)  # type: ignore[arg-type]
    for deed in deeds:
        tidy.does(deed)
    return listener.texts


# --- sources


@pytest.mark.parametrize("deed", [SHUNT, FRONT, BOTH])
def test_leads_that_are_on_their_source_are_not_taken_off_again(deed: Source) -> None:
    first, again = texts(deed, deed)
    assert "off the" in first
    assert "off the" not in again
    assert again.startswith("Set the ")


@pytest.mark.parametrize(
    "between",
    [
        (TakeOff("front_cell"),),
        (TakeOff("far_cell"),),
        (FRONT,),  # a source of its own: the far cell's went with it before
        (FAR,),
    ],
)
def test_leads_that_were_taken_off_or_parted_are_put_on_anew(between: tuple[Deed, ...]) -> None:
    assert not texts(BOTH, *between, BOTH)[-1].startswith("Set the ")


def test_leads_that_went_back_are_taken_off_anew() -> None:
    listener = Listener()
    tidy = TidyPerson(listener)  # type: ignore[arg-type]
    for _ in range(2):
        tidy.does(BOTH)
        tidy.puts_back()
    assert listener.texts[0] == listener.texts[2]
    assert listener.texts[1] == PutBack(BOTH.channels).text


def test_a_source_that_was_turned_is_still_the_same() -> None:
    assert texts(BOTH, Raise(BOTH.channels, 3.4, 3.5, 0.01), BOTH)[-1].startswith("Set the ")


@pytest.mark.parametrize(
    ("deed", "second_line", "is_told"),
    [(FRONT, True, True), (BOTH, True, True), (FAR, True, False), (FRONT, False, False),
     (SHUNT, True, False)],
)  # fmt: skip
def test_the_second_line_is_spoken_of_where_it_is_and_goes_along(
    deed: Source, second_line: bool, is_told: bool
) -> None:
    (text,) = texts(deed, second_line=second_line)
    assert ("second line" in text) is is_told


# --- the contactor


@pytest.mark.parametrize("key", [step.key for step in STEPS])
def test_it_is_announced_before_the_coil_is_fed_and_a_trip_at_once(
    hut_settings: SupervisorSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    """Whatever the step: who has a hand near the bars is told before, not after."""
    settings = with_second_line(hut_settings) if key == "trip_second_line" else hut_settings
    one = behind(walk(settings, tmp_path), key)
    world = one._leaves.world  # type: ignore[attr-defined]
    told: list[str] = []
    unannounced: list[float] = []
    coil, feeds = world.plant.contactor, type(world.plant.contactor)._drive

    def watched(switch: object, on: bool, at_s: float) -> None:
        if switch is coil and on and not any("contactor closes now" in text for text in told):
            unannounced.append(at_s)
        feeds(switch, on, at_s)  # type: ignore[arg-type]

    monkeypatch.setattr(type(coil), "_drive", watched)
    monkeypatch.setattr(SimulatedHands, "tells", lambda _hands, text: told.append(text))
    if not BY_KEY[key].is_needed(settings):
        return
    one.go([BY_KEY[key]])
    assert one.done[-1].step == key or BY_KEY[key].needs
    assert not unannounced
    if key.startswith("trip_"):
        assert any(text.startswith("TRIPPED") and "stop turning" in text for text in told)


# --- what is not there


@pytest.mark.parametrize(
    ("key", "block"),
    [
        ("auxiliary", "contactor.auxiliary"), ("release", "contactor.auxiliary"),
        ("far_cell", "channels.far_cell"), ("probes", "probes"),
        ("stop_button", "panel.stop_button"), ("second_output", "mains_contactor"),
        ("panel", "panel.buzzer or panel.lamp"), ("trip_balance", "protection.balance"),
        ("trip_second_line", "second_line"),
    ],
)  # fmt: skip
def test_a_step_that_has_nothing_to_try_is_refused_in_a_line(
    hut_settings: SupervisorSettings, tmp_path: Path, key: str, block: str
) -> None:
    without = {
        "contactor.auxiliary": None, "channels.far_cell": None, "protection.balance": None,
        "protection.without.balance": "One lead only, for a try", "panel.stop_button": None,
        "panel.buzzer": None, "panel.lamp": None, "mains_contactor": None,
    }  # fmt: skip
    bare = overridden(hut_settings, without)
    config = tmp_path / "bare.yaml"
    config.write_text(bare.model_dump_json(exclude_none=True), "utf-8")
    words = ["--config", str(config), "--simulate", "--yes", "--state-dir", str(tmp_path / "s")]
    result = CliRunner().invoke(main, ["commission", *words, "--step", "parts", "--step", key])
    assert result.exit_code == 2, result.output
    told = " ".join(result.stderr.split())
    assert f"{key}: this build has no {block}: there is no such block in its settings" in told
    assert not (tmp_path / "s" / "commissioning.jsonl").exists()


@pytest.mark.parametrize("key", ["phone", "alert"])
def test_what_is_not_needed_but_can_be_tried_is_tried(
    hut_settings: SupervisorSettings, tmp_path: Path, key: str
) -> None:
    assert not BY_KEY[key].is_needed(hut_settings)
    assert walk(hut_settings, tmp_path).go([BY_KEY[key]])


@pytest.mark.parametrize(("name", "is_told"), [("slow-release", True), ("gain-off", False)])
def test_settings_that_a_defect_brings_along_are_told(
    hut_path: Path, tmp_path: Path, name: str, is_told: bool
) -> None:
    """The list judges by the file, and calls what was tried with others not done."""
    words = ["--config", str(hut_path), "--simulate", "--yes", "--state-dir", str(tmp_path)]
    result = CliRunner().invoke(main, ["commission", *words, "--defect", name, "--step", "panel"])
    told = " ".join(result.stderr.split())
    assert (f"{name} is tried with contactor.drive level" in told) is is_told
