"""A straight line through points of a calibration, and how far it may be trusted.

Each point is a channel's own reading x, as it is without any calibration, beside a reference y;
the line y = gain * x + offset turns the one into the other. Values are in V or A.

Both have errors, so the line is that of York, Evensen, Martinez and De Basabe Delgado, "Unified
equations for the slope, intercept, and standard errors of the best straight line", American
Journal of Physics 72 (2004) 367 (from memory), without correlation of x and y; without errors in x
it is the usual weighted line. What a meter does wrong in the same way at all points moves the line
as a whole: it is carried through and added (GUM, JCGM 100, 5.2.2), and no number of points lessens
it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import fsum, hypot, isfinite, sqrt

from supervisor.measurement.chi_squared import chance_of_more
from supervisor.measurement.meter import Meter

LARGEST = 1e6  # of a value in V or A
FINEST = 1e-12  # of an uncertainty
LEAST_GAIN = 1e-6  # both sides are in V, or in A
MOST_POINTS = 100
MOST_ROUNDS = 200
SETTLED = 1e-13


class NoLine(ValueError):
    """Points that no line can be put through; says why, and what to do."""


@dataclass(frozen=True, slots=True)
class Point:
    """A reading x of the channel beside the reference y, with their own standard uncertainties.

    ``u_y`` is the random part only (``Meter.random``); ``meter`` says what the points share. None:
    y is known, as the current through an open circuit is. Raises NoLine for impossible numbers.
    """

    x: float
    u_x: float
    y: float
    u_y: float
    meter: Meter | None = None

    def __post_init__(self) -> None:
        values, errors = (self.x, self.y), (self.u_x, self.u_y)
        if not all(isfinite(number) and abs(number) <= LARGEST for number in (*values, *errors)):
            raise NoLine(f"{self} holds what is no number, or too large: measure it again.")
        if min(errors) < 0 or max(errors) < FINEST:
            raise NoLine(
                f"{self} claims to be without error. It has half a step of its resolution at "
                "least: give that."
            )


def known_zero(x: float, u_x: float) -> Point:
    """What the channel reads where the true value is zero: no current, inputs shorted.

    With it one point more is enough for a line: the gain alone is then measured.
    """
    return Point(x, u_x, 0.0, 0.0)


def averaged(values: Sequence[float]) -> tuple[float, float]:
    """Mean and the standard deviation of the mean (GUM, 4.2.3); 0 of a single value.

    Take window means, not conversions: those hang together by the mains. The step of what
    measured them comes on top: ``Meter.random``, or step / sqrt(12). Raises NoLine.
    """
    if not values or not all(isfinite(value) for value in values):
        raise NoLine("There is nothing to take the mean of: read it again.")
    mean = fsum(values) / len(values)
    if len(values) == 1:
        return mean, 0.0
    squares = fsum((value - mean) ** 2 for value in values)
    return mean, sqrt(squares / (len(values) - 1) / len(values))


@dataclass(frozen=True, slots=True)
class Random:
    """What is random about a line: of its height at the points' centre, and of its gain. The two
    are independent of each other."""

    centre: float
    height_variance: float
    gain_variance: float

    def at(self, x: float) -> float:
        """Standard uncertainty of the line at x."""
        return sqrt(self.height_variance + (x - self.centre) ** 2 * self.gain_variance)


@dataclass(frozen=True, slots=True)
class Shift:
    """How a line moves when one error, common to many points, is a standard uncertainty large."""

    gain: float
    offset: float

    def at(self, x: float) -> float:
        return self.gain * x + self.offset

    def plus(self, other: "Shift") -> "Shift":
        return Shift(self.gain + other.gain, self.offset + other.offset)


@dataclass(frozen=True, slots=True)
class LineFit:
    """y = gain * x + offset. ``common``: of each meter its error that grows with the value and the
    one that does not. They add up, as its statement does; the meters are independent."""

    points: tuple[Point, ...]
    gain: float
    offset: float
    random: Random
    common: tuple[tuple[Shift, Shift], ...]

    def value(self, x: float) -> float:
        """What a reading x of the uncalibrated channel means."""
        return self.gain * x + self.offset

    def reading(self, value: float) -> float:
        """The uncalibrated reading that means a value."""
        return (value - self.offset) / self.gain

    def standard_at(self, x: float) -> float:
        """Combined standard uncertainty of ``value(x)``, what the meters share included.

        That reading's own noise and steps are not in it: they are the channel's budget.
        """
        common = (abs(a.at(x)) + abs(b.at(x)) for a, b in self.common)
        return hypot(self.random.at(x), *common)

    @property
    def u_gain(self) -> float:
        return hypot(sqrt(self.random.gain_variance), *(s.gain for s in self._shifts()))

    @property
    def u_offset(self) -> float:
        return hypot(self.random.at(0.0), *(s.offset for s in self._shifts()))

    @property
    def covariance(self) -> float:
        """Of gain and offset, for values on the side of zero where the points are."""
        own = -self.random.centre * self.random.gain_variance
        return own + fsum(s.gain * s.offset for s in self._shifts())

    @property
    def residuals(self) -> tuple[float, ...]:
        """How far above the line each reference lies."""
        return tuple(p.y - self.value(p.x) for p in self.points)

    @property
    def normalised(self) -> tuple[float, ...]:
        """The residuals in standard uncertainties of their own: that of the point, less what the
        line has taken over from it. 0 where the line must go through the point."""
        pairs = zip(self.points, self.residuals, strict=True)
        return tuple(self._normalised(point, residual) for point, residual in pairs)

    @property
    def chi_squared(self) -> float:
        pairs = zip(self.points, self.residuals, strict=True)
        return fsum(residual**2 / _variance(point, self.gain) for point, residual in pairs)

    @property
    def degrees_of_freedom(self) -> int:
        return len(self.points) - 2

    @property
    def probability(self) -> float:
        """That chance alone scatters points more than these; 1 where two points leave it open."""
        return chance_of_more(self.chi_squared, self.degrees_of_freedom)

    def _normalised(self, point: Point, residual: float) -> float:
        own = _variance(point, self.gain)
        free = own - self.random.at(point.x) ** 2
        return residual / sqrt(free) if free > 1e-6 * own else 0.0

    def _shifts(self) -> Iterator[Shift]:
        """Of each meter both errors together, signed so that they add up amid the points."""
        for a, b in self.common:
            centre = self.random.centre
            is_against = a.at(centre) * b.at(centre) < 0
            yield a.plus(Shift(-b.gain, -b.offset) if is_against else b)


def fit_line(points: Sequence[Point]) -> LineFit:
    """The line through two points or more. Raises NoLine, in words."""
    if len(points) < 2:
        raise NoLine(
            "One point cannot tell a wrong gain from a wrong zero. Take a second one far from it, "
            "or measure what the channel reads at a true zero."
        )
    if len(points) > MOST_POINTS:
        raise NoLine(f"More than {MOST_POINTS} points: take the mean of those that lie together.")
    gain = _settled_gain(points)
    weights = [1 / _variance(point, gain) for point in points]
    x_mean, y_mean = _means(points, weights)
    lifts = _lifts(points, weights, gain)
    centre = x_mean + _mean(lifts, weights)
    arms = [x_mean + lift - centre for lift in lifts]
    stiffness = fsum(w * arm * arm for w, arm in zip(weights, arms, strict=True))
    if stiffness <= 0:
        raise NoLine(_ONE_PLACE)
    random = Random(centre, 1 / fsum(weights), 1 / stiffness)
    pulls = _pulls(weights, arms, random)
    return LineFit(tuple(points), gain, y_mean - gain * x_mean, random, _common(points, pulls))


_ONE_PLACE = "All points lie at one reading, which gives no gain: take others far from it."
_STANDS_STILL = (
    "The reference does not move with the reading, or out of all proportion: look which leads go "
    "where, and whether the units are right."
)


def _settled_gain(points: Sequence[Point]) -> float:
    """York's slope, from the unweighted one on until it stays."""
    xs = [p.x for p in points]
    if max(xs) - min(xs) <= max(1e-9 * max(map(abs, xs)), FINEST):
        raise NoLine(_ONE_PLACE)
    x_mean, y_mean = _means(points, [1.0] * len(points))
    across = fsum((x - x_mean) ** 2 for x in xs)
    gain = fsum((p.x - x_mean) * (p.y - y_mean) for p in points) / across
    for _ in range(MOST_ROUNDS):
        before, gain = gain, _next_gain(points, gain)
        if abs(gain - before) <= SETTLED * abs(gain):
            return gain
    raise NoLine(
        "No line comes near these points: the reading's error is as large as the span. Take them "
        "farther apart."
    )


def _next_gain(points: Sequence[Point], gain: float) -> float:
    variances = [_variance(point, gain) for point in points]
    if not LEAST_GAIN <= abs(gain) <= 1 / LEAST_GAIN or min(variances) == 0:
        raise NoLine(_STANDS_STILL)
    weights = [1 / variance for variance in variances]
    x_mean, y_mean = _means(points, weights)
    lifts = _lifts(points, weights, gain)
    forces = [w * lift for w, lift in zip(weights, lifts, strict=True)]
    run = fsum(force * (p.x - x_mean) for force, p in zip(forces, points, strict=True))
    rise = fsum(force * (p.y - y_mean) for force, p in zip(forces, points, strict=True))
    if run == 0:
        raise NoLine(_ONE_PLACE)
    return rise / run


def _variance(point: Point, gain: float) -> float:
    """Of a point across the line, in the unit of y."""
    return point.u_y**2 + (gain * point.u_x) ** 2


def _lifts(points: Sequence[Point], weights: Sequence[float], gain: float) -> list[float]:
    """How far from the mean each point's likeliest true x is."""
    x_mean, y_mean = _means(points, weights)
    return [
        w * ((p.x - x_mean) * p.u_y**2 + gain * (p.y - y_mean) * p.u_x**2)
        for w, p in zip(weights, points, strict=True)
    ]


def _means(points: Sequence[Point], weights: Sequence[float]) -> tuple[float, float]:
    return _mean([p.x for p in points], weights), _mean([p.y for p in points], weights)


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return fsum(w * value for w, value in zip(weights, values, strict=True)) / fsum(weights)


def _pulls(weights: Sequence[float], arms: Sequence[float], random: Random) -> list[Shift]:
    """How the line moves with the y of each point, by one unit."""
    gains = [w * arm * random.gain_variance for w, arm in zip(weights, arms, strict=True)]
    return [
        Shift(gain, w * random.height_variance - random.centre * gain)
        for w, gain in zip(weights, gains, strict=True)
    ]


def _common(points: Sequence[Point], pulls: Sequence[Shift]) -> tuple[tuple[Shift, Shift], ...]:
    found = []
    for meter in dict.fromkeys(p.meter for p in points if p.meter is not None):
        mine = [(p.y, pull) for p, pull in zip(points, pulls, strict=True) if p.meter == meter]
        found.append(
            (
                _sum((y * meter.gain_standard, pull) for y, pull in mine),
                _sum((meter.offset_standard, pull) for _, pull in mine),
            )
        )
    return tuple(found)


def _sum(errors: Iterator[tuple[float, Shift]]) -> Shift:
    listed = list(errors)
    return Shift(
        fsum(error * pull.gain for error, pull in listed),
        fsum(error * pull.offset for error, pull in listed),
    )
