"""A 12-bit part gives its code left-justified in 16 bits: last four zero (TI SBAS473, memory)."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from supervisor.measurement.chain import MeasurementChain
from supervisor.measurement.resolution import Resolution
from supervisor.readings import Channel, Quality, Sample
from supervisor.settings.model import SupervisorSettings

COARSE = st.integers(-2048, 2047).map(lambda code: code * 16)
FINE = st.integers(-0x8000, 0x7FFF).filter(lambda code: code % 16)
GOOD = Quality.GOOD
FRONT, FAR, SHUNT = Channel.FRONT_CELL, Channel.FAR_CELL, Channel.SHUNT
WIDER = {FRONT: 1.5, FAR: 1.5, SHUNT: 2.0}  # +-6.144 to +-4.096 V, +-0.512 to +-0.256 V


@given(st.lists(COARSE, min_size=40, max_size=60))
def test_too_coarse_from_the_32nd_multiple_of_16_on(codes: list[int]) -> None:
    resolution = Resolution()
    said = [resolution.is_too_coarse(code) for code in codes]
    assert said == [False] * 31 + [True] * (len(codes) - 31)


def proves(codes: list[int]) -> bool:
    """Whether these codes prove a chip: then no multiples of 16, however many, make it coarse."""
    resolution = Resolution()
    for code in codes:
        resolution.is_too_coarse(code)
    return not any(resolution.is_too_coarse(26400) for _ in range(100))


@given(st.lists(COARSE, max_size=29), st.lists(FINE, min_size=3, max_size=3), st.randoms())
def test_three_other_codes_within_32_prove_the_chip_for_good(
    coarse: list[int], fine: list[int], order: Random
) -> None:
    codes = coarse + fine
    order.shuffle(codes)
    assert proves(codes)


@given(st.lists(COARSE, min_size=30, max_size=60), st.lists(FINE, min_size=1, max_size=2))
def test_two_are_disturbed_words(coarse: list[int], fine: list[int]) -> None:
    assert not proves(fine)
    assert not proves(fine + coarse)
    assert not proves([fine[0], *coarse[:30], *fine[:2]])


@pytest.mark.parametrize("code", [1, 15, -1, -15, 26401, -26401])
def test_any_of_the_last_four_bits_tells(code: int) -> None:
    resolution = Resolution()
    for _ in range(100):
        resolution.is_too_coarse(26400)
    assert [resolution.is_too_coarse(code) for _ in range(5)] == [True] * 2 + [False] * 3


@given(st.integers(0, 2**32))
def test_a_16_bit_chip_with_noise_is_never_taken_for_a_coarse_one(seed: int) -> None:
    """One step of noise, anywhere in the range. A quieter one on a multiple of 16 may be."""
    rng, resolution = Random(seed), Resolution()
    level = rng.uniform(8000, 32000)
    assert not any(resolution.is_too_coarse(round(rng.gauss(level, 1.0))) for _ in range(300))


class Codes:
    """Feeds a chain scan by scan, each channel now and then in its wider range."""

    def __init__(self, settings: SupervisorSettings) -> None:
        self.chain = MeasurementChain(settings)
        self.k = 0

    def take(self, **codes: int) -> dict[Channel, Quality]:
        """One scan of raw codes in the channel's own range; in each seventh in the wider one."""
        self.k += 1
        probe = self.k % 7 == 0
        samples = []
        for k, (name, code) in enumerate(codes.items()):
            channel, at_s = Channel[name], self.k / 70 + k * 0.003
            ratio = WIDER[channel] if probe else 1.0
            raw = round(code / ratio / 16) * 16 if probe and not code % 16 else round(code / ratio)
            samples.append(Sample(channel, raw, Quality.GOOD, at_s, ratio))
        return {c: reading.quality for c, reading in self.chain.take(samples).items()}


def test_a_coarse_chip_is_told_by_the_raw_codes_of_both_ranges(
    hut_settings: SupervisorSettings,
) -> None:
    """Scaled to the channel's own range, each seventh code would look like a fine one."""
    codes = Codes(hut_settings)
    said = [codes.take(FRONT_CELL=26400, FAR_CELL=26384, SHUNT=3201) for _ in range(30)]
    fronts = [qualities[FRONT] for qualities in said]
    assert fronts == [Quality.GOOD] * 15 + [Quality.GOOD] + [Quality.TOO_COARSE] * 14
    assert said[15][FAR] is Quality.TOO_COARSE, "the 32nd code of the chip that both share"
    assert {qualities[SHUNT] for qualities in said} == {Quality.GOOD}, "the other chip is fine"


def test_wide_codes_alone_prove_the_chip(hut_settings: SupervisorSettings) -> None:
    """16 * 1649 in the own range is 17589.33 in the wider one: no multiple of 16."""
    codes = Codes(hut_settings)
    for _ in range(3):
        codes.take(FRONT_CELL=26384, FAR_CELL=26384, SHUNT=3200)
    for k in range(3):
        sample = Sample(FRONT, 17589, Quality.GOOD, 1.0 + k / 70, 1.5)
        assert codes.chain.take([sample])[FRONT].quality is Quality.GOOD
    for _ in range(60):
        assert codes.take(FRONT_CELL=26384, FAR_CELL=26384)[FRONT] is Quality.GOOD


@pytest.mark.parametrize("code", [0, 0x7FFF, -26401, 7999])
def test_what_is_not_believed_anyhow_neither_proves_nor_counts(
    hut_settings: SupervisorSettings, code: int
) -> None:
    codes = Codes(hut_settings)
    for k in range(40):
        sample = Sample(FRONT, code, Quality.GOOD, k / 70)
        assert codes.chain.take([sample])[FRONT].quality not in (GOOD, Quality.TOO_COARSE)
    said = [
        codes.chain.take([Sample(FRONT, 26400 + 16 * (k % 2), Quality.GOOD, 1 + k / 70)])
        for k in range(33)
    ]
    assert [taken[FRONT].quality for taken in said] == [GOOD] * 31 + [Quality.TOO_COARSE] * 2


def test_a_coarse_code_is_no_value_and_enters_no_mean(hut_settings: SupervisorSettings) -> None:
    codes = Codes(hut_settings)
    for _ in range(60):
        codes.take(FRONT_CELL=26400, FAR_CELL=26400, SHUNT=3201)
    window, _ = codes.chain.window()
    assert window is not None
    assert window[FRONT].quality is Quality.TOO_FEW
    assert window[SHUNT].good_value is not None
