"""Chlorine while a tank fills with tap water: closed forms against integrators, and laws.

The outside: scipy's ODE integrator (DOP853), its adaptive quadrature (QUADPACK) and its exponential integral.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scipy.special import exp1

from tapwright.chemistry.change.filling.chlorine import (
    Filling,
    breakthrough_minute,
    chlorine_g,
    concentration_mg_l,
    exposure_mg_min_l,
    outflow_mg_l,
    peak,
    volume_l,
    worst_mean_mg_l,
)
from tapwright.chemistry.change.filling.exponential import decayed_mean, scaled_exponential_integral
from tapwright.chemistry.errors import BadInput

# Nothing may overflow or divide by zero on the way to a right figure.
pytestmark = pytest.mark.filterwarnings("error")

# Closed forms and integrators are both exact but for rounding and the integrator's own tolerance.
SAME = 1e-9
DEMANDS = (0.0, 1e-15, 1e-12, 1e-9, 1e-6, 1e-4, 1e-3, 0.01, 0.1, 1.0, 10.0, 1e3, 1e6)
TANKS = ((400.0, 800.0, 10.0), (5.0, 1500.0, 12.0), (2000.0, 2010.0, 60.0), (1500.0, 2400.0, 1.5))
demands = st.just(0.0) | st.floats(-15, 3).map(lambda power: 10.0**power)


@st.composite
def fillings(draw: st.DrawFn, demand: st.SearchStrategy[float] = demands) -> Filling:
    """Tanks of 20 to 3000 L that take up to five times as much again."""
    start_l = draw(st.floats(20, 3000))
    end_l = start_l * (1 + draw(st.floats(0.01, 5)))
    return Filling(start_l, end_l, draw(st.floats(0.5, 60)), draw(st.floats(0.01, 5)), draw(demand))


def by_quadrature(filling: Filling, minute: float) -> float:
    """Exposure [mg min/L] by adaptive quadrature of the concentration, in pieces; until the filling ends."""
    k, q, c = filling.demand_per_min, filling.flow_l_min, filling.chlorine_mg_l

    def concentration(s: float) -> float:
        mg = q * c * (s if k == 0 else -np.expm1(-k * s) / k)
        return float(mg / (filling.volume_start_l + q * s))

    turns = [share / k for share in (0.01, 0.1, 1, 5, 40)] if k > 0 else []
    ends = sorted({0.0, minute, *(s for s in (*turns, *np.geomspace(1e-3, 1, 8) * minute) if s < minute)})
    return sum(quad(concentration, *piece, epsabs=0, epsrel=1e-12, limit=200)[0] for piece in pairwise(ends))


def by_ode(filling: Filling, minute: float) -> tuple[float, float]:
    """Chlorine [g] and exposure [mg min/L] by integration of both over time."""
    k, q, c, start_l = filling.demand_per_min, filling.flow_l_min, filling.chlorine_mg_l, filling.volume_start_l
    found = np.zeros(2)
    end, scale = float(filling.minutes), q * c * min(minute, filling.minutes)
    for begin, stop, inflow in ((0.0, min(minute, end), q), (end, minute, 0.0)):
        if stop <= begin:
            continue

        def slope(t: float, state: np.ndarray, inflow: float = inflow) -> list[float]:
            return [inflow * c - k * state[0], state[0] / (start_l + q * min(t, end))]

        atol = 1e-15 * np.array([scale, scale / start_l * minute])
        found = solve_ivp(slope, (begin, stop), found, "DOP853", rtol=1e-12, atol=atol).y[:, -1]
    return float(found[0]) / 1000, float(found[1])


# --- the two functions ----------------------------------------------------------------------------------------


def test_the_scaled_exponential_integral_against_scipy_as_far_as_scipy_goes() -> None:
    x = np.concatenate([np.geomspace(1e-12, 700, 2000), 2 + np.linspace(-1e-9, 1e-9, 5)])
    np.testing.assert_allclose(scaled_exponential_integral(x), np.exp(x) * exp1(x), rtol=1e-13)


def test_beyond_it_goes_as_one_over_x() -> None:
    # Abramowitz & Stegun 5.1.51: x exp(x) E1(x) = 1 - 1/x + 2/x2 - 6/x3 ... (from memory); what is left is below 24/x4.
    x = np.geomspace(1e4, 1e70, 50)
    np.testing.assert_allclose(x * scaled_exponential_integral(x), 1 - 1 / x + 2 / x**2 - 6 / x**3, rtol=1e-14)
    assert scaled_exponential_integral(1e300) == pytest.approx(1e-300)


@given(st.floats(0, 1e300) | st.floats(-18, 3).map(lambda power: 10.0**power))
def test_a_decaying_mean_is_a_mean(x: float) -> None:
    mean = float(decayed_mean(x))
    exact = sum((-x) ** n / np.prod(np.arange(1.0, n + 2)) for n in range(12)) if x < 0.1 else (1 - np.exp(-x)) / x
    assert mean == pytest.approx(exact, rel=1e-14)
    assert np.exp(-x) <= mean <= 1


# --- against integrators --------------------------------------------------------------------------------------


@pytest.mark.parametrize("tank", TANKS)
@pytest.mark.parametrize("demand", DEMANDS)
def test_exposure_against_quadrature(tank: tuple[float, float, float], demand: float) -> None:
    # 1e6 a minute on a litre a minute: k V0 / q = 1e9, where exp(k V0 / q) is beyond any float.
    filling = Filling(*tank, 1.3, demand)
    for minute in np.array([1e-6, 0.01, 0.3, 0.999, 1.0]) * float(filling.minutes):
        assert exposure_mg_min_l(filling, minute) == pytest.approx(by_quadrature(filling, minute), rel=SAME)


@given(fillings(st.just(0.0) | st.floats(-9, -0.5).map(lambda power: 10.0**power)), st.floats(0.001, 1.5))
@example(Filling(300.0, 500.0, 8.0, 2.0), 2.8)  # 45 minutes past the end
@example(Filling(300.0, 500.0, 8.0, 2.0, 0.2), 2.8)
def test_chlorine_and_exposure_against_an_integrator(filling: Filling, share: float) -> None:
    minute = share * min(float(filling.minutes), 300)
    grams, exposure = by_ode(filling, minute)
    assert chlorine_g(filling, minute) == pytest.approx(grams, rel=SAME)
    assert concentration_mg_l(filling, minute) == pytest.approx(1000 * grams / volume_l(filling, minute), rel=SAME)
    assert exposure_mg_min_l(filling, minute) == pytest.approx(exposure, rel=SAME)


@pytest.mark.parametrize(("demand", "minute"), [(0.05, 40.0), (0.3, 12.0), (1.0, 40.0), (17.0, 40.0)])
def test_exposure_against_the_exponential_integral_of_scipy(demand: float, minute: float) -> None:
    # c / k (ln(b / a) - exp(a) (E1(a) - E1(b))), a = k V0 / q, b = a + k t: the textbook form, where exp(a) still is one.
    filling = Filling(400.0, 800.0, 10.0, 1.7, demand)
    a = demand * 40.0
    b = a + demand * minute
    textbook = 1.7 / demand * (np.log(b / a) - np.exp(a) * (exp1(a) - exp1(b)))
    assert exposure_mg_min_l(filling, minute) == pytest.approx(textbook, rel=SAME)


def test_without_demand_it_is_dilution() -> None:
    # c (1 - V0 / V), and its integral c (t - V0 / q ln(V / V0)): 1 mg/L, 400 L doubled in 40 minutes.
    filling = Filling(400.0, 800.0, 10.0, 1.0)
    assert chlorine_g(filling, 40.0) == pytest.approx(0.4)
    assert concentration_mg_l(filling, 40.0) == pytest.approx(0.5)
    assert exposure_mg_min_l(filling, 40.0) == pytest.approx(40 - 40 * np.log(2))
    assert peak(filling, np.inf) == (pytest.approx(0.5), pytest.approx(40.0))


# --- continuity -----------------------------------------------------------------------------------------------


@given(fillings(), st.floats(0.01, 1))
def test_nothing_jumps_where_demand_begins(filling: Filling, share: float) -> None:
    minute, none = share * filling.minutes, Filling(*_tank(filling), filling.chlorine_mg_l)
    for demand in (1e-300, 1e-18, 1e-15, 2e-15, 1e-12):
        little = Filling(*_tank(filling), filling.chlorine_mg_l, demand)
        for figure in (chlorine_g, exposure_mg_min_l):
            # A demand k takes away at most the share k t.
            assert figure(little, minute) == pytest.approx(figure(none, minute), rel=demand * minute + 1e-13)


@given(fillings(), st.floats(0.01, 1))
def test_nothing_jumps_where_the_form_is_changed(filling: Filling, share: float) -> None:
    minute = float(share * filling.minutes)
    below, above = (
        exposure_mg_min_l(Filling(*_tank(filling), filling.chlorine_mg_l, factor / minute), minute)
        for factor in (1 - 1e-12, 1 + 1e-12)
    )
    assert above == pytest.approx(below, rel=1e-11)


def _tank(filling: Filling) -> tuple[float, float, float]:
    return filling.volume_start_l, filling.volume_end_l, filling.flow_l_min


# --- laws -----------------------------------------------------------------------------------------------------


@given(fillings(st.floats(0, 0.5)), st.floats(0.01, 2))
def test_what_ran_in_is_there_or_used_up(filling: Filling, share: float) -> None:
    end = float(min(filling.minutes, 60.0))
    minute = share * end
    used_g, (nodes, weights) = 0.0, np.polynomial.legendre.leggauss(64)
    for begin, stop in ((0.0, min(minute, filling.minutes)), (float(filling.minutes), minute)):
        if stop > begin:
            times = begin + (nodes + 1) / 2 * (stop - begin)
            used_g += filling.demand_per_min * (stop - begin) / 2 * float(weights @ chlorine_g(filling, times))
    brought_g = filling.flow_l_min * filling.chlorine_mg_l * min(minute, filling.minutes) / 1000
    assert chlorine_g(filling, minute) + used_g == pytest.approx(brought_g, rel=SAME)


@settings(max_examples=30)
@given(fillings(), st.floats(0, 2), st.floats(0, 2), st.floats(1, 200))
def test_all_figures_go_in_proportion_to_the_tap(
    filling: Filling, share: float, until_share: float, window: float
) -> None:
    thrice = Filling(*_tank(filling), 3 * filling.chlorine_mg_l, filling.demand_per_min)
    minute, until = share * filling.minutes, until_share * filling.minutes
    of_minute = (partial(figure, minute=minute) for figure in (chlorine_g, concentration_mg_l, exposure_mg_min_l))
    for figure in (*of_minute, lambda each: peak(each, until)[0], lambda each: worst_mean_mg_l(each, until, window)):
        # In worst_mean two exposures are subtracted: what they lose is a share of the larger one.
        assert figure(thrice) == pytest.approx(3 * figure(filling), rel=SAME, abs=1e-12)
    assert peak(thrice, until)[1] == pytest.approx(peak(filling, until)[1])


@given(fillings(), st.lists(st.floats(0, 3), min_size=2, max_size=8, unique=True))
def test_exposure_rises_by_no_more_than_the_concentration_allows(filling: Filling, shares: list[float]) -> None:
    minutes = np.sort(shares) * float(filling.minutes)
    risen = np.diff(exposure_mg_min_l(filling, minutes))
    ends = concentration_mg_l(filling, minutes)
    lowest, steps = np.minimum(ends[1:], ends[:-1]), np.diff(minutes)  # one peak: the least is at an end
    rounding = 1e-12 * exposure_mg_min_l(filling, minutes[-1])
    assert np.all(risen >= lowest * steps - rounding)
    assert np.all(risen <= peak(filling, np.inf)[0] * steps * (1 + 1e-12) + rounding)


@given(fillings(), st.just(0.0) | st.floats(1e-9, 3), st.floats(1, 100))
def test_never_stronger_than_the_tap_diluted_and_less_with_more_demand(
    filling: Filling, share: float, factor: float
) -> None:
    minute = share * filling.minutes
    brought_l = filling.flow_l_min * min(minute, filling.minutes)
    diluted = filling.chlorine_mg_l * brought_l / volume_l(filling, minute)
    assert concentration_mg_l(filling, minute) <= diluted * (1 + 1e-12) <= filling.chlorine_mg_l
    more = Filling(*_tank(filling), filling.chlorine_mg_l, filling.demand_per_min * factor)
    for figure in (chlorine_g, exposure_mg_min_l):
        assert figure(more, minute) <= figure(filling, minute) * (1 + 1e-12)


@given(fillings(), st.floats(1, 5), st.floats(0, 100))
def test_after_the_end_there_is_only_decay(filling: Filling, factor: float, later: float) -> None:
    after = filling.minutes * factor
    left = np.exp(-filling.demand_per_min * (after + later - filling.minutes))
    end_g = chlorine_g(filling, filling.minutes)
    # 100 minutes of 1000 a minute: exp(-1e5 (1 + 1e-16)) and the like, so near to nothing that it may be nothing.
    assert chlorine_g(filling, after + later) == pytest.approx(end_g * left, rel=SAME, abs=1e-100)
    assert volume_l(filling, after + later) == pytest.approx(filling.volume_end_l)
    assert chlorine_g(filling, 0.0) == exposure_mg_min_l(filling, 0.0) == 0


# --- peak and worst mean --------------------------------------------------------------------------------------


@given(fillings(), st.floats(0.01, 2) | st.just(np.inf))
def test_no_minute_before_is_worse_than_the_peak(filling: Filling, share: float) -> None:
    until = share * filling.minutes
    highest, at = peak(filling, until)
    assert at <= min(until, filling.minutes)
    assert highest == pytest.approx(concentration_mg_l(filling, at))
    last = min(until, 2 * filling.minutes)
    grid = np.concatenate([np.linspace(0, last, 2000), np.geomspace(1e-9, 1, 500) * last])
    assert np.max(concentration_mg_l(filling, grid)) <= highest * (1 + 1e-12)


@pytest.mark.parametrize("tank", TANKS)
@pytest.mark.parametrize("demand", [0.003, 0.02, 0.5, 10.0, 1e3, 1e6])
def test_the_peak_stands_where_inflow_meets_demand_and_dilution(
    tank: tuple[float, float, float], demand: float
) -> None:
    filling = Filling(*tank, 1.3, demand)
    start_l, _, flow = tank

    def rises(t: float) -> float:  # the slope of m / V, times V: q c - k m - q m / V
        milligrams = -flow * 1.3 / demand * np.expm1(-demand * t)
        return flow * 1.3 - milligrams * (demand + flow / (start_l + flow * t))

    end = float(filling.minutes)
    expected = end if rises(end) >= 0 else brentq(rises, 1e-12, end, xtol=1e-13, rtol=1e-12)
    # Inflow less demand may be a thousand-millionth of either, and is rounded to 1e-16 of them.
    assert peak(filling, np.inf)[1] == pytest.approx(expected, rel=2e-8)
    assert peak(filling, expected / 3) == (
        pytest.approx(concentration_mg_l(filling, expected / 3)), pytest.approx(expected / 3)
    )  # fmt: skip


@settings(max_examples=40)
@given(fillings(st.just(0.0) | st.floats(1e-4, 1)), st.floats(0.05, 3) | st.just(np.inf), st.floats(0.5, 300))
def test_the_worst_window_is_the_worst_of_all(filling: Filling, share: float, window: float) -> None:
    until = float(share * filling.minutes)
    last = min(until, float(filling.minutes) + 2 * window)
    after_peak = np.minimum(peak(filling, until)[1] + np.linspace(0, window, 1001), last)
    ends = np.concatenate([np.linspace(0, last, 1001), after_peak])
    windows = exposure_mg_min_l(filling, ends) - exposure_mg_min_l(filling, np.maximum(ends - window, 0.0))
    found = worst_mean_mg_l(filling, until, window)
    # No window of the grid is worse, and one of them is as bad, but for what lies between two of its lines.
    assert np.max(windows) / window == pytest.approx(found, rel=1e-4)
    assert np.max(windows) / window <= found * (1 + 1e-9) + 1e-12
    assert found <= peak(filling, until)[0] * (1 + 1e-9)


def test_a_short_window_is_the_peak_and_a_long_one_the_whole_exposure() -> None:
    filling = Filling(400.0, 800.0, 10.0, 2.0, 0.04)
    assert worst_mean_mg_l(filling, np.inf, 1e-3) == pytest.approx(peak(filling, np.inf)[0], rel=1e-7)
    # Neutralised after 25 minutes: a day's mean holds all that was met, and nothing since.
    assert worst_mean_mg_l(filling, 25.0, 1440.0) == pytest.approx(exposure_mg_min_l(filling, 25.0) / 1440)


def test_never_neutralised_without_demand_ends_at_the_final_strength() -> None:
    filling = Filling(400.0, 800.0, 10.0, 2.0)
    assert worst_mean_mg_l(filling, np.inf, 60.0) == pytest.approx(1.0)
    assert worst_mean_mg_l(Filling(400.0, 800.0, 10.0, 0.0), np.inf, 60.0) == 0


# --- a tote with the tap running through ----------------------------------------------------------------------

Tote = tuple[float, float, float]
totes = st.tuples(st.floats(20, 1000), st.floats(1, 60), st.floats(1, 20))


@given(totes)
def test_breakthrough_against_an_integrator(tote: Tote) -> None:
    tote_l, flow, ratio = tote

    def gone(t: float, x: np.ndarray) -> float:
        return float(x[0])

    gone.terminal = True  # type: ignore[attr-defined]
    span = (0.0, 5 * tote_l / flow)
    found = solve_ivp(
        lambda t, x: flow / tote_l * (-tote_l - x), span, [(ratio - 1) * tote_l], "DOP853", rtol=1e-12, atol=1e-12,
        events=gone,
    )  # fmt: skip
    expected = found.t_events[0][0] if len(found.t_events[0]) else 0.0
    assert breakthrough_minute(tote_l, flow, ratio * tote_l) == pytest.approx(expected, rel=1e-8, abs=1e-8 * span[1])


@pytest.mark.parametrize("ratio", [1.0, 1.5, 3.0, 8.0])
def test_breakthrough_against_parcels(ratio: float) -> None:
    # A parcel runs in and treats itself, or is treated; a parcel of the mixture runs out. Below 0: chlorine, in litres of tap.
    tote_l, flow, parcels = 200.0, 15.0, 20_000
    surplus, parcel = (ratio - 1) * tote_l, tote_l / parcels
    course = [surplus]
    for _ in range(4 * parcels):
        surplus -= parcel + surplus * parcel / tote_l
        course.append(surplus)
    minutes, left = np.arange(len(course)) * parcel / flow, np.array(course)
    first = minutes[np.argmax(left < 0)]
    # The simulation is as coarse as its parcels: a twenty-thousandth of a tote, some hundredths of a second each.
    assert breakthrough_minute(tote_l, flow, ratio * tote_l) == pytest.approx(first, abs=1e-2)
    ours = outflow_mg_l(minutes, tote_l, flow, ratio * tote_l, 1.8)
    np.testing.assert_allclose(ours, 1.8 * np.maximum(-left, 0) / tote_l, atol=1e-3)


@given(totes, st.floats(0, 300), st.floats(0, 5))
def test_outflow_is_clean_then_rises_to_the_tap(tote: Tote, since: float, chlorine: float) -> None:
    tote_l, flow, ratio = tote
    through = breakthrough_minute(tote_l, flow, ratio * tote_l)
    assert outflow_mg_l(through * np.linspace(0, 1, 5), tote_l, flow, ratio * tote_l, chlorine) == pytest.approx(0)
    first, second = outflow_mg_l(through + since + np.array([0, 1.0]), tote_l, flow, ratio * tote_l, chlorine)
    assert 0 <= first <= second <= chlorine
    # Twice the dose lasts ln(2) turnovers longer.
    longer = breakthrough_minute(tote_l, flow, 2 * ratio * tote_l) - through
    assert longer == pytest.approx(tote_l / flow * np.log(2), rel=1e-9)
    assert breakthrough_minute(tote_l, flow, tote_l) == breakthrough_minute(tote_l, flow, tote_l / 2) == 0


# --- scalar and array, refusals -------------------------------------------------------------------------------


@settings(max_examples=20)  # each is seven figures of three fillings
@given(st.lists(fillings(), min_size=3, max_size=3), st.floats(0, 2))
def test_arrays_are_scalars_side_by_side(several: list[Filling], share: float) -> None:
    names = ("volume_start_l", "volume_end_l", "flow_l_min", "chlorine_mg_l", "demand_per_min")
    batch = Filling(*(np.array([getattr(each, name) for each in several]) for name in names))
    minutes = share * batch.minutes
    figures: tuple[Callable[[Filling, Any], Any], ...] = (
        chlorine_g, concentration_mg_l, exposure_mg_min_l, volume_l, lambda each, minute: peak(each, minute)[0],
        lambda each, minute: peak(each, minute)[1], lambda each, minute: worst_mean_mg_l(each, minute, 20.0),
    )  # fmt: skip
    for figure in figures:
        singly = [figure(each, float(minute)) for each, minute in zip(several, minutes, strict=True)]
        assert all(np.ndim(one) == 0 for one in singly)
        np.testing.assert_allclose(figure(batch, minutes), singly, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: Filling(400, 800, 0, 1), "flow: 0 L/min fills nothing"),
        (lambda: Filling(400, 800, -3, 1), "flow: -3 L/min fills nothing"),
        (lambda: Filling(400, 800, np.array([5.0, np.nan]), 1), "flow: .*nan"),
        (lambda: Filling(0, 800, 10, 1), "volume: 0 L at the start"),
        (lambda: Filling(400, 400, 10, 1), "volume: from 400 to 400 L"),
        (lambda: Filling(400, np.array([800, 300]), 10, 1), "volume: from 400 to .*300"),
        (lambda: Filling(400, 800, 10, -1), "chlorine: -1 is read"),
        (lambda: Filling(400, 800, 10, 1, -0.1), "demand: -0.1 is read"),
        (lambda: Filling(400, 800, 10, 1, np.nan), "demand: nan is read"),
        (lambda: chlorine_g(Filling(400, 800, 10, 1), -1.0), "minute: -1.0 minutes: time runs forwards"),
        (lambda: exposure_mg_min_l(Filling(400, 800, 10, 1), np.array([1.0, -2.0])), "minute: .*-2.* time runs forwards"),
        (lambda: peak(Filling(400, 800, 10, 1), -1.0), "time runs forwards"),
        (lambda: breakthrough_minute(0, 10, 100), "tote: 0 L in the tote, 10 L/min through it, dosed for 100 L"),
        (lambda: breakthrough_minute(100, 0, 100), "tote: 100 L in the tote, 0 L/min"),
        (lambda: breakthrough_minute(100, 10, -1), "dosed for -1 L"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(call: Callable[[], Any], said: str) -> None:
    with pytest.raises(BadInput, match=said) as refused:
        call()
    (fault,) = refused.value.faults
    assert fault.hint.startswith("Give ")
