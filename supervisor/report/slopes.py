"""How fast a quantity rises, as the rules reckon it: least squares over the last seconds."""

import numpy as np

from supervisor.protection.slope import SlidingSlope
from supervisor.report.series import Floats


def slopes(at_s: Floats, values: Floats, over_s: float) -> Floats:
    """Per second; nan until there are values for so long, and where none is known."""
    sliding, found = SlidingSlope(over_s), np.full(len(at_s), np.nan)
    first_s: float | None = None
    for k, (one_s, value) in enumerate(zip(at_s.tolist(), values.tolist(), strict=True)):
        if np.isnan(value):
            continue
        first_s = one_s if first_s is None else first_s
        sliding.add(one_s, value)
        fit = sliding.fit()
        if fit is not None and one_s - first_s >= over_s:
            found[k] = fit.slope
    return found
