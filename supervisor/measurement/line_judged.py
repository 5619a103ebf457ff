"""Whether a calibration's line may be written into the settings, and as which numbers.

The bounds here are ours, without a source, but for the two of chance: 0.1 % and three standard
uncertainties are common practice.
"""

from collections.abc import Iterator, Sequence
from math import ceil, floor, log10, sqrt

from pydantic import ValidationError

from supervisor.measurement.line_fit import LineFit
from supervisor.settings.hardware import CellChannel, ShuntChannel

LEAST_PROBABILITY = 0.001
MOST_OFF_U = 3.0
MOST_RANDOM_GAIN = 0.005  # of the gain: standard uncertainty by the points' own scatter
LEAST_SPAN_OF_TWO = 0.25  # of the largest reading: two points cannot contradict each other
MOST_REACH = 0.25  # of the span: so far beyond the points a line is believed


def poor(
    fit: LineFit,
    channel: CellChannel | ShuntChannel,
    interest: Sequence[float],
    reach: float = MOST_REACH,
) -> tuple[str, ...]:
    """Why the line is refused: what, why it matters, what to do; empty when it may be used.

    ``interest``: the values, in V or A, at which limits are judged; ``reach``: how far they may
    lie beyond the points, as a share of their span. Raises ValueError as ``settings_keys`` does.
    """
    return tuple(
        words
        for found in (
            _improbable(fit),
            _points_off(fit),
            _too_close(fit),
            _not_allowed(fit, channel, interest),
            _out_of_reach(fit, channel, interest, reach),
        )
        for words in found
    )


def cautions(fit: LineFit) -> tuple[str, ...]:
    """What must be told of a line that may be used."""
    if fit.degrees_of_freedom > 0:
        return ()
    return (
        "Two points always lie on a line: whether it is the right one cannot be checked. A third "
        "point between them would tell.",
    )


def gain_uncertainty_percent_for(fit: LineFit, at: float) -> float:
    """The number for the settings' ``gain_uncertainty_percent``, by what is unsure at a value.

    A channel's budget takes that key as a rectangular limit: limit / sqrt(3) is the standard
    uncertainty. So it is 100 * sqrt(3) * u / value, with u that of the whole line there: its gain,
    its offset and the meter. Rounded up to two digits (GUM, JCGM 100, 7.2.6). At smaller values
    than this the offset weighs more: ask for each that matters and take the largest.
    Raises ValueError at zero, where nothing is relative.
    """
    if at == 0:
        raise ValueError("A share of zero says nothing: ask at the limit that matters.")
    standard = fit.standard_at(fit.reading(at))
    return _rounded_up(100 * sqrt(3) * standard / abs(at))


def settings_keys(
    fit: LineFit, channel: CellChannel | ShuntChannel, interest: Sequence[float]
) -> dict[str, float]:
    """What belongs into the channel's block. ``interest``: as in ``poor``.

    Raises ValueError when there is no such value, or it is zero.
    """
    if not interest:
        raise ValueError("Name the values at which the limits are judged.")
    return {
        "gain": fit.gain,
        "offset_volts" if isinstance(channel, CellChannel) else "offset_amperes": fit.offset,
        "gain_uncertainty_percent": max(gain_uncertainty_percent_for(fit, at) for at in interest),
    }


def _improbable(fit: LineFit) -> Iterator[str]:
    if fit.probability < LEAST_PROBABILITY:
        yield (
            "The points scatter more than their uncertainties explain: chi-squared is "
            f"{fit.chi_squared:.1f} with {fit.degrees_of_freedom} degrees of freedom, and chance "
            f"exceeds that in less than {LEAST_PROBABILITY:.1%} of cases. Something moved between "
            "reading and reference, or a range was changed: take the points again, each when all "
            "is at rest."
        )


def _points_off(fit: LineFit) -> Iterator[str]:
    for number, (point, off) in enumerate(zip(fit.points, fit.normalised, strict=True), start=1):
        if abs(off) > MOST_OFF_U:
            yield (
                f"Point {number} ({point.y:.6g} by the reference, {point.x:.6g} read) lies "
                f"{abs(off):.1f} standard uncertainties off the line. A slip would bend the whole "
                "line: look at how it was written down, or take it again."
            )


def _too_close(fit: LineFit) -> Iterator[str]:
    unsure = sqrt(fit.random.gain_variance) / abs(fit.gain)
    if unsure > MOST_RANDOM_GAIN:
        yield (
            f"The points lie too close together to tell a gain: it is unsure by {unsure:.2%} by "
            f"their scatter alone, and may be by {MOST_RANDOM_GAIN:.1%}. Take them farther apart."
        )
    xs = [point.x for point in fit.points]
    if len(xs) == 2 and max(xs) - min(xs) < LEAST_SPAN_OF_TWO * max(map(abs, xs)):
        yield (
            "Two points so close to each other show nothing of the line between zero and full "
            f"range. Take a third, or two that lie {LEAST_SPAN_OF_TWO:.0%} of the larger one "
            "apart; a true zero counts as one."
        )


def _not_allowed(
    fit: LineFit, channel: CellChannel | ShuntChannel, interest: Sequence[float]
) -> Iterator[str]:
    keys = settings_keys(fit, channel, interest)
    try:
        channel.model_validate({**channel.model_dump(), **keys})
    except ValidationError as error:
        for one in error.errors(include_url=False):
            key = str(one["loc"][0])
            yield (
                f"{key} would be {keys[key]:.6g}, which the settings refuse: "
                f"{one['msg'][:1].lower()}{one['msg'][1:]}. No sound build is so far off: look at "
                "leads, range, divider and plate, and at the reference's statement."
            )


def _out_of_reach(
    fit: LineFit, channel: CellChannel | ShuntChannel, interest: Sequence[float], reach: float
) -> Iterator[str]:
    values = [fit.value(point.x) for point in fit.points]
    low, high = min(values), max(values)
    most = reach * (high - low)
    unit = "V" if isinstance(channel, CellChannel) else "A"
    for value in interest:
        if not low - most <= value <= high + most:
            yield (
                f"The points lie between {low:.4g} and {high:.4g} {unit}, and a limit is judged at "
                f"{value:.4g} {unit}: farther out than {reach:.0%} of their span, where nobody has "
                "looked whether the line holds. Take a point nearer to it."
            )


def _rounded_up(value: float) -> float:
    """To two digits. A hair above one is noise of the arithmetic."""
    digits = 1 - floor(log10(value))
    scale = 10.0**digits
    return round(ceil(round(value * scale, 6)) / scale, max(digits, 0))
