"""What a cell's gravity can do from round to round, and how well each course explains what was
read of it.

A cell's distance from its battery's level is taken to be its own lasting distance, which wanders
a little and is large for a few, less what it is behind by, plus the error of the reading. Four
courses of what it is behind by are weighed:

- steady: nothing;
- failing: a cell that is never fully charged sulphates faster, so that what it is behind by
  doubles in 45 to 120 days until a usual use takes all it has left; it may fail on any day;
- lagging: more self-discharge than its neighbours', so that it falls in a straight line and is
  brought back by an equalize charge, time and again;
- stepped: diluted by overfilling, or given acid, on one day.

The likelihood of a course is that of the innovations of a Kalman filter on the cell's own
distance (R. E. Kalman, 1960; F. C. Schweppe, Evaluation of likelihood functions for Gaussian
signals, 1965): the filter is linear and its gain does not depend on what was read, so that one
pass over readings and shapes serves every size of a fall. The lagging course, brought back on
unknown days, is followed as in R. P. Adams and D. J. C. MacKay, Bayesian online changepoint
detection (2007), by the time since it was last brought back.

Distances are gravities at the reference, negative below; times are days, the last round is 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

FAILS_BEHIND = 0.060
"""Gravity falls by 0.150 from full to empty; with 40 % of that missing after a charge a usual use
(60 %) takes all there is, and the cell reverses."""
EMPTY_BEHIND = 0.150
DOUBLING_DAYS = (30.0, 50.0, 80.0, 120.0)
FAILS_IN_DAYS = tuple(range(-98, 420, 28))
"""A cell may have failed and still be in its battery. Later than in a year, the fall can't be told
from the error of a reading."""

# What is assumed of all batteries, in round figures; a site's record is too short to tell them.
_FAILING_SHARE = 1 / 16  # of batteries with such a cell
_LAGGING_SHARE = 1 / 16
_STEPPED_SHARE = 1 / 32
_A_MONTH = (0.003, 0.006, 0.009)  # what a lagging cell loses: 0.5 to 1.5 % of charge a week
_LAGS_AT_MOST = 0.0225  # 15 % of charge: a cell that lacks more is not only lagging
_BROUGHT_BACK_DAYS = 60.0  # mean time until it is
_STEP = 0.012  # standard deviation of what a dilution takes or acid gives
_WANDER_A_MONTH = 0.0005  # standard deviation of what a sound cell moves
_APART_SHARE = 1 / 50  # of sound cells that always lay apart: replaced, filled with other acid
_APART_SPREAD = 0.012
_SLIP = 0.004  # share of readings that are anything
_SLIPS_WITHIN = 0.08  # range over which they are

_DAYS_A_MONTH = 30.0
_FAILING = tuple(
    (place, -behind)  # the number of the doubling time, and how much of its shape is there today
    for place, doubling in enumerate(DOUBLING_DAYS)
    for days in FAILS_IN_DAYS
    if (behind := FAILS_BEHIND * 2.0 ** (-days / doubling)) <= EMPTY_BEHIND
)
_UNLIKELY = 12.0  # a log likelihood so much below the best is let go
_NEAR, _APART = math.log(1 - _APART_SHARE), math.log(_APART_SHARE)
_NO_SLIP = math.log(1 - _SLIP)
_A_SLIP = math.log(_SLIP) - math.log(_SLIPS_WITHIN) + 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True)
class Read:
    """A cell's reading: ``day`` (0 the last round, before it negative), ``distance`` from the
    battery's level, standard ``error``."""

    day: float
    distance: float
    error: float


@dataclass(frozen=True)
class Weighed:
    """A cell that may be failing: ``log_odds`` that it is, and the likeliest of such courses:
    ``behind`` now its ``own`` distance, doubling in ``doubling_days``."""

    log_odds: float
    behind: float
    own: float
    doubling_days: float


@dataclass(frozen=True)
class _Sums:
    """Of innovations, each over its variance: readings squared (and the logarithms of the
    variances), readings by shape, shapes squared; and what the filter makes of all of them."""

    readings: float
    crossed: tuple[float, ...]
    squared: tuple[float, ...]
    means: tuple[float, ...]

    def steady(self) -> float:
        """Log likelihood, but for what all courses have in common."""
        return -0.5 * self.readings

    def with_shape(self, place: int, size: float) -> float:
        """... with so much of a shape in the readings."""
        added = size * (2 * self.crossed[place] - size * self.squared[place])
        return -0.5 * (self.readings - added)

    def most_gained(self) -> float:
        """The most that any fall of any shape could add to the log likelihood."""
        return max(
            0.5 * crossed * crossed / squared if crossed < 0 < squared else 0.0
            for crossed, squared in zip(self.crossed, self.squared, strict=True)
        )

    def with_any(self, place: int, deviation: float) -> float:
        """... with an amount of a shape that is normally distributed about 0."""
        precision = self.squared[place] + 1 / (deviation * deviation)
        gain = self.crossed[place] ** 2 / precision
        return -0.5 * (self.readings - gain + math.log(precision * deviation * deviation))


def weigh(
    read: Sequence[Read], own_spread: float, cells: int, least_log_odds: float
) -> Weighed | None:
    """Whether the cell fails, from its readings, oldest first, at least two; None when the odds
    are below ``least_log_odds``.

    ``own_spread`` is the standard deviation of the lasting distances of sound cells of this
    battery, ``cells`` how many it has. The last reading may be a slip; earlier slips are to be
    left out before, see :func:`without_slips`.
    """
    shapes = [[2.0 ** (one.day / doubling) for one in read] for doubling in DOUBLING_DAYS]
    spreads = ((_NEAR, own_spread), (_APART, max(own_spread, _APART_SPREAD)))
    sums = [(odds, _filtered(read, spread, shapes)) for odds, spread in spreads]
    at_most = max(each.most_gained() for _, both in sums for each in both)
    if math.log(_FAILING_SHARE / cells) + at_most < least_log_odds:
        return None
    steady = _likelihood([(odds, [each.steady() for each in both]) for odds, both in sums])
    failing = _likelihood(
        [
            (odds, [_mean_of(each.with_shape(*course) for course in _FAILING) for each in both])
            for odds, both in sums
        ]
    )
    odds = math.log(_FAILING_SHARE / cells) + failing - steady
    if odds < least_log_odds:  # the other courses could only lower it
        return None
    lagging = _likelihood([(near, _lagging(read, spread)) for near, spread in spreads])
    stepped = _likelihood([(near, _stepped(read, spread)) for near, spread in spreads])
    odds -= _sum_of(
        (
            0.0,
            math.log(_LAGGING_SHARE / cells) + lagging - steady,
            math.log(_STEPPED_SHARE / cells) + stepped - steady,
        )
    )
    if odds < least_log_odds:
        return None
    _, likeliest, (_, now) = max(
        (near + both[1].with_shape(*course), course, both)
        for near, both in sums
        for course in _FAILING
    )
    place, size = likeliest
    return Weighed(odds, -size, now.means[0] - size * now.means[place + 1], DOUBLING_DAYS[place])


def without_slips(read: Sequence[Read], deviations: float = 4.0) -> list[Read]:
    """The readings but those far above or far below both of their neighbours; the last stays,
    because what comes after it is not known. The first is held against the three after it."""
    kept = list(read[-1:])
    for place in range(len(read) - 2, -1, -1):
        one, room = read[place], deviations * read[place].error
        if place:
            low, high = sorted((read[place - 1].distance, read[place + 1].distance))
        elif len(read) > 2:
            after = sorted(each.distance for each in read[1:4])
            low = high = (after[(len(after) - 1) // 2] + after[len(after) // 2]) / 2
            room *= 1.3  # the cell may move over three rounds
        else:
            low = high = one.distance
        if low - room <= one.distance <= high + room:
            kept.append(one)
    return kept[::-1]


def _filtered(
    read: Sequence[Read], own_spread: float, shapes: Sequence[Sequence[float]]
) -> tuple[_Sums, _Sums]:
    """The sums without the last reading, and with it."""
    count = len(shapes)
    means, crossed, squared = [0.0] * (count + 1), [0.0] * count, [0.0] * count
    readings, variance, last = 0.0, own_spread * own_spread, read[0].day
    before = _Sums(0.0, tuple(crossed), tuple(squared), tuple(means))
    for place, one in enumerate(read):
        if place == len(read) - 1:
            before = _Sums(readings, tuple(crossed), tuple(squared), tuple(means))
        variance += _wandered(one.day - last)
        last = one.day
        total = variance + one.error * one.error
        gain = variance / total
        new = one.distance - means[0]
        means[0] += gain * new
        readings += new * new / total + math.log(total)
        for number, shape in enumerate(shapes):
            shaped = shape[place] - means[number + 1]
            means[number + 1] += gain * shaped
            crossed[number] += new * shaped / total
            squared[number] += shaped * shaped / total
        variance *= 1 - gain
    return before, _Sums(readings, tuple(crossed), tuple(squared), tuple(means))


def _stepped(read: Sequence[Read], own_spread: float) -> list[float]:
    """Log likelihoods, without the last reading and with it, of a step between any two rounds."""
    count = len(read)
    shapes = [[0.0] * place + [1.0] * (count - place) for place in range(1, count)]
    return [
        _mean_of(sums.with_any(place, _STEP) for place in range(count - 1))
        for sums in _filtered(read, own_spread, shapes)
    ]


def _lagging(read: Sequence[Read], own_spread: float) -> list[float]:
    """... of straight falls from which the cell is brought back on unknown days."""
    paces = [_lagging_at(read, own_spread, a_month / _DAYS_A_MONTH) for a_month in _A_MONTH]
    return [_mean_of(both[place] for both in paces) for place in (0, 1)]


def _lagging_at(read: Sequence[Read], own_spread: float, a_day: float) -> tuple[float, float]:
    """... at one pace, without the last reading and with it. A state is the days since the cell
    was brought back, the filter's mean and the log likelihood; the filter's variance is common."""
    states = [
        (-_BROUGHT_BACK_DAYS * math.log(1 - share), 0.0, math.log(0.25))
        for share in (0.125, 0.375, 0.625, 0.875)
    ]
    variance, last, before = own_spread * own_spread, read[0].day, 0.0
    for place, one in enumerate(read):
        gap = one.day - last
        if gap > 0:
            variance += _wandered(gap)
            stays = math.exp(-gap / _BROUGHT_BACK_DAYS)
            likely = _sum_of(state[2] for state in states)
            mean = sum(math.exp(state[2] - likely) * state[1] for state in states)
            states = [(age + gap, own, odds + math.log(stays)) for age, own, odds in states]
            states.append((gap / 2, mean, likely + math.log(1 - stays)))
        last = one.day
        if place == len(read) - 1:
            before = _sum_of(state[2] for state in states)
        total = variance + one.error * one.error
        gain, spread = variance / total, math.log(total)
        moved = []
        for age, own, odds in states:
            new = one.distance + min(_LAGS_AT_MOST, a_day * age) - own
            moved.append((age, own + gain * new, odds - 0.5 * (new * new / total + spread)))
        best = max(state[2] for state in moved)
        states = [state for state in moved if state[2] > best - _UNLIKELY]
        variance *= 1 - gain
    return before, _sum_of(state[2] for state in states)


def _wandered(days: float) -> float:
    """Variance that a sound cell's own distance gains."""
    return _WANDER_A_MONTH * _WANDER_A_MONTH * days / _DAYS_A_MONTH


def _likelihood(by_spread: Iterable[tuple[float, Sequence[float]]]) -> float:
    """Log likelihood over the spreads of own distances, each with its log share and what is
    likely without the last reading and with it: when that is a slip, it says nothing."""
    return _sum_of(
        share + _sum_of((_A_SLIP + before, _NO_SLIP + now)) for share, (before, now) in by_spread
    )


def _sum_of(logs: Iterable[float]) -> float:
    """Logarithm of a sum, from logarithms."""
    logs = list(logs)
    highest = max(logs)
    return highest + math.log(sum(math.exp(each - highest) for each in logs))


def _mean_of(logs: Iterable[float]) -> float:
    logs = list(logs)
    return _sum_of(logs) - math.log(len(logs))
