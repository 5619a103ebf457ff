"""The very same code for too long, and what does not count towards it."""

from supervisor.measurement.frozen import FrozenWatch

STEP_S = 0.25  # exact in binary
FROZEN_S = 2.0


def watch() -> FrozenWatch:
    return FrozenWatch(FROZEN_S, longest_step_s=2 * STEP_S)


def frozen_after(watch: FrozenWatch, code: int, start_s: float = 0.0) -> float:
    t = start_s
    while not watch.is_frozen(code, t):
        t += STEP_S
        assert t < 1000
    return t - start_s


def test_the_same_code_for_long_enough() -> None:
    assert frozen_after(watch(), 1234) == FROZEN_S


def test_a_different_code_ends_it() -> None:
    ours = watch()
    assert frozen_after(ours, 5) == FROZEN_S
    assert not ours.is_frozen(6, 10.0)
    assert not ours.is_frozen(5, 10.25)


def test_alternating_codes_are_alive() -> None:
    ours = watch()
    assert not any(ours.is_frozen(k % 2, k * STEP_S) for k in range(1000))


def test_a_bad_conversion_neither_ends_nor_advances_it() -> None:
    ours = watch()
    t = 0.0
    for _ in range(5):  # 1 s of the same code
        assert not ours.is_frozen(5, t)
        t += STEP_S
    ours.interrupt()
    t += 100.0
    # Frozen after the second that is still missing, not at once and not after two.
    assert frozen_after(ours, 5, t) == FROZEN_S - 1.0


def test_only_bad_conversions_in_between_prove_nothing() -> None:
    ours = watch()
    for k in range(1000):
        assert not ours.is_frozen(5, k * STEP_S)
        ours.interrupt()


def test_a_loop_that_stood_still_is_no_evidence() -> None:
    ours = watch()
    assert not ours.is_frozen(5, 0.0)
    assert not ours.is_frozen(5, 3600.0)


def test_time_that_runs_backwards_does_not_count() -> None:
    ours = watch()
    assert not any(ours.is_frozen(5, -t * STEP_S) for t in range(100))
