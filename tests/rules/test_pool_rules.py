"""Batteries and chargers by the rule of thumb; waiting by queueing theory."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.pool import batteries_per_truck, least_batteries, least_chargers, waiting_md_c


def test_eight_eight_and_eight_give_three():
    assert batteries_per_truck(8, 8, 8) == 3
    assert least_batteries(10, batteries_per_truck(8, 8, 8)) == 30
    assert least_chargers(10, 8, 8) == 10


def test_pooled_batteries_are_rounded_up_once():
    assert batteries_per_truck(8, 8, 4) == 2.5
    assert least_batteries(3, 2.5) == 8
    assert batteries_per_truck(8, 8, 8, 0.5) == pytest.approx(3.0625)


def test_impossible_hours_are_refused():
    for hours in ((0, 8, 8), (-1, 8, 8), (8, -1, 8)):
        with pytest.raises(ValueError, match="hours"):
            batteries_per_truck(*hours)


@pytest.mark.parametrize("load", [0.1, 0.5, 0.8, 0.95, 0.999])
def test_one_server_waits_as_pollaczek_and_khinchine_say(load):
    # M/D/1: W = rho D / (2 (1 - rho)).
    assert waiting_md_c(load / 0.25, 0.25, 1) == pytest.approx(0.25 * load / (2 * (1 - load)))


def mm_c(arrivals, service, servers):
    load = arrivals * service
    full = load**servers / math.factorial(servers) * servers / (servers - load)
    empty = sum(load**n / math.factorial(n) for n in range(servers))
    return full / (empty + full) / (servers / service - arrivals)


@pytest.mark.parametrize("servers", [2, 3, 5, 10])
@pytest.mark.parametrize("rho", [0.5, 0.7, 0.9])
def test_several_servers_wait_as_cosmetatos_approximates(servers, rho):
    # G. P. Cosmetatos (1975): W(M/D/c) = W(M/M/c) / 2 x
    # (1 + (1 - rho)(c - 1)(sqrt(4 + 5 c) - 2) / (16 rho c)), good to a few per cent.
    arrivals = servers * rho
    correction = (1 - rho) * (servers - 1) * (math.sqrt(4 + 5 * servers) - 2) / (16 * rho * servers)
    about = mm_c(arrivals, 1.0, servers) / 2 * (1 + correction)
    assert waiting_md_c(arrivals, 1.0, servers) == pytest.approx(about, rel=0.03)


def test_beyond_what_servers_can_do_the_wait_has_no_end():
    assert waiting_md_c(4, 1, 4) == math.inf
    assert waiting_md_c(0, 1, 4) == 0


@given(st.integers(1, 12), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_more_arrivals_never_wait_less(servers, one, other):
    calm, busy = sorted((one, other))
    assert (
        waiting_md_c(servers * calm, 1, servers) <= waiting_md_c(servers * busy, 1, servers) + 1e-9
    )
