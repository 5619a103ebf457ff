"""What the rules on the cells' voltage, and on the charge as a whole, are for."""

from supervisor.sizing.explanation import MEMORY, PRACTICE, REPORTS, Explanation, Typical

CELL_RULES: dict[str, Explanation] = {
    "overvoltage": Explanation(
        "59",
        "DC overvoltage relay",
        "The cells, from being charged past the voltage their maker allows. The main cutoff: the "
        "mean over whole mains cycles is too high for too long.",
        "At the end of charge the voltage runs away within minutes, and the supply has no cutoff "
        "of its own. Cells swell, vent electrolyte, and may burn.",
        (
            Typical("trip_volts", "0.04 to 0.06 V below bank.never_above_volts", PRACTICE),
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
            Typical(
                "trip_volts", "between overvoltage.trip_volts and bank.never_above_volts", PRACTICE
            ),
            Typical("confirm / of", "2 of 3: one bad reading neither trips nor clears", PRACTICE),
        ),
    ),
    "second_line": Explanation(
        "59",
        "DC overvoltage relay in the converter chip",
        "The cells, from everything that can go wrong in software: a converter of its own compares "
        "by itself, and its ALERT output holds the coil off by wire. It is tried out before "
        "closing, and the software trips as well when it sees the line.",
        "Only software opens the contactor. Whatever stops or misleads all of it at once, with a "
        "driver that holds, leaves the bank charging.",
        (
            Typical("trip_volts", "0.01 to 0.02 V below bank.never_above_volts", PRACTICE),
            Typical("release_volts", "3.40 V: under it only when charging has ended", PRACTICE),
        ),
        block="second_line",
    ),
    "rate_of_rise": Explanation(
        "7",
        "rate-of-change relay",
        "The cells, at the steep end: it sees the voltage run away before a limit is reached, and "
        "opens at once when bank.never_above_volts is only seconds off.",
        "Only the voltage limits are left, and they act at the last moment.",
        (
            Typical("above_volts", "3.40 to 3.50 V, above the flat part", PRACTICE),
            Typical("trip_volts_per_minute", "0.06: 100 A into a single cell of 280 Ah", REPORTS),
        ),
    ),
    "knob_speed": Explanation(
        "7",
        "rate-of-change relay",
        "Cells and supply, from a knob turned up faster than anybody can follow: current or "
        "voltage climbs too fast, at any level.",
        "Only the limits are left: a knob turned through is found when current or voltage is "
        "already too high.",
        (
            Typical("trip_amperes_per_second", "10 to 20 A/s", PRACTICE),
            Typical(
                "trip_volts_per_second",
                "0.01: half of bank.fastest_rise_volts_per_second",
                PRACTICE,
            ),
            Typical("over_seconds", "1 to 3 s: shorter, and ripple looks like a slope", PRACTICE),
        ),
    ),
    "undervoltage": Explanation(
        "27",
        "undervoltage relay",
        "Against charging a dead cell, and against a sense lead that came off and reads low.",
        "A loose sense lead looks like an empty cell, and the operator turns the current up.",
        (Typical("trip_volts", "2.5 V", MEMORY),),
    ),
    "balance": Explanation(
        "60",
        "voltage balance relay (number from memory)",
        "The cells behind a bad joint. Front and far cell differ by what the bars drop at this "
        "current; more is a link that has opened or a lead that lies, less is a shunt that does. "
        "So two channels vouch for each other.",
        "A lead with resistance in it reads low without looking broken, and the limits act too "
        "late by just that much.",
        (
            Typical("trip_volts", "0.05 to 0.2 V, well above the guard band", PRACTICE),
            Typical(
                "bars_microohms",
                "what you measure in the flat part: front minus far, over the current. 222 for 8 "
                "cells of 1 milliohm on bars of 100 microohm a step",
                "computed: ladder of equal cells fed at one end",
            ),
            Typical("delay_seconds", "2 to 10 s: cells drift apart slowly, joints fail", PRACTICE),
        ),
    ),
    "session_time": Explanation(
        "",
        "longest time a charge may take",
        "The cells, against a charge that does not end: a cell that leaks inside, a current read "
        "too low, a limit set too low to be reached.",
        "Nothing would end a charge that has gone wrong quietly, and nobody stays for days.",
        (
            Typical(
                "trip_hours",
                "1.3 to 1.5 times bank.cell_ampere_hours x bank.cells_in_parallel / current",
                PRACTICE,
            ),
        ),
    ),
    "session_charge": Explanation(
        "",
        "most charge a session may take",
        "The cells, by a second opinion that needs no voltage: more charge than they hold cannot "
        "have gone into them unharmed.",
        "A voltage that reads too low would be believed, however much has gone in.",
        (
            Typical(
                "trip_ampere_hours",
                "bank.cell_ampere_hours x bank.cells_in_parallel; cells come half charged",
                "rating of the cells; half charged: common practice, no source",
            ),
        ),
    ),
    "session_hold": Explanation(
        "",
        "longest hold near the limit",
        "The cells, from a tiny current held up to the limit: that overcharges them although no "
        "limit is ever passed.",
        "A forgotten hold goes on until session_time ends it.",
        (
            Typical("above_volts", "3.45 to 3.55 V: above what full cells rest at", PRACTICE),
            Typical("trip_hours", "12 to 48 h, by the size of the bank", PRACTICE),
        ),
    ),
}
