"""What the bank is rated for, beside what went in."""

import numpy as np

from supervisor.report.figures import Figures
from supervisor.report.in_force import along, in_force
from supervisor.report.record import Record
from supervisor.report.settings_told import dig

LEAST = "charge.full.least_percent"


def rating_words(record: Record) -> str:
    """Of all cells in parallel; empty where the settings do not tell."""
    cell_ah = dig(record.session.settings, "bank.cell_ampere_hours")
    return f"{record.session.cells * cell_ah:g} Ah rated" if cell_ah else ""


def beside_full(record: Record, figures: Figures, at_s: float) -> str:
    """Full is a matter of voltage and current: how much went in need not be much."""
    rated = rating_words(record) or "a rating that is not known"
    words = f"{figures.charge.ah.words} of {rated} went in; how full the cells came is not known"
    least_percent = float(along(in_force(record), LEAST, np.array([at_s]))[0])
    if least_percent == 0:
        return f"{words}, and the check that enough went in is off ({LEAST} is 0)."
    if least_percent > 0:
        return f"{words}. By the settings, less than {least_percent:g} % is no full charge."
    return f"{words}."
