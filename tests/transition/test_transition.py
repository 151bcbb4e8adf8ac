"""The way from one water to another: every change by hand, laws, closed forms and refusals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from cupboards import LINEAR, jars
from transition_requests import (
    BESIDES,
    CALCIUM,
    CALM,
    EXACT,
    FOUR,
    HARD_TAP,
    INDEX,
    PLAIN,
    ROWS,
    SODA,
    TANK,
    USUAL,
    Way,
    breaches,
    by_hand,
    count_of,
    narrow,
    only,
    ways,
)

from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.transition.multistage import Limits
from tapwright.chemistry.dosing.transition.request import (
    ANYTHING,
    Transition,
    TransitionRequest,
    alone,
    settled,
    temperatures,
    with_target_refill,
)
from tapwright.chemistry.dosing.transition.transition import transition
from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.equilibrium import at_air
from tapwright.chemistry.water.target import Band


def own_index(request: TransitionRequest, way: Transition) -> float:
    """Saturation of the source by itself, as warm as the warmest refill is: no refill need be better than that."""
    warm = [replace(request.source, temperature_c=change.refill_temperature_c) for change in way.changes]
    return max(float(at_air(water, request.room_times_air).si_calcite) for water in warm)


def test_most_drawn_journeys_arrive() -> None:
    assert len(ways()) >= 18
    assert {bool(request.step_g) for request, _, _ in ways()} == {True, False}
    assert sum(len(made.changes) for _, _, made in ways()) > 45


def test_every_water_on_the_way_follows_from_grams_and_litres() -> None:
    for request, cupboard, made in ways():
        for step, change in zip(by_hand(request, cupboard, made), made.changes, strict=True):
            for mine, told in ((step.before, change.before), (step.refill, change.refill), (step.after, change.after)):
                for name in (*LINEAR, *BESIDES, "temperature_c"):
                    assert getattr(told, name) == pytest.approx(getattr(mine, name), abs=EXACT), name
            for water, ph, conductivity_us_cm in (
                (step.before, change.ph_before, change.conductivity_before_us_cm),
                (step.after, change.ph_after, change.conductivity_after_us_cm),
            ):
                rest = at_air(water, request.times_air)
                assert ph == pytest.approx(rest.ph, abs=1e-6)
                assert conductivity_us_cm == pytest.approx(rest.conductivity_us_cm, rel=1e-6)


def test_every_change_keeps_every_limit() -> None:
    for request, cupboard, made in ways():
        for step in by_hand(request, cupboard, made):
            assert breaches(request, step.before, step.after) == set()


def test_the_last_tank_lies_in_the_target() -> None:
    for request, cupboard, made in ways():
        last, target = [*by_hand(request, cupboard, made)][-1].after, request.target
        assert target.hardness_mmol_l.holds(last.hardness_mmol_l, ROWS)
        assert target.alkalinity_meq_l.holds(last.alkalinity_meq_l, ROWS)
        if target.calcium_to_magnesium is not None:
            assert target.calcium_to_magnesium.holds(last.calcium_mmol_l / last.magnesium_mmol_l, 1e-3)
        assert all(standing.held for standing in made.reached)
        assert {at.band: at.value for at in made.reached}["hardness_mmol_l"] == pytest.approx(last.hardness_mmol_l)


def test_refills_stay_clear_and_inside_their_own_bands() -> None:
    bound = False
    for request, cupboard, made in ways():
        cap = max(CALM, own_index(request, made)) + INDEX
        for step in by_hand(request, cupboard, made):
            index = float(at_air(step.refill, request.room_times_air).si_calcite)
            assert index <= cap
            bound |= index > cap - 2 * INDEX
            if request.refill.sodium_mmol_l is not None:
                assert step.refill.sodium_mmol_l <= request.refill.sodium_mmol_l.high + ROWS
    assert bound  # or the cap was never put to the test


def test_amounts_are_whole_steps_and_never_more_than_there_are() -> None:
    for request, cupboard, made in ways():
        refill_l = request.volume_l * request.share
        litre = 1.0 if refill_l >= 50 else 0.1
        for change in made.changes:
            assert min(change.grams.values(), default=1.0) > 0
            assert -EXACT <= change.deionised_l <= refill_l + EXACT
            if request.deionised is None:
                assert change.deionised_l == 0
            if request.step_g:
                units = [gram / request.step_g for gram in change.grams.values()] + [change.deionised_l / litre]
                assert units == pytest.approx(np.round(units), abs=1e-6)
        for item in cupboard:
            used_g = sum(change.grams.get(item.salt.name, 0.0) for change in made.changes)
            assert used_g <= (math.inf if item.stock_g is None else item.stock_g) + ROWS


def test_a_measure_of_its_own_is_kept() -> None:
    spoons = [Stocked(salt(SODA), step_g=4.6), Stocked(salt(CALCIUM), step_g=3.3)]
    made = transition(replace(PLAIN, step_g=1.0, target=narrow(0.8, 1.2, 0.1)), spoons)
    grams = [change.grams for change in made.changes]
    assert sum(map(len, grams)) > 0
    for name, step_g in ((SODA, 4.6), (CALCIUM, 3.3)):
        units = [given[name] / step_g for given in grams if name in given]
        assert units == pytest.approx(np.round(units), abs=1e-6)


def test_the_largest_count_of_one_quantity_is_too_few_in_a_fair_part_of_journeys() -> None:
    # Half of these, and 5 to 6 in ten of three larger drawings: salts bring conductivity, and refills must stay clear.
    few = [made.each_alone < len(made.changes) for _, _, made in ways()]
    assert 0.25 < sum(few) / len(few) < 0.85
    # The slowest quantity alone is a bound: what moves it is held to its limit as well.
    assert all(made.each_alone <= len(made.changes) for _, _, made in ways())


def test_the_count_of_one_quantity_by_itself() -> None:
    strict = replace(PLAIN, limits=replace(USUAL, ph=0.1), times_air=1.3)
    ph = float(at_air(TANK, 1.3).ph)
    assert alone(replace(strict, target=only(ph_aerated=Band(ph + 0.25, 9.5)))) == 3
    assert alone(replace(strict, target=only(ph_aerated=Band(7.0, ph - 0.39)))) == 4
    conductivity_us_cm = float(at_air(TANK, 1.3).conductivity_us_cm)
    for factor, count in ((1.43, 2), (1.45, 3), (0.65, 2), (0.63, 3), (1.0, 0)):  # 1.2 twice is 1.44, 0.8 twice is 0.64
        end = factor * conductivity_us_cm
        assert alone(replace(strict, target=only(conductivity_us_cm=Band(end - 0.1, end + 0.1)))) == count
    assert alone(replace(PLAIN, target=narrow(0.55 + 0.9, 0.8, 0.0))) == 3  # 0.357 mmol/L to a change
    assert alone(replace(PLAIN, target=narrow(0.55, 0.8 + 0.8, 0.0))) == 2  # 0.713 meq/L


def fine(made: Sequence[Way]) -> list[tuple[TransitionRequest, list[Stocked], int]]:
    """The same requests measured in any amount, and what they take."""
    free = [(replace(request, step_g=0.0), cupboard) for request, cupboard, _ in made]
    return [(request, cupboard, int(count_of(request, cupboard))) for request, cupboard in free]


def test_more_room_never_takes_more_changes() -> None:
    for request, cupboard, count in fine(ways()[:3]):
        limits = replace(request.limits, conductivity=0.25, alkalinity_meq_l=1.0, ph=0.7, hardness_mmol_l=0.5)
        plenty = [replace(item, stock_g=None if item.stock_g is None else 3 * item.stock_g) for item in cupboard]
        for other, shelf in (
            (replace(request, limits=limits), cupboard),
            (request, plenty),
            (request, [*cupboard, Stocked(salt("magnesium chloride hexahydrate"))]),
            (replace(request, deionised=Deionised()), cupboard),
            (replace(request, refill=ANYTHING), cupboard),
        ):
            assert count_of(other, shelf) <= count


def test_more_room_can_take_fewer_changes() -> None:
    """The same laws where they bind: no one of limits, stock, salts and refill bands goes unread."""
    two = jars(CALCIUM, SODA)
    usual = transition(PLAIN, two)
    count, used_g = len(usual.changes), sum(change.grams.get(SODA, 0.0) for change in usual.changes)
    scarce = [Stocked(salt(CALCIUM)), Stocked(salt(SODA), stock_g=0.9 * used_g)]
    assert count_of(replace(PLAIN, limits=replace(USUAL, conductivity=0.4)), two) < count
    assert count_of(PLAIN, scarce) > count
    assert count_of(PLAIN, jars(SODA)) > count
    assert count_of(replace(PLAIN, refill=only(conductivity_us_cm=Band(0, 560))), two) > count


def test_a_scale_never_makes_a_way_shorter() -> None:
    for request, cupboard, made in ways()[:8]:
        least = len(made.changes) if request.step_g == 0 else count_of(replace(request, step_g=0.0), cupboard)
        assert made.by_scale == (len(made.changes) > least)
        assert len(made.changes) >= least


def test_the_order_of_the_cupboard_decides_nothing() -> None:
    for request, cupboard, made in ways()[:3]:
        again = transition(request, cupboard[::-1])
        assert [change.grams for change in again.changes] == [change.grams for change in made.changes]


def test_only_as_many_salts_as_needed_are_taken() -> None:
    made = transition(replace(PLAIN, target=only(alkalinity_meq_l=Band(1.9, 2.1))), jars(*FOUR))
    assert {name for change in made.changes for name in change.grams} == {SODA}
    # Least weight alone would take a third salt; two do it in as many changes, and neither does it alone.
    made = transition(PLAIN, jars(*FOUR))
    assert {name for change in made.changes for name in change.grams} == {SODA, CALCIUM}


def test_salts_that_raise_ph_far_stay_in_the_cupboard() -> None:
    target = only(alkalinity_meq_l=Band(1.4, 1.6))
    made = transition(replace(PLAIN, target=target), jars("sodium carbonate anhydrous", SODA))
    assert {name for change in made.changes for name in change.grams} == {SODA}
    with pytest.raises(NoAnswer):
        transition(replace(PLAIN, target=target), jars("sodium carbonate anhydrous"))


@pytest.mark.parametrize("evaporated_share", [0.0, 0.02])
def test_a_tank_that_is_there_needs_no_change(evaporated_share: float) -> None:
    there = replace(PLAIN, target=narrow(0.55, 0.8, 0.05), evaporated_share=evaporated_share)
    made = transition(there, jars(*FOUR))
    assert (made.changes, made.each_alone, made.with_target_refill, made.by_scale) == ((), 0, 0, False)
    assert [standing.held for standing in made.reached] == [True, True]
    assert made.settles == settled(there)


def test_one_change_reaches_what_one_change_can() -> None:
    made = transition(replace(PLAIN, target=narrow(0.65, 0.95, 0.05)), jars(*FOUR))
    assert len(made.changes) == 1
    assert made.each_alone == 1


@pytest.mark.parametrize("wanted_c", [21.0, 24.97, 28.5, 31.0])
@pytest.mark.parametrize("share", [0.1, 0.5])
def test_temperature_arrives_in_steps_that_fish_stand(wanted_c: float, share: float) -> None:
    there = replace(PLAIN, share=share, target=narrow(0.55, 0.8, 0.05), temperature_c=wanted_c)
    made = transition(there, jars(*FOUR))
    tank_c = [25.0, *(change.after.temperature_c for change in made.changes)]
    assert tank_c[-1] == pytest.approx(wanted_c, abs=0.05)
    assert np.abs(np.diff(tank_c)).max(initial=0.0) <= USUAL.temperature_c + EXACT
    # A tenth of 40 degC water warms 25 degC by 1.5: less than the limit, and so does nothing colder than ice cool it.
    room_c = [min(2.0, share * (40 - degrees_c) if wanted_c > 25 else share * degrees_c) for degrees_c in tank_c[:-1]]
    assert len(made.changes) == (0 if abs(wanted_c - 25) <= 0.05 else len(room_c))
    for here_c, then_c, most_c in zip(tank_c, tank_c[1:-1], room_c, strict=False):
        assert abs(then_c - here_c) == pytest.approx(most_c)  # every step but the last goes as far as it may
    for change in made.changes:
        assert 0 <= change.refill_temperature_c <= 40
        assert change.refill.temperature_c == change.refill_temperature_c


def test_temperature_and_chemistry_go_one_way_as_long_as_the_slower() -> None:
    request = replace(PLAIN, target=narrow(0.9, 1.4, 0.08))
    chemistry = len(transition(request, jars(*FOUR)).changes)
    assert 2 <= chemistry < 4
    slow = transition(replace(request, temperature_c=32.9), jars(*FOUR))
    assert len(slow.changes) == 4  # 7.9 degC in steps of 2
    quick = transition(replace(request, temperature_c=26.0), jars(*FOUR))
    assert len(quick.changes) == chemistry
    assert [change.after.temperature_c for change in quick.changes] == pytest.approx([26.0] * chemistry)
    with pytest.raises(NoAnswer, match="heater"):
        temperatures(replace(PLAIN, share=0.01, temperature_c=39.9))


def test_a_refill_clouds_by_the_temperature_it_is_poured_at() -> None:
    # Chalk dissolves the less the warmer it is: what just stays clear at 12 degC does not at 25.
    cold = replace(TANK, temperature_c=12.0)
    request = replace(PLAIN, source=cold, share=0.15, target=narrow(1.5, 2.6, 0.06))
    made = transition(request, jars(*FOUR))
    refills = [change.refill for change in made.changes]
    assert {refill.temperature_c for refill in refills} == {25.0}
    assert CALM - 0.05 < max(float(at_air(refill).si_calcite) for refill in refills) <= CALM + INDEX


def test_a_source_that_is_past_calm_by_itself_is_no_reason_not_to_go() -> None:
    request = replace(PLAIN, tank=HARD_TAP, source=replace(HARD_TAP, calcium_mmol_l=3.0, chloride_mmol_l=3.2))
    request = replace(request, target=only(hardness_mmol_l=Band(2.7, 2.9)), share=0.3)
    own = float(at_air(request.source).si_calcite)
    assert own > CALM
    made = transition(request, jars(*FOUR))
    assert made.changes
    assert all(float(at_air(change.refill).si_calcite) <= own + INDEX for change in made.changes)


def test_bands_of_conductivity_and_ph_are_reached_as_well() -> None:
    target = only(conductivity_us_cm=Band(330, 345), ph_aerated=Band(8.4, 8.55), hardness_mmol_l=Band(0.6, 1.4))
    made = transition(replace(PLAIN, target=target, times_air=1.2), jars(*FOUR))
    last = at_air(made.changes[-1].after, 1.2)
    assert 330 - 0.05 <= last.conductivity_us_cm <= 345 + 0.05
    assert 8.4 - 0.002 <= last.ph <= 8.55 + 0.002
    first = at_air(TANK, 1.2)
    conductivity = math.log(330 / first.conductivity_us_cm) / math.log(1.2)
    assert made.each_alone == max(math.ceil(conductivity), math.ceil((8.4 - first.ph) / 0.5), 1)


@pytest.mark.parametrize("limits", [USUAL, replace(USUAL, conductivity=9.0)], ids=["usual", "free"])
def test_the_bands_of_a_refill_bind(limits: Limits) -> None:
    request = replace(PLAIN, limits=limits)
    free = transition(request, jars(*FOUR))
    most_us_cm = max(float(at_air(change.refill).conductivity_us_cm) for change in free.changes) - 100
    bound = transition(replace(request, refill=only(conductivity_us_cm=Band(0, most_us_cm))), jars(*FOUR))
    assert len(bound.changes) >= len(free.changes)
    assert all(float(at_air(change.refill).conductivity_us_cm) <= most_us_cm + 0.05 for change in bound.changes)


@pytest.mark.parametrize("share", [0.1, 0.25, 0.6])
@pytest.mark.parametrize("width", [0.01, 0.1])
def test_a_refill_that_is_the_target_comes_ever_closer(share: float, width: float) -> None:
    goal = narrow(1.6, 3.1, width)
    request = replace(PLAIN, share=share, target=goal)
    hardness, alkalinity, changes = TANK.hardness_mmol_l, TANK.alkalinity_meq_l, 0
    while not (goal.hardness_mmol_l.holds(hardness) and goal.alkalinity_meq_l.holds(alkalinity)):
        hardness, alkalinity = hardness + share * (1.6 - hardness), alkalinity + share * (3.1 - alkalinity)
        changes += 1
    assert with_target_refill(request) == changes
    assert hardness < 1.6  # and it has not arrived
    assert transition(replace(request, limits=USUAL), jars(*FOUR)).with_target_refill == changes


def test_a_refill_that_is_the_target_never_comes_inside_bands_without_width() -> None:
    assert with_target_refill(replace(PLAIN, target=narrow(1.6, 3.1, 0.0))) is None
    assert with_target_refill(replace(PLAIN, target=only(hardness_mmol_l=Band(0.55, 0.55)))) == 0
    assert with_target_refill(replace(PLAIN, target=only(hardness_mmol_l=Band(1.0, math.inf)))) is None


@pytest.mark.parametrize("top_off", ["source", "deionised"])
def test_what_the_tank_settles_at_against_five_hundred_intervals(top_off: str) -> None:
    request = replace(PLAIN, source=HARD_TAP, evaporated_share=0.07, top_off=top_off)
    hardness, alkalinity = TANK.hardness_mmol_l, TANK.alkalinity_meq_l
    for _ in range(500):
        # An interval: 7 % goes as vapour and leaves its salts; the top-off brings its own; then a change.
        topping = (HARD_TAP.hardness_mmol_l, HARD_TAP.alkalinity_meq_l) if top_off == "source" else (0.0, 0.0)
        hardness = 0.75 * (0.93 * (hardness / 0.93) + 0.07 * topping[0]) + 0.25 * 1.4
        alkalinity = 0.75 * (0.93 * (alkalinity / 0.93) + 0.07 * topping[1]) + 0.25 * 2.4
    assert settled(request)[top_off] == pytest.approx((hardness, alkalinity), rel=1e-9)
    assert settled(request)["source"][0] > settled(request)["deionised"][0]
    assert settled(replace(request, evaporated_share=0.0)) == {}


def test_tap_that_tops_off_takes_a_tank_past_its_target() -> None:
    request = replace(PLAIN, source=HARD_TAP, evaporated_share=0.1, top_off="source", deionised=Deionised())
    made = transition(replace(request, tank=HARD_TAP, target=narrow(1.8, 3.0, 0.05)), jars(*FOUR))
    gathered = 0.1 * 0.75 / 0.25
    assert made.settles["source"][0] == pytest.approx(1.8 + gathered * HARD_TAP.hardness_mmol_l)
    assert made.settles["source"][0] > 1.8 * 1.05
