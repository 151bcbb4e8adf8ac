"""Pictures of answers, where a picture says more than figures; matplotlib draws them (the extra `plot`)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tapwright.chemistry.dosing.recipe.bands import Standing
from tapwright.chemistry.dosing.recipe.remineralise import Recipe
from tapwright.chemistry.dosing.transition.request import Transition
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.plan.planner import Plan
from tapwright.chemistry.water.target import measures


def plot(answer: Any, axes: Any = None) -> Any:
    """Draws an answer and returns its matplotlib axes: the bands of a recipe, the way of a transition, a plan's steps.

    axes: to draw on; None: new ones.  Raises BadInput for anything else, and where matplotlib is not installed.
    """
    shown = getattr(answer, "recipe", answer)  # a refill is drawn as its recipe
    if not isinstance(shown, Recipe | Transition | Plan):
        said = f"{type(answer).__name__} has no picture."
        raise BadInput.of("plot", said, "Give a refill or recipe, a transition or a plan.")
    on = axes if axes is not None else _new_axes()
    if isinstance(shown, Recipe):
        _recipe(shown, on)
    elif isinstance(shown, Transition):
        _transition(shown, on)
    else:
        _plan(shown, on)
    return on


def _new_axes() -> Any:
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise BadInput.of("plot", "matplotlib is not installed.", 'Install "tapwright[plot]".') from None
    return Figure(layout="constrained").add_subplot()  # its own figure: no window, no state shared with anybody's plots


def _recipe(recipe: Recipe, axes: Any) -> None:
    """Every band from its lowest (0) to its highest (1), and where the recipe stands in it."""
    standings = [at for at in recipe.reached if 0 < at.within.high - at.within.low < float("inf")]
    places = [(at.value - at.within.low) / (at.within.high - at.within.low) for at in standings]
    rows = range(len(standings))
    axes.barh(rows, [1.0] * len(standings), height=0.5, color="0.85", label="band")
    axes.plot(places, rows, "ko", label="recipe")
    axes.set_yticks(rows, [_named(at) for at in standings])
    axes.set_xticks([0, 1], ["lowest", "highest"])
    axes.invert_yaxis()
    axes.legend()


def _named(at: Standing) -> str:
    measure = measures()[at.band]
    return f"{measure.words}\n{measure.said(at.value)}"


def _transition(transition: Transition, axes: Any) -> None:
    """Hardness, alkalinity and pH of the tank from change to change."""
    first = transition.changes[:1]
    waters = [change.before for change in first] + [change.after for change in transition.changes]
    _line(axes, [water.hardness_dgh for water in waters], "hardness [dGH]", "k-o")
    _line(axes, [water.alkalinity_dkh for water in waters], "alkalinity [dKH]", "k--s")
    _line(
        axes, [change.ph_before for change in first] + [change.ph_after for change in transition.changes], "pH", "k:^"
    )
    axes.set_xlabel("changes")
    axes.legend()


def _line(axes: Any, values: Sequence[float], label: str, style: str) -> None:
    axes.plot(range(len(values)), values, style, label=label)


def _plan(plan: Plan, axes: Any) -> None:
    """The steps, one below the other, over the minutes of the evening."""
    rows = range(len(plan.steps))
    colours = ["0.3" if step.hold else "0.7" for step in plan.steps]
    axes.barh(
        rows, [step.minutes for step in plan.steps], left=[step.start_minute for step in plan.steps], color=colours
    )
    axes.set_yticks(rows, [step.name for step in plan.steps])
    axes.invert_yaxis()
    axes.set_xlabel("minutes (dark: to be confirmed before the next)")
