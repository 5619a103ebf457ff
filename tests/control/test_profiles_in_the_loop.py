"""Another profile: other settings in force, with the circuit open; what must not be forgotten."""

import json
from pathlib import Path
from typing import Any

import pytest
from loop_bench import LoopBench, with_level_drive

from supervisor.settings.load import read_document
from supervisor.settings.model import SupervisorSettings
from supervisor.sizing.fitness import examine_document, fit
from supervisor.snapshot import Circuit, Snapshot

READY_S = 12.0
SMALL = {
    "about": "The last hours, on the small supply",
    "overrides": {
        "protection.overcurrent.trip_amperes": 60,
        "protection.supply_thermal": {
            "rectifier": {"continuous_amperes": 60, "time_constant_seconds": 20}
        },
        "charge.target_amperes": 40,
    },
    "steps": ["Big supply off"],
}
FEW = {
    "about": "Four cells for practice",
    "leave_out": ["protection.session_hold"],
    "overrides": {
        "bank.cells_in_parallel": 4,
        "protection.session_charge.trip_ampere_hours": 1120,
        "charge.full.least_percent": 0,
    },
}


@pytest.fixture
def bench(hut_path: Path, tmp_path: Path) -> LoopBench:
    changes: dict[str, Any] = {"profiles": {"small_supply": SMALL, "few_cells": FEW}}
    document = read_document(hut_path).with_overrides(changes)
    settings: SupervisorSettings = fit(examine_document(document))
    bench = LoopBench(with_level_drive(settings), tmp_path)
    bench.run(READY_S)
    return bench


def shown(bench: LoopBench) -> Snapshot:
    bench.run(bench.clock.now_s() + 0.5)
    snapshot = bench.loop._viewer.last
    assert snapshot is not None
    return snapshot


def ask(bench: LoopBench, act: str, reason: str = "") -> tuple[bool, str]:
    """The answer to this request."""
    bench.mailbox.put(act, reason)
    before = len(bench.mailbox.replies)
    while len(bench.mailbox.replies) == before:
        bench.run(bench.clock.now_s() + 0.05)
    reply = bench.mailbox.replies[-1]
    return reply.done, reply.message


def limit(snapshot: Snapshot, rule: str) -> float:
    return next(r.limit for r in snapshot.rules if r.rule == rule)


def test_known_profiles_are_listed_with_their_steps(bench: LoopBench) -> None:
    done, message = ask(bench, "profile")
    assert (done, message) == (True, "bank, small_supply, few_cells")
    data = bench.mailbox.replies[-1].data
    assert data is not None
    assert data["small_supply"] == {"about": SMALL["about"], "steps": ("Big supply off",)}


def test_its_limits_are_in_force_and_shown(bench: LoopBench) -> None:
    assert limit(shown(bench), "overcurrent") == 130
    assert ask(bench, "profile", "small_supply") == (True, "small_supply is in force")
    snapshot = shown(bench)
    assert snapshot.profile == "small_supply"
    assert limit(snapshot, "overcurrent") == 60
    assert any("profile small_supply" in event.text for event in snapshot.events)
    done, message = ask(bench, "close")
    assert not done
    assert "it is not known how hot the supply is" in message, "it is another one"
    bench.run(bench.clock.now_s() + READY_S)
    assert ask(bench, "close")[0]
    bench.world.knob(1.0, 90.0)
    bench.run(bench.clock.now_s() + 100.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT, "it trips by the limit of the profile"
    lockout = bench.loop.keeper.lockout
    assert lockout is not None
    assert (lockout.tripped_by, lockout.limit) == ("overcurrent", 60)


def test_back_to_the_settings_of_the_file(bench: LoopBench) -> None:
    ask(bench, "profile", "small_supply")
    bench.run(bench.clock.now_s() + 1.0)
    assert ask(bench, "profile", "bank")[0]
    assert limit(shown(bench), "overcurrent") == 130


def test_not_while_closed(bench: LoopBench) -> None:
    assert ask(bench, "close")[0]
    done, message = ask(bench, "profile", "small_supply")
    assert not done
    assert "the circuit is closed, and must be open" in message
    assert shown(bench).profile == "bank"
    assert bench.loop.guard.circuit is Circuit.CLOSED


def test_not_while_locked_out(bench: LoopBench) -> None:
    assert ask(bench, "close")[0]
    bench.world.stop_pressed = True
    bench.world.pin_factory.refresh()
    bench.run(bench.clock.now_s() + 2.0)
    assert bench.loop.guard.circuit is Circuit.LOCKED_OUT
    assert not ask(bench, "profile", "small_supply")[0]


def test_an_unknown_one_names_those_there_are(bench: LoopBench) -> None:
    done, message = ask(bench, "profile", "nonsense")
    assert not done
    assert message == "there is no profile 'nonsense'; there are: bank, small_supply, few_cells"


@pytest.mark.parametrize(("name", "goes_on"), [("small_supply", True), ("few_cells", False)])
def test_the_session_goes_on_with_the_same_cells_only(
    bench: LoopBench, name: str, goes_on: bool
) -> None:
    assert ask(bench, "close")[0]
    bench.world.knob(0.9, 60.0)
    bench.run(bench.clock.now_s() + 90.0)
    bench.world.knob(0.0, 1.0)
    bench.run(bench.clock.now_s() + 2.0)
    ask(bench, "open")
    bench.run(bench.clock.now_s() + 2.0)
    guidance = shown(bench).guidance
    assert guidance is not None
    assert guidance.charged_ah > 0.3
    heat = bench.loop._now.memories(bench.clock.now_s())["supply_thermal"]
    assert ask(bench, "profile", name)[0]
    after = shown(bench).guidance
    assert after is not None
    assert after.charged_ah == pytest.approx(guidance.charged_ah if goes_on else 0.0)
    session = bench.loop._now.memories(bench.clock.now_s())["session_charge"]
    expected_ah = guidance.charged_ah if goes_on else 0.0  # the tally takes the zero out
    assert session["counted"] == pytest.approx(expected_ah, rel=2e-3)
    if not goes_on:  # the same supply is as hot as it was
        kept = bench.loop._now.memories(bench.clock.now_s())["supply_thermal"]
        assert kept["rectifier"] == pytest.approx(heat["rectifier"], rel=0.02)


def test_going_to_other_cells_and_back_forgets_nothing(bench: LoopBench) -> None:
    """Or it would be the way around the limits of a session."""
    assert ask(bench, "close")[0]
    bench.world.knob(0.9, 60.0)
    bench.run(bench.clock.now_s() + 90.0)
    ask(bench, "open")
    bench.run(bench.clock.now_s() + 2.0)
    before = bench.loop._now.memories(bench.clock.now_s())
    for name in ("few_cells", "bank", "small_supply", "few_cells", "bank"):
        assert ask(bench, "profile", name)[0]
        bench.run(bench.clock.now_s() + 1.0)
    after = bench.loop._now.memories(bench.clock.now_s())
    for key in ("session_charge", "session_time", "session_hold", "tally"):
        assert after[key] == before[key], key
    assert before["session_charge"]["counted"] > 0.3


def charged(bench: LoopBench) -> float:
    """Closed for a minute and a half with the knob up, and opened; what the session counts then."""
    assert ask(bench, "close")[0]
    bench.world.knob(0.9, 60.0)
    bench.run(bench.clock.now_s() + 90.0)
    bench.world.knob(0.0, 1.0)
    bench.run(bench.clock.now_s() + 2.0)
    ask(bench, "open")
    bench.run(bench.clock.now_s() + 2.0)
    return counted(bench)


def counted(bench: LoopBench) -> float:
    return bench.loop._now.memories(bench.clock.now_s())["session_charge"]["counted"]


def restart(bench: LoopBench, settings: SupervisorSettings | None = None) -> None:
    """In good order, with other settings perhaps."""
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    start(bench, settings)


def start(bench: LoopBench, settings: SupervisorSettings | None = None) -> None:
    bench.settings = settings or bench.settings
    bench.loop = bench.new_loop()
    bench.run(bench.clock.now_s() + READY_S)


def without_profiles(settings: SupervisorSettings, **kept: Any) -> SupervisorSettings:
    return settings.model_copy(update={"profiles": kept})


def test_a_restart_goes_on_in_the_same_profile(bench: LoopBench) -> None:
    """Its supply and its shunt are still wired."""
    ask(bench, "profile", "few_cells")
    restart(bench)
    assert shown(bench).profile == "few_cells"
    assert any("few_cells in force, as before" in event.text for event in shown(bench).events)
    assert ask(bench, "close")[0]


def test_even_when_the_power_is_cut_before_it_was_closed(bench: LoopBench) -> None:
    ask(bench, "profile", "few_cells")
    bench.loop._parts.contactor.close()
    bench.loop._parts.bus.close()
    bench.loop._parts.panel.close()
    start(bench)
    assert shown(bench).profile == "few_cells"


def test_sessions_outlast_a_restart_in_whatever_profile(bench: LoopBench) -> None:
    of_the_bank = charged(bench)
    ask(bench, "profile", "few_cells")
    restart(bench)
    assert counted(bench) == 0.0
    of_few = charged(bench)
    restart(bench)
    assert counted(bench) == pytest.approx(of_few)
    ask(bench, "profile", "bank")
    assert counted(bench) == pytest.approx(of_the_bank)
    assert of_the_bank > 0.3


def test_a_profile_that_is_no_longer_there_closes_nothing(bench: LoopBench) -> None:
    ask(bench, "profile", "few_cells")
    small = bench.settings.profiles["small_supply"]
    restart(bench, without_profiles(bench.settings, small_supply=small))
    assert shown(bench).profile == "bank"
    done, message = ask(bench, "close")
    assert not done
    assert "'few_cells', which the settings no longer have, was in force" in message
    assert "close --profile NAME" in message
    restart(bench)
    assert "was in force before this start" in ask(bench, "close")[1], "no restart settles it"
    assert ask(bench, "profile", "bank") == (True, "bank is in force")
    restart(bench)
    assert bench.loop.guard.profile_in_doubt == ""
    hindrances = shown(bench).not_closing_because
    assert not any("before this start" in why for why in hindrances)
    assert bench.loop._now.memories(bench.clock.now_s())["supply_thermal"]["rectifier"] > 0.9


@pytest.mark.parametrize("has_profiles", [True, False])
def test_where_the_profile_is_not_known_somebody_has_to_say(
    bench: LoopBench, has_profiles: bool
) -> None:
    """Written by an older version, or damaged."""
    for name in ("few_cells", "bank"):
        ask(bench, "profile", name)
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    path = bench.folder / "lockout.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"profile": None}))
    start(bench, None if has_profiles else without_profiles(bench.settings))
    done, message = ask(bench, "close")
    assert done is not has_profiles
    assert ("an unknown profile was in force" in message) is has_profiles


def test_a_profile_that_cannot_be_kept_says_so(
    bench: LoopBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bench.loop._parts.latch, "_write", full)
    done, message = ask(bench, "profile", "few_cells")
    assert (done, "not on disk" in message) == (True, True)
    monkeypatch.undo()
    bench.run(bench.clock.now_s() + READY_S)
    assert json.loads((bench.folder / "lockout.json").read_text())["profile"] == "few_cells"
    assert ask(bench, "close") == (True, "the contactor is told to close")
    assert json.loads((bench.folder / "lockout.json").read_text())["profile"] == "few_cells"


def test_what_a_profile_does_not_count_is_said_to_be_missing(bench: LoopBench) -> None:
    """The same cells, charged without the rule: back with it, its count says that it lacks some."""
    settings = bench.settings
    uncounted = settings.profiles["small_supply"].model_copy(
        update={"leave_out": ("protection.session_hold",)}
    )
    restart(bench, without_profiles(settings, small_supply=uncounted))
    charged(bench)
    for name in ("small_supply", "bank"):
        ask(bench, "profile", name)
        bench.run(bench.clock.now_s() + 1.0)
    memories = bench.loop._now.memories(bench.clock.now_s())
    assert memories["session_hold"]["is_whole"] == 0.0
    assert memories["session_charge"]["is_whole"] == 1.0


def test_closings_are_counted_over_profiles_and_restarts(bench: LoopBench) -> None:
    for _ in range(2):
        assert ask(bench, "close")[0]
        bench.run(bench.clock.now_s() + 1.0)
        ask(bench, "open")
        bench.run(bench.clock.now_s() + 2.0)
    ask(bench, "profile", "small_supply")
    assert shown(bench).operations == 2
    bench.loop.leave()
    bench.loop.run()
    bench.loop.close()
    again = bench.new_loop()
    assert again._operations.count == 2
    again.close()


def test_a_profile_without_a_rule_is_shown_only_by_its_own_rules(
    hut_path: Path, tmp_path: Path
) -> None:
    """In whatever cycle it is chosen: the status may be due in that very one."""
    without = {"about": "Without the hold's hours", "overrides": {"charge.target_amperes": 90}}
    changes = {"profiles": {"no_hold": without | {"leave_out": ["protection.session_hold"]}}}
    document = read_document(hut_path).with_overrides(changes)
    bench = LoopBench(with_level_drive(fit(examine_document(document))), tmp_path)
    bench.run(2.0)
    for name in ["no_hold", "bank"] * 20:
        assert ask(bench, "profile", name)[0]
        bench.run(bench.clock.now_s() + 0.3)
    assert shown(bench).profile == "bank"
