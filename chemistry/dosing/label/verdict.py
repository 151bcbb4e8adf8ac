"""Does what a label says is in a product do what the label says a dose does?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.label.case import Case, Dose, Part, powder_kg_l
from tapwright.chemistry.dosing.label.claims import Claim
from tapwright.chemistry.dosing.label.contents import most_possible, plausible_contents
from tapwright.chemistry.dosing.label.explanations import Explanation, explanations_of, ranked
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.substances import Agent, Substance
from tapwright.chemistry.units import figure, unit_of

_ROUNDING = 0.005  # percentages that add up to 100.4 % are rounded, not wrong


@dataclass(frozen=True)
class Content:
    """One substance as a label states it.

    name: as written.  candidates: what the name can mean, several where the hydrate is left open.
    strength: g per g of product, or g per mL where per_volume; None where the label does not say how much.
    rounding: half of the last digit written, as a share.  purity: share; None where not stated.
    """

    name: str
    candidates: tuple[Substance, ...]
    strength: float | None
    per_volume: bool = False
    rounding: float = 0.0
    purity: float | None = None

    def __post_init__(self) -> None:
        if self.purity is not None and not 0 < self.purity <= 1:
            said = f"{self.purity:.4g} is read; above 0 % and up to 100 % is allowed."
            raise BadInput.of("purity", said, "Write '98%'.")
        if self.strength is not None and self.strength <= 0:
            raise BadInput.of(self.name, "nothing of it is stated.", "Write how much of it there is, or leave it out.")


@dataclass(frozen=True)
class Label:
    """What a label states.

    claims: every way its figure can be read.  contents: empty where it states none.  dose: None where a part of it is
    missing, and `unstated` names that.  density_kg_l: of the liquid, or how a powder lies in a spoon.
    Raises BadInput for contents that cannot be: more than 100 % in all, or one substance twice.
    """

    claims: tuple[Claim, ...]
    contents: tuple[Content, ...]
    dose: Dose | None
    density_kg_l: float | None = None
    unstated: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.dose is not None and not self.dose.volume_l > 0:
            raise BadInput.of("in", f"{figure(self.dose.volume_l)} L is no volume to dose.", "Give more than 0 L.")
        faults = []
        for per_volume, whole in ((False, 1.0), (True, self.density_kg_l)):
            total = sum(c.strength for c in self.contents if c.strength is not None and c.per_volume == per_volume)
            if whole is not None and total > whole * (1 + _ROUNDING):
                said = f"the contents add up to {figure(100 * total / whole, 4)} % of the product."
                faults.append(Fault("content", said, "More than all of it cannot be in it: read the label again."))
        names = [candidate.name for content in self.contents for candidate in content.candidates]
        for name in sorted({name for name in names if names.count(name) > 1}):
            faults.append(Fault("content", f"{name} stands twice.", "Write it once, with all there is of it."))
        if faults:
            raise BadInput(faults)

    @property
    def names_effect(self) -> bool:
        """Whether the label says what its figure raises, neutralises or counts, however open the counting is."""
        return len({claim.effect for claim in self.claims if claim.effect.kind not in ("product", "ion")}) <= 1


@dataclass(frozen=True)
class Reading:
    """A label that leaves something open, read one way; text says how."""

    text: str
    claimed: float
    computed: float
    ratio: float
    unit: str
    verdict: str


@dataclass(frozen=True)
class Judgement:
    """What comes of a label.

    verdict: agrees, overstates, understates or cannot be judged.  claimed, computed: the effect in `unit`; computed
    None where nothing can be computed, and only the most there can be where the verdict is `cannot be judged`.  ratio:
    computed to claimed.  by_percent: what the contents do above or below
    what is claimed, in percent of the claim.  tolerance_percent: the same that rounding and purity allow for.
    times_the_dose: label doses that do what is claimed.  missing: what the label would have to say.
    explanations: ranked.  readings: one for each way to read an open label.  case: the reading judged, if one was.
    """

    verdict: str
    claimed: float
    computed: float | None
    unit: str
    ratio: float | None
    by_percent: float | None
    tolerance_percent: float | None
    times_the_dose: float | None
    missing: tuple[str, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    readings: tuple[Reading, ...] = ()
    case: Case | None = None


def judge(label: Label) -> Judgement:
    """Compare what the stated contents can do with what the label claims.

    Thiosulfate is planned on the route to tetrathionate, the one that needs most. The tolerance adds up half of the
    last digit of every figure of the label but dose and volume, which are measured by whoever doses, and the purity
    (tables/label_tolerance.csv, common practice). Raises BadInput for a spoon of a powder without bulk density.
    """
    if label.dose is None:
        return _unjudged(label, label.unstated)
    if not label.contents:
        return _without_contents(label, label.dose)
    if unknown := [f"how much {content.name} is in it" for content in label.contents if content.strength is None]:
        return _without_amounts(label, label.dose, tuple(sorted(unknown)))
    every = list(_cases(label, label.dose))
    # A reading of an open label under which its contents do nothing is not what anybody meant.
    cases = [case for case in every if case.computed() > 0] or every
    if len({case.verdict() for case in cases}) > 1:
        return _undecided(label, cases)
    nearest = min(cases, key=lambda case: (abs(case.ratio() - 1), case.words))
    judgement = _judged(nearest, cases)
    bound = [agent.name for agent in _dosed_by_label(nearest)]
    if bound and judgement.verdict != "overstates":
        needs = tuple(f"how much more {name} than its chemistry says the maker found to be needed" for name in bound)
        return replace(
            judgement, verdict="cannot be judged", missing=needs, by_percent=None, times_the_dose=None, explanations=()
        )
    return judgement


# --- readings of an open label ------------------------------------------------------------------------------------


def _cases(label: Label, dose: Dose) -> Iterator[Case]:
    """The label read every way it leaves open: what is claimed, which hydrate, how heavy the liquid is."""
    contents = sorted(label.contents, key=lambda content: content.name)
    for claim in label.claims:
        for substances in product(*(content.candidates for content in contents)):
            parts = tuple(
                Part(substance, content.strength or 0.0, content.per_volume, content.rounding, content.purity)
                for content, substance in zip(contents, substances, strict=True)
            )
            by_name = tuple(sorted(parts, key=lambda part: part.substance.name))
            words = (f"the figure in {claim.words}", *(substance.name for substance in substances))
            yield from _weighed(Case(claim, by_name, dose, label.density_kg_l, words))


def _weighed(case: Case) -> Iterator[Case]:
    """The case with grams and mL wherever its parts want them: by its density, as powder in a spoon, or both ends."""
    dose = case.dose
    wants_g = dose.grams is None and not all(part.per_volume for part in case.parts)
    wants_ml = dose.millilitres is None and any(part.per_volume for part in case.parts)
    if case.density_kg_l is not None:
        yield replace(case, dose=dose.with_density(case.density_kg_l), words=(*case.words, ""))
    elif not wants_g and not wants_ml:
        yield replace(case, words=(*case.words, ""))
    elif dose.spoon and not any(part.per_volume for part in case.parts):
        low, high = powder_kg_l(case.parts, "dose")
        middle = dose.with_density((low + high) / 2)
        yield replace(case, dose=replace(middle, spread=(high - low) / (high + low)), words=(*case.words, ""))
    else:
        light = "the percentage as grams in 100 mL" if wants_g else "a liquid as light as water"
        for density, words in zip(_liquid_ends(), (light, f"a liquid of {_liquid_ends()[1]:g} kg/L"), strict=True):
            yield replace(case, dose=dose.with_density(density), density_kg_l=density, words=(*case.words, words))


def _liquid_ends() -> tuple[float, float]:
    lightest, heaviest = (reference.value("label_tolerance", key) for key in ("liquid_lightest", "liquid_heaviest"))
    return lightest, heaviest


def _dosed_by_label(case: Case) -> list[Agent]:
    """Agents of which the chemistry gives only the least that is needed, where chlorine is the matter."""
    agents = [part.substance for part in case.parts if isinstance(part.substance, Agent)]
    return [agent for agent in agents if agent.dose_from == "label"] if case.claim.effect.removes_chlorine else []


# --- judgements -----------------------------------------------------------------------------------------------------


def _judged(case: Case, cases: list[Case]) -> Judgement:
    """All readings of the label come to the same verdict; its figures are those of the reading nearest to the claim."""
    ratio = case.ratio()
    found = [] if case.verdict() == "agrees" else [entry for one in cases for entry in _explained(one, cases)]
    fewest = min((len(entry.codes) for entry in found), default=0)
    return Judgement(
        verdict=case.verdict(),
        claimed=case.claim.claimed,
        computed=case.computed(),
        unit=case.claim.canonical_unit,
        ratio=ratio,
        by_percent=100 * abs(ratio - 1),
        tolerance_percent=100 * case.tolerance(),
        times_the_dose=1 / ratio if ratio > 0 else None,
        explanations=ranked(entry for entry in found if len(entry.codes) == fewest),
        readings=_readings(cases) if len(cases) > 1 else (),
        case=case,
    )


def _explained(case: Case, cases: list[Case]) -> Iterator[Explanation]:
    """The explanations of one reading, each naming the reading where there are several."""
    opened = " and ".join(_opened(case, cases))
    for entry in explanations_of(case):
        yield replace(entry, text=f"With {opened}: {entry.text}") if opened else entry


def _undecided(label: Label, cases: list[Case]) -> Judgement:
    """Readings of the label come to different verdicts: say what is open, and which reading would make it true."""
    names = sorted(label.contents, key=lambda content: content.name)
    asked = (
        "what the figure is counted as" if label.names_effect else "what it is that the figure counts",
        *(f"which hydrate of {content.name} it is" for content in names),
        "the density of the liquid, or grams per litre",
    )
    missing = tuple(what for place, what in enumerate(asked) if _matters(cases, place))
    holds = [
        Explanation(f"It holds with {' and '.join(_opened(case, cases))}.", case.ratio(), ("open",))
        for case in cases
        if case.verdict() == "agrees"
    ]
    holds += _needed_densities(cases)
    return replace(_unjudged(label, missing), explanations=ranked(holds), readings=_readings(cases))


def _matters(cases: list[Case], place: int) -> bool:
    """Whether readings that differ only at this place come to different verdicts."""
    groups: dict[tuple[str, ...], set[str]] = {}
    for case in cases:
        groups.setdefault((*case.words[:place], *case.words[place + 1 :]), set()).add(case.verdict())
    return any(len(verdicts) > 1 for verdicts in groups.values())


def _opened(case: Case, cases: list[Case]) -> list[str]:
    """The words of a reading that differ among the readings."""
    return [word for place, word in enumerate(case.words) if len({other.words[place] for other in cases}) > 1]


def _needed_densities(cases: list[Case]) -> list[Explanation]:
    """The density between the two ends at which a reading would hold, where neither end settles it."""
    found = []
    low, high = _liquid_ends()
    for light, heavy in zip(cases[::2], cases[1::2], strict=False):
        if light.words[-1] == "" or light.words[:-1] != heavy.words[:-1]:
            continue
        if {light.verdict(), heavy.verdict()} != {"overstates", "understates"}:
            continue
        one, other = light.ratio(), heavy.ratio()
        share = (1 - one) / (other - one)
        # Grams follow from mL with the density, mL from grams with its inverse: between the ends both are straight.
        inverse = light.dose.millilitres != heavy.dose.millilitres
        density = 1 / (1 / low + share * (1 / high - 1 / low)) if inverse else low + share * (high - low)
        opened = _opened(light, cases)[:-1]
        also = f" with {' and '.join(opened)}" if opened else ""
        found.append(Explanation(f"It holds{also} if a litre weighs {figure(density)} kg.", 1.0, ("density",)))
    return found


def _readings(cases: list[Case]) -> tuple[Reading, ...]:
    made = [
        Reading(
            text=", ".join(_opened(case, cases)),
            claimed=case.claim.claimed,
            computed=case.computed(),
            ratio=case.ratio(),
            unit=case.claim.canonical_unit,
            verdict=case.verdict(),
        )
        for case in cases
    ]
    return tuple(sorted(made, key=lambda reading: (abs(reading.ratio - 1), reading.text)))


def _unjudged(label: Label, missing: tuple[str, ...]) -> Judgement:
    """No verdict; the claim as far as it can be read."""
    claim = label.claims[0]
    closed = len({(other.claimed, other.canonical_unit) for other in label.claims}) == 1
    claimed, unit = (claim.claimed, claim.canonical_unit) if closed else (claim.number, unit_of(claim.written))
    return Judgement("cannot be judged", claimed, None, unit, None, None, None, None, missing)


def _without_contents(label: Label, dose: Dose) -> Judgement:
    """A label that states no contents: what could be in it, or that nothing could."""
    judgement = replace(_unjudged(label, ("what is in it",)), explanations=_plausible(label, dose, None))
    impossible = _impossible(label, dose)
    return judgement if impossible is None else impossible


def _without_amounts(label: Label, dose: Dose, missing: tuple[str, ...]) -> Judgement:
    """A label that names what is in it but not how much: how much there would have to be, where it names one thing."""
    among = label.contents[0].candidates if len(label.contents) == 1 else ()
    judgement = replace(_unjudged(label, missing), explanations=_plausible(label, dose, among))
    impossible = _impossible(label, dose)
    return judgement if impossible is None else impossible


def _plausible(label: Label, dose: Dose, among: tuple[Substance, ...] | None) -> tuple[Explanation, ...]:
    dose = dose if label.density_kg_l is None or not dose.spoon else dose.with_density(label.density_kg_l)
    found = []
    for claim in label.claims:
        how = f" if the figure is {claim.words}" if len(label.claims) > 1 else ""
        for entry in plausible_contents(claim, dose, label.density_kg_l, among):
            found.append(replace(entry, text=f"{entry.text.removesuffix('.')}{how}."))
    return tuple(found)


def _impossible(label: Label, dose: Dose) -> Judgement | None:
    """A judgement where the dose would be too light even if it were nothing but what is claimed."""
    bounds = [(claim, most_possible(claim, dose)) for claim in label.claims]
    if any(most is None or most >= claim.claimed - claim.half for claim, most in bounds):
        return None
    claim, most = bounds[0]
    ratio = (most or 0.0) / claim.claimed
    return Judgement(
        "overstates", claim.claimed, most, claim.canonical_unit, ratio, 100 * (1 - ratio),
        100 * claim.half / claim.claimed, None,
    )  # fmt: skip
