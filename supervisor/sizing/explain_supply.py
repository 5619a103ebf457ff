"""What the rules on current and heat are for."""

from supervisor.sizing.explanation import MEMORY, PRACTICE, Explanation, Typical

SUPPLY_RULES: dict[str, Explanation] = {
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
    "overcurrent_inverse": Explanation(
        "76",
        "DC overcurrent relay, inverse time",
        "Rectifier, transformer and leads, from a moderate overcurrent that lasts: the more it is, "
        "the sooner it trips, as parts heat up.",
        "Whatever stays just below overcurrent.trip_amperes may flow for ever.",
        (
            Typical("trip_amperes", "1.05 to 1.2 times what the supply bears for long", PRACTICE),
            Typical(
                "curve",
                "iec_very_inverse, 13.5 s at 2 and 1.5 s at 10 times the pick-up; of heat alone "
                "iec_extremely_inverse, 26.7 s and 0.81 s",
                "IEC 60255-151",
            ),
            Typical("time_multiplier", "1: the curve as published", "IEC 60255-151, IEEE C37.112"),
            Typical("reset_seconds", "30 to 120 s", PRACTICE),
        ),
    ),
    "supply_thermal": Explanation(
        "49",
        "thermal relay, by a model of the part (IEC 60255-149)",
        "Rectifier and transformer, from the heat of hours: it is reckoned from the current, kept "
        "over an opening and over a restart.",
        "A home-built supply runs for days at a current that no limit forbids and its cooling does "
        "not bear; a rectifier that fails short is a short across the bank.",
        (
            Typical(
                "form_factor",
                "1.11 for full waves into a resistance; 1.2 to 1.3 into a bank",
                "computed: pi / (2 sqrt 2) = 1.1107; simulated circuit at small load: 1.27",
            ),
            Typical("warn_percent", "80 to 95", PRACTICE),
            Typical(
                "rectifier.continuous_amperes", "half its bare rating without forced air", PRACTICE
            ),
            Typical(
                "rectifier.time_constant_seconds", "100 to 600 s for a finned heat sink", PRACTICE
            ),
            Typical("transformer.continuous_amperes", "rated current of the winding", MEMORY),
            Typical("transformer.time_constant_seconds", "1800 to 7200 s", PRACTICE),
        ),
    ),
    "temperature": Explanation(
        "26",
        "apparatus thermal device",
        "Heat sink, transformer and cells, by probes: from a fan that stopped, a joint that heats, "
        "and cells that must not be charged so cold or so hot.",
        "Heat from another cause than the current is not seen, and charging near freezing plates "
        "lithium: cells are ruined although every voltage is right.",
        (
            Typical("heat_sink_above_celsius", "70 to 90", PRACTICE),
            Typical(
                "transformer_above_celsius",
                "90 to 110; insulation of class B bears 130",
                "common practice; IEC 60085, from memory",
            ),
            Typical("cells_above_celsius", "45 to 60", MEMORY),
            Typical("cells_below_celsius", "0 to 5", MEMORY),
            Typical("delay_seconds", "5 s: nothing here heats in less", PRACTICE),
            Typical("lost_after_seconds", "10 to 30 s", PRACTICE),
        ),
    ),
    "stage_limits": Explanation(
        "76, 59",
        "DC overcurrent and overvoltage relays, each in force in one stage of the charge",
        "The cells near their end, where the current that was right for hours drives the voltage "
        "up within minutes; and the hold, when nobody stands beside it.",
        "A knob left where it was, or bumped, is stopped only by the limits of the whole charge.",
        (
            Typical("taper.trip_amperes", "the bulk's current, or a little less", PRACTICE),
            Typical("hold.trip_amperes", "a third to a half of it", PRACTICE),
            Typical("hold.trip_volts", "20 to 30 mV above hold_volts", PRACTICE),
            Typical("delay_seconds", "what it takes to turn the knob down: 5 to 30 s", PRACTICE),
        ),
    ),
    "reverse_current": Explanation(
        "32",
        "directional power relay, used for reverse flow",
        "The bank, from feeding a failed rectifier, and the operator, from swapped sense wires.",
        "A shorted rectifier is a short across the whole bank.",
        (Typical("trip_amperes", "1 to 3 % of the shunt's rating", PRACTICE),),
    ),
    "failed_to_close": Explanation(
        "",
        "no number: 52 with its contacts is an AC breaker",
        "Against a contactor that closes by itself later: a loose coil wire, a driver without "
        "supply, a contact that chatters. The auxiliary contact says open though told to close.",
        "Somebody turns the knob up to see why nothing flows, and then it closes.",
        (Typical("within_seconds", "pull-in and a few looks: 0.3 to 1 s", PRACTICE),),
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
}
