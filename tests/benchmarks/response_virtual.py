"""From the voltage crossing the limit to the edge at the coil, in virtual time, in its parts."""

import os
import struct
import tempfile
from collections import Counter
from pathlib import Path
from random import Random

from bench_settings import level_settings, settings_of
from figures import Figure, Lines, spread
from still_board import StillBoard

from supervisor.settings.model import SupervisorSettings

TITLE = "response of the high set, in virtual time"
CROSSINGS, QUICK = 10_000, 1_000
STEPPED_V = 3.70  # from 3.40 V: past the limit, and not so far that it cannot be true
ANSWER = "dddi"  # waited, confirmed, rest of the scan (seconds); whether the high set tripped
PATIENCE_CYCLES = 50
ALLOWED_S = 0.002  # beside the conversions themselves


def measure(*, quick: bool) -> Lines:
    for kilohertz in (100, 400):
        with tempfile.TemporaryDirectory() as folder:
            settings = settings_of(level_settings(Path(folder)))
            bus = settings.bus.model_copy(update={"kilohertz": kilohertz})
            yield from _at(settings.model_copy(update={"bus": bus}), Path(folder), quick=quick)


def _at(settings: SupervisorSettings, folder: Path, *, quick: bool) -> Lines:
    rule, cycle_s = settings.protection.overvoltage_high_set, settings.loop.cycle_s
    k, kilohertz = rule.confirm, settings.bus.kilohertz
    yield f"{kilohertz} kHz: {k} conversions of {rule.of} over {rule.trip_volts} V, one every"
    yield f"{1000 * cycle_s:.2f} ms. The real loop; each crossing at a random phase in a copy."
    yield "Judging and acting take no virtual time: what they take is in response_real."
    found = crossings(settings, folder, QUICK if quick else CROSSINGS)
    waited, confirmed, rest, _ = ([1000 * one[part] for one in found] for part in range(4))
    whole = [sum(parts) for parts in zip(waited, confirmed, rest, strict=True)]
    allowed_ms = 1000 * (k * cycle_s + ALLOWED_S)
    yield from spread(f"crossing to coil edge, {kilohertz} kHz", whole, at_most=allowed_ms)
    yield from spread("  of it: the first conversion over the limit ended", waited)
    yield from spread(f"  of it: from there to the end of the {k}. of that channel", confirmed)
    yield from spread("  of it: from there to the edge (bus, other channels)", rest, at_most=2.0)
    by = Counter(one[3] for one in found)
    yield Figure("share that the high set itself tripped", 100 * by[1] / len(found), "%")


def crossings(
    settings: SupervisorSettings, folder: Path, count: int
) -> list[tuple[float, float, float, int]]:
    random, board = Random(1), StillBoard(settings, folder)
    board.close_circuit()
    found = []
    for _ in range(count):
        board.loop.cycle()  # every phase against the window of seven scans comes up
        phase_s = random.uniform(0, settings.loop.cycle_s)
        found.append(_crossing(board, board.clock.now_s() + phase_s))
    board.loop.close()
    return found


def _crossing(board: StillBoard, at_s: float) -> tuple[float, float, float, int]:
    """In a child process: a copy of everything, which trips while the original goes on."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.write(writer, struct.pack(ANSWER, *_tripped(board, at_s)))
        os._exit(0)
    os.close(writer)
    answer = os.read(reader, struct.calcsize(ANSWER))
    os.close(reader)
    os.waitpid(child, 0)
    if not answer:
        raise RuntimeError("a crossing that did not trip")
    waited_s, confirmed_s, rest_s, by_high_set = struct.unpack(ANSWER, answer)
    return waited_s, confirmed_s, rest_s, by_high_set


def _tripped(board: StillBoard, at_s: float) -> tuple[float, float, float, int]:
    board.step_at_s, board.stepped_v = at_s, STEPPED_V
    for _ in range(PATIENCE_CYCLES):
        board.loop.cycle()
        if board.coil_off_at_s is not None:
            break
    lockout, k = board.loop.keeper.lockout, board.settings.protection.overvoltage_high_set.confirm
    assert board.coil_off_at_s is not None
    assert lockout is not None
    ended_s = [end for end in board.ended_past_step_s if end <= board.coil_off_at_s]
    first_s, last_s = ended_s[0], ended_s[min(k, len(ended_s)) - 1]
    parts = (first_s - at_s, last_s - first_s, board.coil_off_at_s - last_s)
    return (*parts, int(lockout.tripped_by == "overvoltage_high_set"))
