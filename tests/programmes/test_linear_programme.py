"""What the library's solver is asked, and what is made of its answers."""

from __future__ import annotations

import numpy as np

from tapwright.chemistry.programmes.linear_programme import Programme, solve

# Hardness, alkalinity, two rows of calcium to magnesium, magnesium, chloride and conductivity by grams of seven salts,
# as a household drawn by the attack had them: the solver breaks down over costs as far apart as these.
EFFECT = np.array(
    [
        [0.00329026123, 0.00237927506, 0.00142871535, 0, 0, 0, 0],
        [0, 0, 0, 0.00406324053, 0, 0.00565421777, 0],
        [0.00329026123, -0.000904124523, -0.000542911835, 0, 0, 0, 0],
        [-0.00329026123, 0.00256961707, 0.00154301258, 0, 0, 0, 0],
        [0, 0.00237927506, 0.00142871535, 0, 0, 0, 0],
        [0.00658052247, 0.00475855012, 0, 0, 0.0064883662, 0, 0.00531368947],
        [0.852812565, 0.592855615, 0.318224241, 0.477252864, 0.996073231, 0.517803843, 0.678233577],
    ]
)
PRICE = np.array([4129019170.0, 495026217.0, 1319182.88, 1319182.88, 1319182.88, 1437597.09, 1841.91969])
LOW = np.array([-0.367628087, 1.05382591, -0.409397001, 0.300015949, -0.155258459, -0.467878982, 391.878649])
HIGH = np.array([-0.305542719, 2.21612408, np.inf, np.inf, np.inf, 0.449751684, 562.778649])


def test_costs_far_apart_do_not_make_what_can_be_look_as_if_it_cannot() -> None:
    """Every row may be missed at its price, so that there always is an answer: the hardness at its high end is missed."""
    matrix = np.hstack([EFFECT, np.eye(7), -np.eye(7)])
    cost = np.concatenate([np.full(7, 1e-4), PRICE, PRICE])
    found = solve(Programme(cost, matrix, LOW, HIGH, np.full(21, np.inf)))
    assert found is not None
    made = matrix @ found
    assert np.all(made >= LOW - 1e-6) and np.all(made <= HIGH + 1e-6)
    assert found[14] > 0.3  # hardness cannot be taken out by salts: its high end gives all of its -0.3055 mmol
