"""Journeys that are refused: shares that are too large, targets out of reach, and questions badly put."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from cupboards import LINEAR, jars
from transition_requests import (
    CALCIUM,
    EPSOM,
    FOUR,
    HARD_TAP,
    PLAIN,
    SODA,
    TANK,
    USUAL,
    breaches,
    count_of,
    narrow,
    only,
)

from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.dosing.transition.transition import transition
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.programmes.budget import question
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.target import Band

# A band that HARD_TAP lies outside of and any softer water inside: one legal change is enough.
ANYWHERE = only(hardness_mmol_l=Band(0.0, 2.499))


def _mixed(tank: Water, source: Water, share: float) -> Water:
    return replace(tank, **{name: (1 - share) * getattr(tank, name) + share * getattr(source, name) for name in LINEAR})


def test_a_share_that_is_too_large_is_refused_with_the_largest_there_is() -> None:
    """Soft source, hard tank, nothing to harden it with: hardness, alkalinity and conductivity fall with the share."""
    request = replace(PLAIN, tank=HARD_TAP, source=TANK, share=0.6)
    for limits in (USUAL, replace(USUAL, hardness_mmol_l=9.0), replace(USUAL, conductivity=9.0, hardness_mmol_l=9.0)):
        asked = replace(request, limits=limits)
        with pytest.raises(NoAnswer) as refused:
            transition(asked, jars("potassium chloride"))
        (fault,) = refused.value.faults
        percent = int(fault.hint.split(" %")[0].rpartition(" ")[2])
        assert f"change share {percent}%" in fault.hint
        assert fault.where == "change share"
        # Potassium chloride can only lift conductivity that falls: so much that it does not fall at all.
        legal = [not breaches(asked, HARD_TAP, _mixed(HARD_TAP, TANK, share)) - {"conductivity"} for share in
                 (percent / 100, percent / 100 + 0.02)]  # fmt: skip
        assert legal == [True, False]
        assert count_of(replace(asked, share=percent / 100, target=ANYWHERE), jars("potassium chloride")) == 1
        assert count_of(replace(asked, share=percent / 100 + 0.02, target=ANYWHERE), jars("potassium chloride")) > 40


def test_without_salts_the_largest_share_is_that_of_the_first_limit_to_break() -> None:
    request = replace(PLAIN, tank=HARD_TAP, source=TANK, share=0.5)
    legal = [
        percent for percent in range(1, 51) if not breaches(request, HARD_TAP, _mixed(HARD_TAP, TANK, percent / 100))
    ]
    with pytest.raises(NoAnswer, match=rf"At most {legal[-1]} %.*change share {legal[-1]}%") as refused:
        transition(request, [])
    named = breaches(request, HARD_TAP, _mixed(HARD_TAP, TANK, 0.5))
    assert all((name in str(refused.value)) == (name in named) for name in ("hardness", "alkalinity", "conductivity"))


def test_a_source_that_no_share_makes_legal_is_refused() -> None:
    tight = replace(USUAL, hardness_mmol_l=0.001)
    with pytest.raises(NoAnswer, match=r"limit of hardness.*Take another source water"):
        transition(replace(PLAIN, source=HARD_TAP, limits=tight), jars(*FOUR))


@pytest.mark.parametrize(
    ("changed", "where", "said"),
    [
        ({"share": 0.0}, "change share", "0%"),
        ({"share": 0.95}, "change share", "90%"),
        ({"share": -0.1}, "change share", "-10%"),
        ({"volume_l": -4.0}, "volume", "-4 L"),
        ({"volume_l": math.nan}, "volume", "nan"),
        ({"evaporated_share": 1.0}, "evaporation", "100%"),
        ({"evaporated_share": -0.01}, "evaporation", "-1%"),
        ({"top_off": "rain"}, "top-off", "rain"),
        *(({"limits": replace(USUAL, **{name: 0.0})}, "limit", name) for name in vars(USUAL)),
    ],
)
def test_impossible_journeys_are_refused(changed: dict[str, object], where: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        replace(PLAIN, **changed)
    (fault,) = refused.value.faults
    assert fault.where == where
    assert said in fault.message


def test_all_faults_of_a_journey_are_told_at_once() -> None:
    with pytest.raises(BadInput) as refused:
        replace(PLAIN, share=0.0, volume_l=0.0, evaporated_share=2.0, limits=replace(USUAL, ph=-1.0))
    assert [fault.where for fault in refused.value.faults] == ["volume", "change share", "evaporation", "limit"]
    assert replace(PLAIN, share=0.9).share == 0.9


def test_a_target_that_no_refill_reaches_is_refused_with_the_conflict() -> None:
    with pytest.raises(NoAnswer, match=r"alkalinity of at least 12.4 dKH cannot be reached"):
        transition(replace(PLAIN, target=only(alkalinity_meq_l=Band(12.4 * 2 / 5.608, 9.0))), jars(CALCIUM, EPSOM))


def test_limits_too_tight_to_arrive_are_told_from_a_cupboard_that_cannot() -> None:
    tight = replace(USUAL, alkalinity_meq_l=0.01)
    with pytest.raises(NoAnswer, match=r"not reached in 40 changes of 25% within the limits.*widen a limit"):
        transition(replace(PLAIN, limits=tight), jars(*FOUR))


def test_a_scale_too_coarse_to_arrive_is_told_as_such() -> None:
    target = only(alkalinity_meq_l=Band(1.20, 1.21))
    small = replace(PLAIN, volume_l=40, target=target)
    assert transition(small, jars(SODA)).changes
    with question(4.0), pytest.raises(NoAnswer, match=r"whole steps of 5 g.*Weigh finer"):
        transition(replace(small, step_g=5.0), jars(SODA))


def test_a_stock_of_which_steps_leave_a_rest_is_refused_for_the_steps() -> None:
    """The stock just does measured finely; where whole steps of it do not, it is the steps that are named."""
    request, two = replace(PLAIN, target=narrow(0.9, 1.4, 0.08)), jars(CALCIUM, SODA)
    used_g = sum(change.grams.get(SODA, 0.0) for change in transition(request, two).changes)
    refused = 0
    for spare_g in (0.5, 2.0, 20.0):
        scarce = [Stocked(salt(CALCIUM)), Stocked(salt(SODA), stock_g=used_g + spare_g)]
        try:
            made = transition(replace(request, step_g=2.0), scarce)
        except NoAnswer as refusal:
            refused += 1
            assert "whole steps of 2 g" in str(refusal)
            continue
        assert sum(change.grams.get(SODA, 0.0) for change in made.changes) <= used_g + spare_g + 1e-6
    assert 0 < refused < 3
