"""How many batteries and chargers: the rule of thumb, and waiting by queueing theory.

Rule of thumb for continuous work: batteries per truck = (use + charge + rest + handling) / use;
8 h + 8 h + 8 h gives three. The real answer comes from ``pool_simulation``.
"""

from __future__ import annotations

import cmath
import math

_CLOSE = 1e-14
_MOST_STEPS = 100


def batteries_per_truck(
    use_hours: float, charge_hours: float, rest_hours: float, handling_hours: float = 0.0
) -> float:
    """Batteries for each truck that works without a break; hours of one battery's round."""
    if use_hours <= 0 or min(charge_hours, rest_hours, handling_hours) < 0:
        raise ValueError("a use takes time, and no hours are negative")
    return (use_hours + charge_hours + rest_hours + handling_hours) / use_hours


def least_batteries(trucks: int, per_truck: float) -> int:
    """Whole batteries for ``trucks``; pooled, so the sum is rounded up, not each truck."""
    return math.ceil(trucks * per_truck - 1e-9)


def least_chargers(trucks: int, use_hours: float, charge_hours: float) -> int:
    """Chargers for ``trucks`` that work without a break, when no battery ever waits for one."""
    return math.ceil(trucks * charge_hours / use_hours - 1e-9)


def waiting_md_c(arrivals_per_hour: float, service_hours: float, servers: int) -> float:
    """Mean wait (h) before service in an M/D/c queue: Poisson arrivals, constant service.

    Exact. After C. D. Crommelin (1932) the number present follows, over one service time,
    N' = max(N - c, 0) + Poisson(a), a = arrivals x service. Its generating function gives
    L = (c - (c - a)^2) / (2 (c - a)) + sum of 1 / (1 - z) over the c - 1 roots of
    z^c = exp(a (z - 1)) inside the unit circle, and the wait is (L - a) / arrivals.
    Infinite where more arrives than the servers can do.
    """
    load = arrivals_per_hour * service_hours
    if load <= 0:
        return 0.0
    if load >= servers:
        return math.inf
    spare = servers - load
    present = (servers - spare**2) / (2 * spare)
    present += sum((1 / (1 - _root(load, servers, turn))).real for turn in range(1, servers))
    return max(0.0, present - load) / arrivals_per_hour


def _root(load: float, servers: int, turn: int) -> complex:
    """The root of z = w exp(load (z - 1) / servers), w the ``turn``-th root of one, by Newton."""
    unit = cmath.exp(2j * math.pi * turn / servers)
    z = 0j
    for _ in range(_MOST_STEPS):
        image = unit * cmath.exp(load * (z - 1) / servers)
        step = (z - image) / (1 - load / servers * image)
        z -= step
        if abs(step) < _CLOSE:
            break
    return z
