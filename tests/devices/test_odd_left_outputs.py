"""Whatever the file of outputs says: it is a sound one of this start of the machine, or what the
settings name is dropped. Nothing else may reduce what is switched off."""

import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from lines import BUZZER, COIL, LAMP, MAINS, STRANGER, Lines, lines

from supervisor.devices import left_outputs
from supervisor.devices.errors import HardwareMissing
from supervisor.devices.left_outputs import LeftOutputs
from supervisor.settings.model import SupervisorSettings

__all__ = ["lines"]
OWN = (COIL, MAINS, BUZZER, LAMP)
BOOT = left_outputs.BOOT_ID.read_text("ascii").strip()
GOOD: dict[str, Any] = {
    "boot": BOOT,
    "chip": ["pinctrl-bcm2711"],
    "outputs": [{"name": "coil", "gpio": COIL}, {"name": "lamp", "gpio": LAMP}],
}
ANOTHER_START = "0b3d5c1e-7f35-4f0e-9d44-5d6ad9b0a111"
json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-2, 600) | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)
outputs = st.fixed_dictionaries(
    {"name": st.sampled_from(["coil", "mains side", "lamp", "", 3]), "gpio": st.integers(-1, 30)}
)
near = st.fixed_dictionaries(
    {
        "boot": st.sampled_from([BOOT, BOOT.upper(), ANOTHER_START, "", BOOT + " "]) | json_values,
        "chip": st.sampled_from([["pinctrl-bcm2711"], [], "pinctrl-bcm2711", [""]]) | json_values,
        "outputs": st.lists(outputs, max_size=4) | json_values,
    }
)
contents = (
    st.binary(max_size=200)
    | json_values.map(lambda value: json.dumps(value).encode())
    | near.map(lambda value: json.dumps(value).encode())
)


def changed(**changes: Any) -> bytes:
    return json.dumps(GOOD | changes).encode()


def is_sound(content: bytes) -> bool:
    """As this project writes them, said once more."""
    try:
        told = json.loads(content)
        names = [output["name"] for output in told["outputs"]]
        gpios = [output["gpio"] for output in told["outputs"]]
    except (ValueError, TypeError, KeyError, RecursionError):
        return False
    return (
        told["boot"] == BOOT
        and isinstance(told.get("chip"), list)
        and told["chip"] != []
        and all(isinstance(label, str) for label in told["chip"])
        and all(isinstance(name, str) for name in names)
        and all(type(gpio) is int and 0 <= gpio <= 511 for gpio in gpios)
        and "coil" in names
        and len(set(gpios)) == len(gpios)
    )


@pytest.fixture
def left(tmp_path: Path) -> LeftOutputs:
    return LeftOutputs(tmp_path)


@hypothesis_settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@example(content=changed(outputs=[]))
@example(content=changed(boot=""))
@example(content=changed(boot="no boot id"))
@example(content=changed(boot=ANOTHER_START))
@example(content=changed(chip=[]))
@example(content=changed(outputs=[{"name": "lamp", "gpio": LAMP}]))
@example(content=changed(outputs=[{"name": "coil", "gpio": LAMP}, {"name": "lamp", "gpio": LAMP}]))
@example(content=changed())
@given(content=contents)
def test_it_is_sound_or_what_the_settings_name_is_dropped(
    hut_settings: SupervisorSettings, lines: Lines, content: bytes
) -> None:
    lines.level.update(dict.fromkeys([*OWN, STRANGER, *range(31)], 1))
    lines.done.clear()
    with tempfile.TemporaryDirectory() as name:
        left = LeftOutputs(Path(name))
        left.path.write_bytes(content)
        why = left.why_not_sound()
        assert bool(why) is not is_sound(content)
        if not why:
            return
        assert str(left.path) in why
        left.switch_off_all_of(hut_settings)
        assert [lines.level[gpio] for gpio in OWN] == [0, 0, 0, 0]
        assert lines.done == [("claim", gpio) for gpio in OWN]
        assert left.path.read_bytes() == content, "it stays until somebody has looked"


@pytest.mark.parametrize("gpio", OWN)
def test_one_of_the_settings_that_fails_keeps_no_other_on(
    left: LeftOutputs, hut_settings: SupervisorSettings, lines: Lines, gpio: int
) -> None:
    lines.busy.add(gpio)
    with pytest.raises(HardwareMissing, match=f"may still be on.*GPIO {gpio}") as told:
        left.switch_off_all_of(hut_settings)
    assert "mains switch" in told.value.remedy
    assert {lines.level[other] for other in OWN if other != gpio} == {0}


def test_the_chip_is_that_of_the_settings(
    left: LeftOutputs, hut_settings: SupervisorSettings, lines: Lines
) -> None:
    lines.label = "a board of our own"
    gpio = hut_settings.gpio.model_copy(update={"chip_label": lines.label})
    left.switch_off_all_of(hut_settings.model_copy(update={"gpio": gpio}))
    assert lines.level[COIL] == 0


def nothing(_path: Path) -> None: ...


@pytest.mark.parametrize("make", [nothing, lambda path: path.write_bytes(changed())])
def test_none_and_a_sound_one_are_no_reason(
    left: LeftOutputs, make: Callable[[Path], object]
) -> None:
    make(left.path)
    assert left.why_not_sound() == ""


def test_what_the_daemon_writes_is_sound(
    left: LeftOutputs, hut_settings: SupervisorSettings
) -> None:
    left.write(hut_settings)
    assert is_sound(left.path.read_bytes())
    assert left.why_not_sound() == ""


@pytest.fixture
def no_boot_id(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(left_outputs, "BOOT_ID", tmp_path / "nothing")


@pytest.mark.usefixtures("no_boot_id")
def test_where_this_start_is_not_known_it_is_not_sound(left: LeftOutputs) -> None:
    left.path.write_bytes(changed())
    assert "cannot be read" in left.why_not_sound()


@pytest.mark.parametrize("odd", [b"", changed(outputs=[]), changed(boot=""), changed(chip=[])])
def test_no_start_goes_on_from_an_odd_one(left: LeftOutputs, lines: Lines, odd: bytes) -> None:
    left.path.write_bytes(odd)
    with pytest.raises(HardwareMissing, match="cannot be read") as told:
        left.switch_off()
    assert "holdwatch drop" in told.value.remedy
    assert lines.done == []
    assert left.path.read_bytes() == odd
