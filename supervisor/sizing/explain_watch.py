"""What the rules on the measurement, on the loop, and on people's own acts are for."""

from supervisor.sizing.explanation import PRACTICE, Class, Explanation, Typical

SENSING_CLASSES = (
    Class(
        "open lead", "at the level its bias resistor holds it at (open_lead_volts), or dead zero"
    ),
    Class("shorted lead", "dead zero, where open_lead_volts says that an open one reads more"),
    Class("reversed lead", "a cell's voltage with the wrong sign"),
    Class("clipped, out of range", "the converter's end code, or what no live cell reads"),
    Class("frozen", "the same code in two ranges, or for frozen_seconds: a live one has noise"),
    Class("not ready", "a conversion that does not end in its time"),
    Class(
        "configuration changed", "reads back other settings than were written, after it kept them"
    ),
    Class("wrong chip", "has never once kept what was written to it"),
    Class("12-bit part", "nothing but multiples of 16: sold as a 16-bit part, and is none"),
    Class("chip reset", "back at its power-on values: its supply broke down"),
    Class("zero offset", "more than zero_amperes with the contactor open: closing waits"),
    Class(
        "voltage that does not answer",
        "changes of step_amperes or more move the front cell by less than least_answer_microohms",
    ),
    Class(
        "current that does not show",
        "less than zero_amperes is read, and the front cell rises as only a charge can make it",
    ),
    Class(
        "swapped shunt",
        "reads backwards, and was never positive since closing: reverse_current trips and says so",
    ),
)

WATCH_RULES: dict[str, Explanation] = {
    "sensing": Explanation(
        "",
        "supervision of the measurement",
        "All other rules: a reading that is out of range, clipped, frozen, or from a converter "
        "that was reset, is no reading.",
        "A broken lead would read as a cell with plenty of room, and no limit would ever act.",
        (
            Typical("trip_after_seconds", "0.1 to 0.5 s", PRACTICE),
            Typical("zero_amperes", "0.5 % of the shunt's rating", PRACTICE),
            Typical("step_amperes", "10 % of the shunt's rating", PRACTICE),
            Typical(
                "least_answer_microohms",
                "2 for 32 cells: two thirds of 100 microohm a cell, over the cells in parallel",
                PRACTICE,
            ),
        ),
        classes=SENSING_CLASSES,
    ),
    "stale": Explanation(
        "",
        "supervision of the measurement",
        "All other rules: a value that is no longer fresh says nothing about now.",
        "The last good value would stand for ever, and the contactor would stay closed on it.",
        (Typical("trip_after_seconds", "0.1 to 0.5 s", PRACTICE),),
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
        (Typical("lease_milliseconds", "200 to 500 ms", PRACTICE),),
        block="loop",
        keys=("lease_milliseconds",),
    ),
    "external": Explanation(
        "",
        "a trip from outside the rules",
        "People on the spot: the stop button, or its broken wire. Also locks out after a run that "
        "ended without a word while closed (power cut, crash, killed), and when the lockout file "
        "cannot be read.",
        "Nobody could stop it by hand and have it stay stopped, and a power cut in mid-charge "
        "would be forgotten.",
        (
            Typical("stop_button.pin", "a normally closed button to ground", PRACTICE),
            Typical("reset_button.hold_seconds", "2 to 5 s", PRACTICE),
        ),
        block="panel",
        keys=("stop_button.pin", "reset_button.pin", "reset_button.hold_seconds"),
    ),
}
