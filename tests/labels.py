"""What the tests of labels share: labels from their own words, weights for arithmetic by hand, random mixtures."""

from __future__ import annotations

from hypothesis import strategies as st

from tapwright.chemistry.dosing.label.claims import NEUTRALISED, RAISED, claims_of, effect_of
from tapwright.chemistry.dosing.label.reading import content_of, density_of, dose_of
from tapwright.chemistry.dosing.label.verdict import Judgement, Label
from tapwright.chemistry.substances import Salt, salt, salts

# By hand from CIAAW abridged weights [g/mol]: Mg 24.305, Ca 40.078, Na 22.990, S 32.06, O 15.999, H 1.008, Cl 35.45, C 12.011.
EPSOM, EPSOM_DRY = 246.466, 120.361  # MgSO4·7H2O and MgSO4
CACL2_2, CACL2_6 = 147.008, 219.068  # CaCl2·2H2O and CaCl2·6H2O
BICARBONATE, THIOSULFATE_5, CL2, SALTPETRE = 84.006, 248.172, 70.90, 101.102
DGH, DKH = 10 / 56.077, 20 / 56.077  # mmol/L and meq/L: 10 mg of CaO (56.077 g/mol) a litre
CACO3 = 100.086


def label(
    effect: str | None, by: str, dose: str, water: str, *contents: tuple[str | None, ...], density: str | None = None
) -> Label:
    """A label from its own words."""
    claims = claims_of(None if effect is None else effect_of(effect, RAISED + NEUTRALISED), by)
    held = tuple(content_of(*map_none(entry)) for entry in contents)
    return Label(claims, held, dose_of(dose, water), None if density is None else density_of(density))


def map_none(entry: tuple[str | None, ...]) -> tuple[str, str | None, str | None]:
    name, amount, purity = (*entry, None, None)[:3]
    assert name is not None
    return name, amount, purity


def codes(judgement: Judgement) -> list[tuple[str, ...]]:
    return [entry.codes for entry in judgement.explanations]


# --- random mixtures ---

EFFECTS = {"hardness": ("dGH", DGH), "alkalinity": ("dKH", DKH)}


def per_gram(entry: Salt, effect: str) -> float:
    return entry.hardness_mmol_per_g() if effect == "hardness" else entry.alkalinity_meq_per_g()


@st.composite
def mixtures(draw: st.DrawFn) -> tuple[str, list[tuple[str, float, float | None]]]:
    """An effect, and one to three salts with their percent and, for some, their purity; one salt at least has the effect."""
    effect = draw(st.sampled_from(sorted(EFFECTS)))
    able = [entry.name for entry in salts().values() if per_gram(entry, effect) > 0]
    names = [draw(st.sampled_from(able))]
    names += draw(st.lists(st.sampled_from(sorted(set(salts()) - set(names))), max_size=2, unique=True))
    percents = [draw(st.integers(5, 33)) for _ in names]
    purities = [draw(st.sampled_from([None, 0.95, 0.99])) for _ in names]
    return effect, list(zip(names, percents, purities, strict=True))


def stated(effect: str, by: str, dose: str, water: str, parts: list[tuple[str, float, float | None]]) -> Label:
    contents = [(name, f"{percent}%", f"{purity:.0%}" if purity else None) for name, percent, purity in parts]
    return label(effect, by, dose, water, *contents)


def forward(effect: str, grams: float, litres: float, parts: list[tuple[str, float, float | None]]) -> float:
    """Degrees by hand: grams of each salt, times what a gram does, over the water."""
    amount = sum(percent / 100 * (purity or 1) * per_gram(salt(name), effect) for name, percent, purity in parts)
    return grams * amount / litres / EFFECTS[effect][1]
