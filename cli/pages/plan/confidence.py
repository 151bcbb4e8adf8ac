"""The part of the plan's page that says how sure it is: what to test again, what may go wrong, and every range."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.plan.confidence import Confidence, Range

_SAID = 0.005  # a chance below it rounds to nothing
_PART = 0.01  # of the doubt, below which a reading is not worth naming
_READINGS = 3


def show_confidence(screen: Console, sure: Confidence) -> None:
    """Print the section."""
    pages.heading(screen, f"How sure ({sure.draws} draws of every reading's error)")
    pages.pairs(screen, [("Test again", _advice(sure)), *_chances(sure)])
    rows = [[f"{found.figure}{found.unit and f', {found.unit}'}", *_figures(found)] for found in sure.ranges]
    pages.figures(screen, ["9 of 10 lie within", "planned", "low", "high"], rows)


def _advice(sure: Confidence) -> str:
    """The readings most worth a second or a better test."""
    doubtful = [worth for worth in sure.readings if worth.part >= _PART][:_READINGS]
    if not doubtful:
        return "nothing: no limit is in doubt"
    first, *others = doubtful
    then = "; ".join(f"{worth.reading}, {worth.part:.0%}" for worth in others)
    return f"{first.reading}: {first.part:.0%} of what leaves the limits in doubt" + (f"; then {then}" if then else "")


def _chances(sure: Confidence) -> list[tuple[str, str]]:
    """Every limit that may be crossed, the likeliest first."""
    said = [chance for chance in sure.chances if chance.chance >= _SAID]
    if not said:
        return [("Limits", "none of the plan's is crossed in half a per cent of the draws")]
    rows = [f"{chance.chance:>4.0%}  {chance.text}" for chance in said]
    return [("Chance of" if index == 0 else "", text) for index, text in enumerate(rows)]


def _figures(found: Range) -> list[str]:
    """Planned, low and high with as many decimals as the range is wide."""
    width = found.high - found.low
    decimals = 0 if width >= 4 else 1 if width >= 0.4 else 2 if width >= 0.04 else 3
    texts = [f"{value:.{decimals}f}" for value in (found.planned, found.low, found.high)]
    return [text if float(text) else text.lstrip("-") for text in texts]
