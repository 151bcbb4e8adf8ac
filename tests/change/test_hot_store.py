"""Litres from a hot store: against parcels that move through it one by one, figures by hand, and laws.

The outside is a store of many thin slices: hot leaves at the top, cold passes the element at the bottom, and a slice that
is warmer than the one above it mixes with it. Heat is by the steam tables (iapws), midway between cold and hot.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from iapws import IAPWS97

from tapwright.chemistry.change.heat.hot_store import Store, Supply, Tapping, minutes_to_next, supply, tappings
from tapwright.chemistry.errors import BadInput, NoAnswer, OutOfRange

pytestmark = pytest.mark.filterwarnings("error")

SLICES = 200
STORE = Store(150.0, 60.0, 10.0, 2.0)
Blends = list[tuple[float, float]]
Evening = tuple[Store, Blends, float, list[float]]


@cache
def their_kj_l_k(temperature_c: float) -> float:
    water = IAPWS97(T=temperature_c + 273.15, P=0.101325)
    return float(water.rho / 1000 * water.cp)


def per_minute_lk(store: Store) -> float:
    """Litres times kelvins that the element makes in a minute."""
    return 60 * store.power_kw / their_kj_l_k((store.set_c + store.cold_c) / 2)


def plug_flow_l(store: Store, mix_c: float, flow_l_min: float, most_fills: int) -> float:
    """Blended litres, slice by slice, until the slice at the tap is cooler than the mix; infinite after so many fills."""
    slice_l = store.volume_l / SLICES
    slices, drawn_l = deque([store.set_c] * SLICES), 0.0
    for _ in range(most_fills * SLICES):
        top_c = slices.popleft()
        if top_c < mix_c:
            return drawn_l
        hot_l_min = flow_l_min * (mix_c - store.cold_c) / (top_c - store.cold_c)
        slices.append(min(store.cold_c + per_minute_lk(store) / hot_l_min, store.set_c))
        drawn_l += slice_l / hot_l_min * flow_l_min
    return math.inf


class Slices:
    """A store as (litres, kelvins above cold) from top to bottom."""

    def __init__(self, store: Store) -> None:
        self.store, self.span_k = store, store.set_c - store.cold_c
        self.layers = [(store.volume_l, self.span_k)]

    def heat(self, minutes: float) -> None:
        """The lowest slice takes the heat; once warmer than the one above it they mix; the thermostat ends it."""
        left_lk = per_minute_lk(self.store) * minutes
        while left_lk > 1e-12 and self.layers[-1][1] < self.span_k - 1e-9:
            litres, kelvins = self.layers[-1]
            above_k = self.layers[-2][1] if len(self.layers) > 1 else self.span_k
            given_lk = min(left_lk, litres * (above_k - kelvins))
            left_lk -= given_lk
            self.layers[-1] = (litres, kelvins + given_lk / litres)
            while len(self.layers) > 1 and self.layers[-1][1] >= self.layers[-2][1] - 1e-9:
                (lower_l, lower_k), (upper_l, upper_k) = self.layers.pop(), self.layers.pop()
                both_l = lower_l + upper_l
                self.layers.append((both_l, (lower_l * lower_k + upper_l * upper_k) / both_l))

    def draw(self, volume_l: float, mix_c: float, flow_l_min: float) -> bool:
        """One tote, heated meanwhile; whether its heat came out in no more litres than it holds."""
        step_lk, hot_l = volume_l * (mix_c - self.store.cold_c) / SLICES, 0.0
        for _ in range(SLICES):
            lacking_lk, entered_l = step_lk, 0.0
            while lacking_lk > 1e-9 * step_lk:
                if not self.layers or self.layers[0][1] <= 0 or hot_l + entered_l > volume_l:
                    return False
                litres, kelvins = self.layers[0]
                taken_l = min(litres, lacking_lk / kelvins)
                lacking_lk -= taken_l * kelvins
                entered_l += taken_l
                self.layers[0] = (litres - taken_l, kelvins)
                if self.layers[0][0] < 1e-12:
                    self.layers.pop(0)
            hot_l += entered_l
            self.layers.append((entered_l, 0.0))
            self.heat(volume_l / flow_l_min / SLICES)
        return hot_l <= volume_l * (1 + 1e-9)


def waits_of_slices(store: Store, blends: Blends, flow: float, pauses: Sequence[float]) -> list[float]:
    """Shortest waits, by bisection, after which each tote can be drawn from the sliced store."""
    slices, found = Slices(store), []
    for number, (volume_l, mix_c) in enumerate(blends):
        slices.heat(pauses[number - 1] if number else 0.0)
        before = list(slices.layers)

        def enough(minutes: float, tote: tuple[float, float] = (volume_l, mix_c), at: Blends = before) -> bool:
            slices.layers = list(at)
            slices.heat(minutes)
            return slices.draw(*tote, flow)

        low, high = 0.0, 0.0 if enough(0.0) else store.volume_l * slices.span_k / per_minute_lk(store)
        for _ in range(16 if high else 0):
            middle = (low + high) / 2
            low, high = (low, middle) if enough(middle) else (middle, high)
        assert enough(high)
        found.append(high)
    return found


stores = st.builds(Store, st.floats(30, 400), st.floats(45, 75), st.floats(4, 20), st.floats(0.3, 8))


@st.composite
def evenings(draw: st.DrawFn, most_totes: int = 5) -> Evening:
    """A store, totes from a bucket to more than it holds, a flow, and pauses."""
    store = draw(stores)
    wanted = st.tuples(st.floats(5, 600), st.floats(store.cold_c, min(store.set_c, 50.0)))
    blends = draw(st.lists(wanted, min_size=1, max_size=most_totes))
    pauses = draw(st.lists(st.floats(0, 60), min_size=len(blends) - 1, max_size=len(blends) - 1))
    return store, blends, draw(st.floats(2, 30)), pauses


# --- one draw without a pause ---------------------------------------------------------------------------------


@given(stores, st.floats(0.02, 1), st.floats(0.01, 2))
@example(STORE, 0.32, 1.01)
@example(replace(STORE, power_kw=0.0), 0.32, 0.5)
def test_a_draw_against_plug_flow(store: Store, mix_share: float, factor: float) -> None:
    # The flow is chosen by the factor that one fill's warmth is of the one before: at 1 the heater keeps up.
    mix_c = store.cold_c + mix_share * (store.set_c - store.cold_c)
    flow = (per_minute_lk(store) or 100.0) / (mix_c - store.cold_c) / factor
    if factor >= 1:
        if factor > 1.001:  # IF97's heat capacity is 4e-4 off
            assert supply(store, mix_c, flow).blended_l == plug_flow_l(store, mix_c, flow, 3) == math.inf
        return
    fills = math.log(1 / mix_share) / math.log(1 / factor)
    # Not where a fill is just warm enough to serve, or just not.
    assume(fills < 40 and abs(fills - round(fills)) > 0.01 + 1e-3 * fills / math.log(1 / factor))
    found, theirs = supply(store, mix_c, flow), plug_flow_l(store, mix_c, flow, 50)
    # Less than a slice in 200 at the end, and 4e-4 of the heat capacity raised to the fill.
    assert found.blended_l == pytest.approx(theirs, rel=0.01)
    assert found.minutes == pytest.approx(theirs / flow, rel=0.01)


def test_without_power_it_is_the_store_diluted() -> None:
    # 150 L x 50 K / 16 K.
    assert supply(replace(STORE, power_kw=0.0), 26.0, 8.0) == Supply(468.75, 468.75 / 8, 468.75, 0.0)
    assert supply(replace(STORE, power_kw=0.0), 60.0, 8.0).blended_l == 150.0
    # By mass and enthalpy (steam tables) it is 1.5 % less, because a litre weighs less at 60 degC: what the rule is worth.
    hot, mixed, cold = (IAPWS97(T=t + 273.15, P=0.101325) for t in (60, 26, 10))
    exact = 150 * hot.rho * (hot.h - cold.h) / (mixed.rho * (mixed.h - cold.h))
    assert supply(replace(STORE, power_kw=0.0), 26.0, 8.0).blended_l == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize(("power_kw", "factor", "litres"), [(2, 0.2508, 468.75), (4, 0.5016, 703.9), (5, 0.627, 947.0)])
def test_the_fills_by_hand(power_kw: float, factor: float, litres: float) -> None:
    # 60 P / (4.153 kJ/(L K) x 7.2 L/min x 16 K), 4.153 at 35 degC (IAPWS-95); the fills come out 50 K, 50 K times the
    # factor, ... above cold, the last still above 16 K: 468.75 L (1 + 0.5016) and 468.75 L (1 + 0.627 + 0.393).
    store = replace(STORE, power_kw=power_kw)
    assert 60 * power_kw / (4.153 * 7.2 * 16) == pytest.approx(factor, abs=1e-4)
    assert supply(store, 26.0, 7.2).blended_l == pytest.approx(litres, rel=1e-3)
    assert supply(store, 26.0, 7.2).minutes == pytest.approx(litres / 7.2, rel=1e-3)


def test_counting_the_heat_at_once_overstates_by_a_third() -> None:
    # 150 L at 60 degC, 2 kW, blended to 26 degC at 7.2 L/min: 626 L promised, 469 L given.
    found = supply(STORE, 26.0, 7.2)
    assert found.storage_and_recovery_l == pytest.approx(468.75 / (1 - 0.2508), rel=1e-3)
    assert found.storage_and_recovery_l / found.blended_l == pytest.approx(4 / 3, rel=0.01)


def test_what_the_heater_alone_keeps_up() -> None:
    # 4.5 kW at 50 K: 77.5 L an hour (kW x 3600 / (4.18 x K), which takes a litre for a kilogram: 0.6 % at 35 degC).
    assert 60 * supply(Store(190.0, 60.0, 10.0, 4.5), 60.0, 10.0).sustained_l_min == pytest.approx(77.5, rel=0.01)


@given(stores, st.floats(0.02, 1), st.floats(0.5, 40), st.floats(1, 3))
def test_what_bounds_a_draw(store: Store, mix_share: float, flow: float, more: float) -> None:
    span_k = store.set_c - store.cold_c
    mix_c = store.cold_c + mix_share * span_k
    found = supply(store, mix_c, flow)
    assert store.volume_l / mix_share * (1 - 1e-9) <= found.blended_l <= found.storage_and_recovery_l * (1 + 1e-9)
    assert math.isinf(found.blended_l) == (found.sustained_l_min >= flow)
    assert found.sustained_l_min * mix_share * span_k == pytest.approx(per_minute_lk(store), rel=1e-3)
    if math.isfinite(found.blended_l):
        # Heat is conserved by what storage and recovery promises.
        promised_lk = found.storage_and_recovery_l * mix_share * span_k
        heated_lk = per_minute_lk(store) * found.storage_and_recovery_l / flow
        assert promised_lk == pytest.approx(store.volume_l * span_k + heated_lk, rel=1e-3)
        assert found.minutes == pytest.approx(found.blended_l / flow)
    for key in ("power_kw", "volume_l"):
        better = replace(store, **{key: more * getattr(store, key)})
        assert supply(better, mix_c, flow).blended_l >= found.blended_l * (1 - 1e-9)
    assert supply(store, mix_c, flow / more).blended_l >= found.blended_l * (1 - 1e-9)


# --- totes with pauses ----------------------------------------------------------------------------------------


def test_the_first_totes_by_hand() -> None:
    # 200 L from 10 to 26 degC takes 64 L at 60 degC (3200 L K); the 86 L left give another. The whole store makes
    # 468.75 L of blend.
    first, second = tappings(STORE, [(200.0, 26.0)] * 2, 8.0, [0.0])
    assert first == Tapping(0.0, 64.0, 60.0)
    assert (second.wait_min, second.hot_l, second.hot_c) == (0.0, pytest.approx(64.0), pytest.approx(60.0))
    whole = tappings(STORE, [(468.75, 26.0)], 8.0, [])[0]
    assert (whole.wait_min, whole.hot_l) == (0.0, pytest.approx(150.0))


@pytest.mark.parametrize("shortfall_min", [-5.0, -0.1, 0.1, 20.0])
def test_the_wait_is_the_rest_of_reheating(shortfall_min: float) -> None:
    # 64 L taken: 64 L x 50 K x 4.153 / 120 kJ/min = 110.7 minutes of heating, 25 of them while the first tote was drawn.
    reheat_min = 64 * 50 / per_minute_lk(STORE)
    assert reheat_min == pytest.approx(110.7, abs=0.1)
    second = tappings(STORE, [(200.0, 26.0), (468.75, 26.0)], 8.0, [reheat_min - 25 - shortfall_min])[1]
    assert second.wait_min == pytest.approx(max(shortfall_min, 0.0), abs=0.06)  # IF97: 4e-4 of 110 minutes
    assert (second.hot_l, second.hot_c) == (pytest.approx(150.0), pytest.approx(60.0))


def test_a_tote_larger_than_the_store() -> None:
    # 16000 L K wanted in 125 minutes, 7500 in the store. Drawn empty, it is heated through again, of which it has had the
    # 58.6 minutes of that draw; what the next 58.6 bring does for the last 1000.
    big = tappings(STORE, [(1000.0, 26.0)], 8.0, [])[0]
    assert big.wait_min == pytest.approx(7500 / per_minute_lk(STORE) - 125 * 7500 / 16000, rel=1e-3)
    assert 300 < big.hot_l < 1000
    assert big.hot_l * (big.hot_c - 10) == pytest.approx(16000)


def test_lukewarm_water_comes_in_no_more_litres_than_the_tote_holds() -> None:
    # The second tote, 100 L at 50 degC, needs 4000 L K in 100 L: the whole lower layer as warm as 50 degC, not less.
    second = tappings(STORE, [(187.5, 50.0), (100.0, 50.0)], 8.0, [0.0])[1]
    heated_lk = 150 * 40 - per_minute_lk(STORE) * 187.5 / 8
    assert second.wait_min == pytest.approx(heated_lk / per_minute_lk(STORE), rel=1e-3)
    assert (second.hot_l, second.hot_c) == (pytest.approx(100.0), pytest.approx(50.0))


@settings(max_examples=15)
@given(st.floats(60, 300), st.floats(50, 70), st.floats(5, 18), st.floats(0.5, 3), st.floats(0.4, 1), st.floats(4, 12))
@example(150.0, 60.0, 10.0, 2.0, 0.43, 8.0)
@example(80.0, 55.0, 8.0, 0.5, 0.99, 5.0)
def test_waits_against_a_sliced_store(
    volume_l: float, set_c: float, cold_c: float, power_kw: float, share: float, flow: float
) -> None:
    store = Store(volume_l, set_c, cold_c, power_kw)
    tote_l = share * volume_l * (set_c - cold_c) / (26.0 - cold_c)
    blends, pauses = [(tote_l, 26.0)] * 3, [12.0, 12.0]
    ours, theirs = 0.0, 0.0
    waits = waits_of_slices(store, blends, flow, pauses)
    for found, wait in zip(tappings(store, blends, flow, pauses), waits, strict=True):
        ours, theirs = ours + found.wait_min, theirs + wait
        # Never sooner than it can be, and later by no more than one draw, whose heating counts only once it is over.
        # 2 %: slices keep what is lukewarm apart from the cold below it a little longer.
        assert theirs * 0.98 - 0.1 <= ours <= theirs * 1.02 + tote_l / flow
    assert waits[0] == 0


@settings(max_examples=30)
@given(evenings())
def test_heat_is_conserved_tote_by_tote(evening: Evening) -> None:
    store, blends, flow, pauses = evening
    drawn_lk, minutes = 0.0, 0.0
    for found, (litres, mix_c), pause in zip(tappings(*evening), blends, [0.0, *pauses], strict=True):
        need_lk = litres * (mix_c - store.cold_c)
        assert found.wait_min >= 0
        assert 0 <= found.hot_l <= litres * (1 + 1e-9)
        assert mix_c - 1e-9 <= found.hot_c <= store.set_c + 1e-9
        assert found.hot_l * (found.hot_c - store.cold_c) == pytest.approx(need_lk, rel=1e-9, abs=1e-6)
        drawn_lk, minutes = drawn_lk + need_lk, minutes + pause + found.wait_min
        minutes += litres / flow
        # What has been drawn was in the store or came from the heater.
        held_lk = store.volume_l * (store.set_c - store.cold_c) + per_minute_lk(store) * minutes
        assert drawn_lk <= held_lk * (1 + 1e-3)


@settings(max_examples=30)
@given(evenings())
def test_the_first_tote_waits_only_for_what_the_store_has_not(evening: Evening) -> None:
    store, blends, flow, _ = evening
    lacking_lk = blends[0][0] * (blends[0][1] - store.cold_c) - store.volume_l * (store.set_c - store.cold_c)
    first = tappings(store, blends[:1], flow, [])[0]
    assert lacking_lk > 0 or first.wait_min == 0
    # Less by what the heater does while the tote is drawn; more only where lukewarm water would fill it first.
    heated_lk = (first.wait_min + blends[0][0] / flow) * per_minute_lk(store)
    assert heated_lk >= lacking_lk * (1 - 1e-3)


@given(evenings(), st.integers(0, 3), st.floats(0, 90), st.floats(1, 4))
def test_more_pause_or_power_never_makes_a_tote_later(
    evening: Evening, which: int, longer: float, stronger: float
) -> None:
    # Waits added up: a tote may wait longer because the one before it waited less.
    store, blends, flow, pauses = evening
    before = sum(found.wait_min for found in tappings(*evening))
    powered = replace(store, power_kw=store.power_kw * stronger)
    assert sum(found.wait_min for found in tappings(powered, blends, flow, pauses)) <= before + 1e-6
    if pauses:
        rested = [pause + longer * (number == which % len(pauses)) for number, pause in enumerate(pauses)]
        assert sum(found.wait_min for found in tappings(store, blends, flow, rested)) <= before + 1e-6


@settings(max_examples=30)
@given(evenings(2), st.floats(0, 90))
def test_of_two_totes_the_second_waits_no_longer_after_a_longer_pause(evening: Evening, longer: float) -> None:
    store, blends, flow, pauses = evening
    assume(pauses)
    first, second = tappings(*evening)
    again, rested = tappings(store, blends, flow, [pauses[0] + longer])
    assert again == first
    assert second.wait_min - longer - 1e-6 <= rested.wait_min <= second.wait_min + 1e-6


@settings(max_examples=30)
@given(evenings(4))
def test_minutes_to_the_next_tote_are_enough_and_no_more(evening: Evening) -> None:
    store, blends, flow, pauses = evening
    minutes = minutes_to_next(store, blends, flow, pauses)
    again = [*blends, blends[-1]]
    assert minutes == tappings(store, again, flow, [*pauses, 0.0])[-1].wait_min
    assume(blends[-1][0] * (blends[-1][1] - store.cold_c) <= store.volume_l * (store.set_c - store.cold_c))
    assert tappings(store, again, flow, [*pauses, minutes])[-1].wait_min == pytest.approx(0.0, abs=1e-6)
    assert tappings(store, again, flow, [*pauses, minutes / 2])[-1].wait_min == pytest.approx(minutes / 2, abs=1e-6)


# --- refusals -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [(0, 60, 10, 2), (-1, 60, 10, 2), (9, 10, 10, 2), (9, 9, 10, 2), (9, 60, 10, -0.1)])
def test_stores_that_cannot_be_are_refused(wrong: tuple[float, ...]) -> None:
    with pytest.raises(BadInput, match=r"hot_water: .* kW\. A store holds water hotter than the cold tap"):
        Store(*wrong)
    for place in range(4):
        with pytest.raises(BadInput):
            Store(*[math.nan if place == n else each for n, each in enumerate((150.0, 60.0, 10.0, 2.0))])


def test_what_a_store_cannot_give_is_said_in_words() -> None:
    for ask in (lambda: supply(STORE, 60.1, 8.0), lambda: tappings(STORE, [(9.0, 26.0), (9.0, 60.1)], 8.0, [0.0])):
        with pytest.raises(NoAnswer, match=r"60\.1 °C is hotter than the store, 60\.0 °C\. Make the refill cooler"):
            ask()
    for flow in (0.0, -1.0, math.nan):
        with pytest.raises(BadInput, match=r"flow: .* L/min\. Give a flow above 0\."):
            supply(STORE, 26.0, flow)
    cold = replace(STORE, power_kw=0.0)
    assert [found.wait_min for found in tappings(cold, [(200.0, 26.0)] * 2, 8.0, [0.0])] == [0.0, 0.0]
    for ask in (
        lambda: tappings(cold, [(200.0, 26.0)] * 3, 8.0, [0.0, 0.0]),
        lambda: tappings(cold, [(500.0, 26.0)], 8.0, []),
        lambda: minutes_to_next(cold, [(200.0, 26.0)] * 2, 8.0, [600.0]),
    ):
        with pytest.raises(
            NoAnswer, match=r"150 L, more hot water is needed and its heater has no power\. Change less"
        ):
            ask()
    with pytest.raises(OutOfRange):
        supply(Store(150.0, 250.0, 10.0, 2.0), 26.0, 8.0)


def test_cold_water_is_endless() -> None:
    assert supply(STORE, 10.0, 8.0).blended_l == math.inf
    assert tappings(STORE, [(200.0, 10.0)], 8.0, []) == [Tapping(0.0, 0.0, 60.0)]


def test_a_heater_that_keeps_up_keeps_nobody_waiting() -> None:
    strong = replace(STORE, power_kw=8.0)
    assert supply(strong, 26.0, 4.0).blended_l == math.inf
    assert tappings(strong, [(600.0, 26.0)], 4.0, [])[0].wait_min == 0


@pytest.mark.parametrize(
    "ask",
    [
        lambda: supply(STORE, 5.0, 8.0),
        lambda: tappings(STORE, [(100.0, 5.0)], 8.0, []),
        lambda: tappings(STORE, [(-100.0, 26.0)], 8.0, []),
        lambda: tappings(STORE, [(100.0, 26.0)], 0.0, []),
        lambda: tappings(STORE, [(100.0, 26.0)] * 3, 8.0, [5.0]),
        lambda: tappings(STORE, [(100.0, 26.0)] * 2, 8.0, [-300.0]),
        lambda: minutes_to_next(STORE, [], 8.0, []),
    ],
)
def test_evenings_that_cannot_be_are_refused(ask: Callable[[], object]) -> None:
    with pytest.raises((BadInput, NoAnswer)):
        ask()


def test_a_hair_more_than_the_store_holds() -> None:
    assert tappings(STORE, [(150.0 * (1 + 5e-10), 60.0)], 8.0, [])[0].hot_l == pytest.approx(150.0)
