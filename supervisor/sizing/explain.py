"""What each rule is for, in words. The settings' own descriptions stay with the settings."""

from dataclasses import dataclass

PRACTICE = "common practice, no source"
MEMORY = "typical data sheet, from memory: your cells' sheet is above it"
REPORTS = "reports of people who run such parts"


@dataclass(frozen=True, slots=True)
class Typical:
    """A usual value of one setting, and where it comes from."""

    key: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """One rule: ``function`` is its IEEE C37.2 number, empty where the standard has none."""

    function: str
    meaning: str
    protects: str
    if_off: str
    typical: tuple[Typical, ...]


EXPLANATIONS: dict[str, Explanation] = {
    "overvoltage": Explanation(
        "59",
        "DC overvoltage relay",
        "The cells, from being charged past the voltage their maker allows. The main cutoff: the "
        "mean over whole mains cycles is too high for too long.",
        "At the end of charge the voltage runs away within minutes, and the supply has no cutoff "
        "of its own. Cells swell, vent electrolyte, and may burn.",
        (
            Typical("trip_volts", "0.04 to 0.06 V below never_above_volts", PRACTICE),
            Typical("delay_seconds", "0.5 to 2 s", PRACTICE),
        ),
    ),
    "overvoltage_high_set": Explanation(
        "59",
        "DC overvoltage relay, high-set stage",
        "The cells, from a sudden rise: a knob turned the wrong way, a link that opened. It counts "
        "single conversions and does not wait for a mean.",
        "A fast rise would be seen only by the delayed stage, a second or more later.",
        (
            Typical("trip_volts", "between overvoltage.trip_volts and never_above_volts", PRACTICE),
            Typical("confirm / of", "2 of 3: one bad reading neither trips nor clears", PRACTICE),
        ),
    ),
    "overcurrent": Explanation(
        "76",
        "DC overcurrent relay, definite time",
        "Rectifier, transformer, shunt and leads, from more current than they bear.",
        "Leads and joints overheat, the shunt leaves its accuracy, the rectifier fails short.",
        (
            Typical("trip_amperes", "at most two thirds of the shunt's rating", PRACTICE),
            Typical("delay_seconds", "1 to 5 s", PRACTICE),
        ),
    ),
    "rate_of_rise": Explanation(
        "7",
        "rate-of-change relay",
        "The cells, at the steep end: it sees the voltage run away before a limit is reached, and "
        "opens at once when never_above_volts is only seconds off.",
        "Only the voltage limits are left, and they act at the last moment.",
        (
            Typical("above_volts", "3.40 to 3.50 V, above the flat part", PRACTICE),
            Typical("trip_volts_per_minute", "0.06: 100 A into a single cell of 280 Ah", REPORTS),
        ),
    ),
    "undervoltage": Explanation(
        "27",
        "undervoltage relay",
        "Against charging a dead cell, and against a sense lead that came off and reads low.",
        "A loose sense lead looks like an empty cell, and the operator turns the current up.",
        (Typical("trip_volts", "2.5 V", MEMORY),),
    ),
    "reverse_current": Explanation(
        "32",
        "directional power relay, used for reverse flow",
        "The bank, from feeding a failed rectifier, and the operator, from swapped sense wires.",
        "A shorted rectifier is a short across the whole bank.",
        (Typical("trip_amperes", "1 to 3 % of the shunt's rating", PRACTICE),),
    ),
    "sensing": Explanation(
        "",
        "supervision of the measurement",
        "All other rules: a reading that is out of range, clipped, frozen, or from a converter "
        "that was reset, is no reading.",
        "A broken lead would read as a cell with plenty of room, and no limit would ever act.",
        (Typical("trip_after_seconds", "0.1 to 0.5 s", PRACTICE),),
    ),
    "stale": Explanation(
        "",
        "supervision of the measurement",
        "All other rules: a value that is no longer fresh says nothing about now.",
        "The last good value would stand for ever, and the contactor would stay closed on it.",
        (Typical("trip_after_seconds", "0.1 to 0.5 s", PRACTICE),),
    ),
    "failed_to_open": Explanation(
        "86 BF",
        "lockout after breaker failure (suffix from memory)",
        "Against a welded or stuck contactor: the coil was dropped, but current still flows, or "
        "the auxiliary contact says closed. Opens the mains side and calls for help.",
        "The display says open, everyone leaves, and the bank goes on charging.",
        (
            Typical("within_seconds", "drop-out and release, and two windows more", PRACTICE),
            Typical("current_amperes", "1 to 3 % of the shunt's rating", PRACTICE),
        ),
    ),
    "loop_overrun": Explanation(
        "",
        "supervision of the loop",
        "Against a computer too busy, too hot or too slow to judge in time.",
        "Every response time in this table would be a guess.",
        (Typical("trip_late_seconds", "about half the lease", PRACTICE),),
    ),
    "hang": Explanation(
        "",
        "expiry of the permission to be closed",
        "Against a loop that stands still: nothing renews the lease, and the coil drops by itself.",
        "The coil would stay as it was: the last decision would hold for ever.",
        (Typical("loop.lease_milliseconds", "200 to 500 ms", PRACTICE),),
    ),
}
