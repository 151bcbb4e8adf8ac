"""One way to read a label, with nothing left open: what its dose does, and how sure the label's own figures are."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.label.claims import Claim
from tapwright.chemistry.dosing.spoons import bulk_density_kg_l
from tapwright.chemistry.substances import Substance


@dataclass(frozen=True)
class Part:
    """One substance in the product.

    strength: grams in one gram of product (per_volume False) or in one mL of it (True).
    rounding: half of the last digit written, as a share.  purity: share; None where the label does not state it.
    """

    substance: Substance
    strength: float
    per_volume: bool
    rounding: float = 0.0
    purity: float | None = None


@dataclass(frozen=True)
class Dose:
    """What one dose is: grams or mL, in a volume of water.

    grams, millilitres: one of them, or both where a density joins them.  spread: how far the grams can be off, as a
    share.  spoon: its name, where the label doses by it, and `spoons` how many.  gallon: 'US' or 'imperial', where the
    label states the water in gallons.
    """

    volume_l: float
    grams: float | None = None
    millilitres: float | None = None
    spread: float = 0.0
    spoon: str = ""
    spoons: float = 0.0
    gallon: str = ""

    def with_density(self, density_kg_l: float) -> Dose:
        """With grams and mL both."""
        if self.grams is None and self.millilitres is not None:
            return replace(self, grams=self.millilitres * density_kg_l)
        if self.millilitres is None and self.grams is not None:
            return replace(self, millilitres=self.grams / density_kg_l)
        return self


@dataclass(frozen=True)
class Case:
    """A label read one way: its claim, its parts in the order of their names, its dose, how the reading is put in words."""

    claim: Claim
    parts: tuple[Part, ...]
    dose: Dose
    density_kg_l: float | None = None
    words: tuple[str, ...] = ()

    def _grams(self, part: Part) -> float:
        """Pure grams of a part in one dose."""
        amount = self.dose.millilitres if part.per_volume else self.dose.grams
        if amount is None:
            raise ValueError("a case with an open density was asked for its grams")
        return amount * part.strength * (1.0 if part.purity is None else part.purity)

    def effects(self) -> list[tuple[Part, float]]:
        """What every part does, in the canonical unit."""
        effect = self.claim.effect
        return [(part, self._grams(part) * effect.per_gram(part.substance) / self.dose.volume_l) for part in self.parts]

    def computed(self) -> float:
        """What the dose can do, in the claim's canonical unit."""
        return sum(share for _, share in self.effects())

    def ratio(self) -> float:
        """What the dose can do, to what the label claims."""
        return self.computed() / self.claim.claimed

    def tolerance(self) -> float:
        """How far the ratio may be from 1 for the label to agree: rounding, purity and the spoon, added up.

        A figure of one digit is taken for no coarser than a quarter of it; and what a label says of chlorine is taken at its
        word, as a dose that leaves any kills.
        """
        unsure = sum(share * (part.rounding + _purity_tolerance(part)) for part, share in self.effects())
        unsure += self.computed() * self.dose.spread
        rounding = min(self.claim.half, reference.value("label_tolerance", "coarse") / 100 * self.claim.claimed)
        if self.claim.effect.kind in ("chlorine", "chloramine"):
            rounding = 0.0
        return (rounding + unsure) / self.claim.claimed

    def verdict(self) -> str:
        """agrees, overstates or understates."""
        if agrees(self.ratio(), self.tolerance()):
            return "agrees"
        return "overstates" if self.ratio() < 1 else "understates"


def agrees(ratio: float, tolerance: float) -> bool:
    """Whether a ratio is within the tolerance of 1; on its edge it is."""
    return abs(ratio - 1) <= tolerance + 1e-9


def powder_kg_l(parts: tuple[Part, ...], where: str = "") -> tuple[float, float]:
    """Lowest and highest bulk density [kg/L] of a powder of these parts, each lying as it does by itself.

    Raises BadInput for a part whose bulk density is not known.
    """
    ends = [bulk_density_kg_l(part.substance.name, where) for part in parts]
    whole = sum(part.strength for part in parts)
    low, high = (
        whole / sum(part.strength / density[end] for part, density in zip(parts, ends, strict=True)) for end in (0, 1)
    )
    return low, high


def _purity_tolerance(part: Part) -> float:
    key = "purity_open" if part.purity is None else "purity_stated"
    return reference.value("label_tolerance", key) / 100
