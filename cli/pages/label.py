"""The page of a judged label: verdict, figures, explanations, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.label.case import Dose
    from tapwright.chemistry.dosing.label.claims import Claim
    from tapwright.chemistry.dosing.label.verdict import Judgement, Label
    from tapwright.chemistry.findings import Finding

_MOST_SHOWN = 6


def show_label(
    screen: Console,
    name: str,
    label: Label,
    judgement: Judgement,
    findings: Sequence[Finding],
    assumed: Sequence[str],
) -> None:
    """The verdict first in plain words, then figures, explanations, what to do, findings and assumptions."""
    pages.heading(screen, f"Label '{name}': {_verdict(judgement)}")
    pages.pairs(screen, _figures(label, judgement))
    if judgement.explanations:
        pages.heading(screen, _head(judgement))
        shown = [entry.text for entry in judgement.explanations[:_MOST_SHOWN]]
        pages.hanging(screen, [((f"{number}.", ""), text) for number, text in enumerate(shown, 1)])
        if more := len(judgement.explanations) - len(shown):
            pages.paragraph(screen, f"{more} more stand in the answer with --json.")
            screen.print()
    pages.heading(screen, "What to do")
    pages.paragraph(screen, _advice(label, judgement))
    screen.print()
    pages.findings(screen, findings)
    pages.assumptions(screen, assumed)


def _verdict(judgement: Judgement) -> str:
    if judgement.by_percent is None:
        return judgement.verdict
    if judgement.verdict == "agrees":
        return "agrees with what is in it"
    if judgement.case is None:
        return "overstates, whatever is in it"
    more = "less" if judgement.verdict == "overstates" else "more"
    return f"{judgement.verdict}, what is in it does {judgement.by_percent:.0f} % {more}"


def _figures(label: Label, judgement: Judgement) -> list[tuple[str, str]]:
    """Claim, computed and how far apart; the readings of an open label; what is missing."""
    from tapwright.chemistry.units import figure

    claim = label.claims[0] if judgement.case is None else judgement.case.claim
    rows = [("Claimed", _claimed(label, claim))]
    if judgement.computed is not None and judgement.ratio is not None:
        most = judgement.case is None or judgement.verdict == "cannot be judged"
        rows.append(("Computed", f"{claim.shown(judgement.computed)}{' at most' if most else ''}"))
        either_way = f"; {judgement.tolerance_percent:.1f} % either way would agree" if not most else ""
        rows.append(("Ratio", f"{figure(judgement.ratio)} of the claim{either_way}"))
    rows += [
        (
            "Read as" if number == 0 else "",
            f"{reading.text}: {reading.verdict}, {figure(reading.ratio)} of the claim",
        )
        for number, reading in enumerate(judgement.readings)
    ]
    if judgement.missing:
        rows.append(("Missing", "; ".join(judgement.missing)))
    return rows


def _claimed(label: Label, claim: Claim) -> str:
    """What the label says, in a sentence."""
    effect = claim.effect
    if claim.by_product:
        return f"{claim.written} of {effect.name} in the product"
    if effect.removes_chlorine:
        said = f"neutralises {claim.written} of {effect.name}"
    elif not label.names_effect:
        said = f"gives {claim.written}"
    else:
        said = f"raises {effect.name} by {claim.written}"
    return said if label.dose is None else f"{_dose(label.dose)} {said}"


def _dose(dose: Dose) -> str:
    """'5 g in 100 L' or '1 teaspoon in 100 L'."""
    from tapwright.chemistry.units import figure

    if dose.spoon:
        amount = f"{figure(dose.spoons)} {dose.spoon}{'s' if dose.spoons != 1 else ''}"
    else:
        amount = f"{figure(dose.grams, 4)} g" if dose.grams is not None else f"{figure(dose.millilitres or 0, 4)} mL"
    return f"{amount} in {figure(dose.volume_l, 4)} L"


def _head(judgement: Judgement) -> str:
    if judgement.verdict == "cannot be judged":
        return "What would make it true"
    pairs = len(judgement.explanations[0].codes) > 1
    return "What would explain it, no single confusion does" if pairs else "What would explain it"


def _advice(label: Label, judgement: Judgement) -> str:
    """What to do with the label."""
    from tapwright.chemistry.units import figure

    chlorine = label.claims[0].effect.removes_chlorine
    if judgement.verdict == "cannot be judged":
        rest = "Until then take no dose from this label." if chlorine else "Until then dose a part of it and test."
        return f"Ask the supplier: {'; '.join(judgement.missing)}. {rest}"
    times = judgement.times_the_dose
    if judgement.verdict == "agrees":
        return "The label can be followed. Test the water after the first dose."
    if times is None:
        return "Do not use it for this."
    if chlorine and judgement.verdict == "overstates":
        return (
            f"Do not dose by this label: it takes {figure(times)} times its dose to be sure. Take the dose from "
            "`tapwright neutralise`, and test total chlorine before the water meets fish."
        )
    doses = f"{figure(times)} times the label's dose does what it claims"
    if judgement.case is not None and judgement.case.claim.by_product:
        doses = "Reckon with the computed figure"
    if judgement.verdict == "overstates":
        return f"{doses}, if the contents are stated right. Ask the supplier, and test after the first dose."
    if chlorine:
        return f"{doses}. More than that is spare; test total chlorine before you take less."
    return f"{doses}. Begin with that, or the water moves further than the label says."
