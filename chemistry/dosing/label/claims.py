"""What a label claims: an effect, a figure with its rounding, and the other ways its unit could be meant."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import Agent, Substance, molar_mass, parse_formula
from tapwright.chemistry.units import figure, half_last_digit, kind_of, number_of, read, unit_of
from tapwright.chemistry.words import quoted

_RAISED_IONS = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")
CONTAINED: tuple[str, ...] = ("nitrate", *_RAISED_IONS)
RAISED: tuple[str, ...] = ("hardness", "alkalinity", *CONTAINED)
NEUTRALISED: tuple[str, ...] = ("chlorine", "chloramine")
_LEAST, _MOST = 1e-6, 1e6  # a figure outside them is a slip of the pen
_ALSO = {"gh": "hardness", "kh": "alkalinity"}
_PPM = ("ppm", "mg/L", "mg/l")
_UNITS = {"hardness": "mmol/L", "alkalinity": "meq/L", "nitrate": "mg/L NO3", "chlorine": "mg/L", "chloramine": "mg/L",
          "ion": "mg/L", "product": "mg/L"}  # fmt: skip


@dataclass(frozen=True)
class Effect:
    """What a dose does to the water.

    kind: hardness, alkalinity, nitrate, chlorine, chloramine (neutralised), ion, or product: the salts themselves, dissolved.
    name: for a sentence.  ion: its formula, for kind ion.
    """

    kind: str
    name: str
    ion: str = ""

    @property
    def unit(self) -> str:
        """The canonical unit."""
        return _UNITS[self.kind]

    @property
    def removes_chlorine(self) -> bool:
        """Whether it is chlorine that is neutralised."""
        return self.kind in NEUTRALISED

    def per_gram(self, substance: Substance) -> float:
        """What one gram of the pure substance does, in the canonical unit times litres (mmol, meq or mg)."""
        if self.kind == "product":
            return 1000.0
        if self.removes_chlorine:
            return 1000 / substance.mass_ratio if isinstance(substance, Agent) else 0.0
        if isinstance(substance, Agent):  # its sodium stays in the water; it hardens nothing
            atoms = parse_formula(substance.formula).get("Na", 0.0) if self.ion == "Na" else 0.0
            return 1000 * atoms * molar_mass("Na") / substance.molar_mass_g_mol
        if self.kind == "hardness":
            return substance.hardness_mmol_per_g()
        if self.kind == "alkalinity":
            return substance.alkalinity_meq_per_g()
        ion = self.ion or "NO3"
        return substance.ions_mmol_per_g().get(ion, 0.0) * molar_mass(ion)

    def most_per_gram(self) -> float | None:
        """What one gram of anything at all could do: all of it the ion itself; None where no such bound is known."""
        if self.kind == "hardness":
            return 1000 / molar_mass("Mg")
        if self.kind == "alkalinity":
            return 1000 / molar_mass("OH")
        return None if self.removes_chlorine else 1000.0


@dataclass(frozen=True)
class Claim:
    """One way to read the figure a label claims.

    number, half_step: as written, and half of its last digit, in the label's unit.  unit: that unit, spelled out.
    factor: canonical units to one of it.  words: what the figure is counted in, for a sentence.  written: the label's
    own text, such as '120 ppm'.
    by_product: 'mL' or 'g' where the label says what so much of the product itself contains, not what it does to water.
    """

    effect: Effect
    number: float
    half_step: float
    unit: str
    factor: float
    words: str
    written: str
    by_product: str = ""

    @property
    def claimed(self) -> float:
        """The figure in the canonical unit."""
        return self.number * self.factor

    @property
    def half(self) -> float:
        """Half of its last digit in the canonical unit."""
        return self.half_step * self.factor

    @property
    def canonical_unit(self) -> str:
        """The unit of `claimed`; mg per mL or g of product where that is what the label states."""
        return f"mg/{self.by_product}" if self.by_product else self.effect.unit

    def shown(self, value: float) -> str:
        """A canonical value in the label's own unit."""
        return f"{figure(value / self.factor)} {self.unit}"


_HARDNESS, _ALKALINITY = Effect("hardness", "hardness"), Effect("alkalinity", "alkalinity")
_NITROGEN = {"NO3": 1.0, "N": molar_mass("NO3") / molar_mass("N")}
_NITRATE, PRODUCT = Effect("nitrate", "nitrate"), Effect("product", "what is dissolved")


@dataclass(frozen=True)
class _Way:
    """A unit a figure can be in: its effect, its spelling, and words for a sentence.

    family: what is confused with what; ways of one family stand for one another.
    """

    family: str
    effect: Effect
    spelling: str
    words: str

    @property
    def factor(self) -> float:
        """Canonical units to one of its own."""
        kind = "chlorine" if self.effect.removes_chlorine else self.effect.kind
        return 1.0 if kind == "product" else read(f"1 {self.spelling}", kind)

    def claim(self, written: Claim) -> Claim:
        """The same figure, read this way."""
        unit = "mg/L of salt" if self.effect.kind == "product" else self.spelling
        return replace(written, effect=self.effect, unit=unit, factor=self.factor, words=self.words)


def _ion(name: str) -> Effect:
    return Effect("ion", name, reference.table("ions")[name]["formula"])


def _ways(effect: Effect) -> list[_Way]:
    """Every way in which a figure for this effect is written, or mistaken for another."""
    whole = _Way("counted_as", PRODUCT, "mg/L", "mg/L of the dissolved salt itself")
    caco3 = _Way("counted_as", _HARDNESS, "mg/L CaCO3", "mg/L as CaCO3")
    ions = [_Way("counted_as", _ion(name), "mg/L", f"mg/L of {name}") for name in ("calcium", "magnesium")]
    if effect.kind == "hardness":
        degrees = {"dGH": "German degrees", "°fH": "French degrees", "°eH": "English degrees",
                   "gpg": "grains per US gallon"}  # fmt: skip
        moles = {"mmol/L": "mmol/L", "meq/L": "meq/L"}
        return [
            *(_Way("degree", effect, spelling, words) for spelling, words in degrees.items()),
            *(_Way("equivalents", effect, spelling, words) for spelling, words in moles.items()),
            caco3, *ions, whole,
        ]  # fmt: skip
    if effect.kind == "alkalinity":
        degrees = {"dKH": "German degrees", "°fH": "French degrees", "°eH": "English degrees"}
        masses = {"mg/L CaCO3": "mg/L as CaCO3", "mg/L HCO3": "mg/L as bicarbonate"}
        return [
            *(_Way("degree", effect, spelling, words) for spelling, words in degrees.items()),
            *(_Way("counted_as", effect, spelling, words) for spelling, words in masses.items()),
            whole,
        ]
    if effect.kind == "nitrate":
        masses = {"mg/L NO3": "mg/L of nitrate (NO3)", "mg/L N": "mg/L of nitrogen (N)"}
        return [*(_Way("counted_as", effect, spelling, words) for spelling, words in masses.items()), whole]
    if effect.kind == "chloramine":
        masses = {"mg/L Cl2": "mg/L as chlorine (Cl2)", "mg/L NH2Cl": "mg/L of monochloramine itself"}
        return [_Way("counted_as", effect, spelling, words) for spelling, words in masses.items()]
    if effect.kind == "ion":
        own = _Way("counted_as", effect, "mg/L", f"mg/L of {effect.name}")
        return [own, *([caco3] if effect.ion in ("Ca", "Mg") else []), whole]
    return []


def effect_of(name: str, allowed: tuple[str, ...], where: str = "") -> Effect:
    """The effect a label's word names, of those allowed; BadInput with the allowed words."""
    word = _ALSO.get(name.strip().lower(), name.strip().lower().replace("sulphate", "sulfate"))
    if word not in allowed:
        said = f"{quoted(name)} is read; {', '.join(allowed[:-1])} or {allowed[-1]} is wanted."
        raise BadInput.of(where, said, f'Write "{allowed[0]}".')
    return _ion(word) if word in _RAISED_IONS else Effect(word, word)


def claims_of(effect: Effect | None, by: str, where: str = "") -> tuple[Claim, ...]:
    """Every way to read a figure such as '3 dGH' or '120 ppm' claimed for an effect; one where nothing is left open.

    effect: None where the label names none, which only 'ppm' and 'mg/L' can leave open.
    Raises BadInput for a figure that cannot be read, has another kind of unit, or is not above 0.
    """
    in_ppm = kind_of(by) is None and unit_of(by, where) in _PPM
    if effect is None:
        if not in_ppm:
            said = f"{quoted(by)} does not say what is raised, neutralised or contained."
            raise BadInput.of(where, said, f'Write for example raises = "hardness", by = "{by}".')
        found = [way for other in (_HARDNESS, _ALKALINITY, _NITRATE, *map(_ion, _RAISED_IONS)) for way in _ways(other)]
        # The same spelling and effect can come up for several effects, and degrees are no ppm.
        ways = {(way.effect, way.spelling): way for way in found if way.spelling.startswith("mg/L")}
        return tuple(way.claim(_bare(by, way.effect, where)) for way in ways.values())
    if in_ppm and effect.kind in ("hardness", "alkalinity", "nitrate"):
        ways_in_mg = [way for way in _ways(effect) if way.spelling.startswith("mg/L")]
        return tuple(way.claim(_bare(by, way.effect, where)) for way in ways_in_mg)
    kind = "chlorine" if effect.removes_chlorine else effect.kind
    read(by, kind, where)
    unit = unit_of(by)
    bare = replace(_bare(by, effect, where), unit=unit, factor=read(f"1 {unit}", kind))
    near = next((way for way in _ways(effect) if way.effect == effect and _same(way.factor, bare.factor)), None)
    return (replace(bare, words=near.words if near else unit),)


def contained(effect: Effect, by: str, where: str = "") -> tuple[Claim, ...]:
    """Every way to read how much of an ion the product itself contains: '37 g/L', '9.9 %', '8 g/L N'.

    Counted as if one mL (or one g, for a percentage) went into one litre: mg per mL, or per g, of product.
    """
    bare = _bare(by, effect, where)
    unit, _, counted = unit_of(by, where).partition(" ")
    share = unit == "%"
    factor = 1000 * read(f"1 {unit}", "share") if share else read(f"1 {unit}", "strength", where)
    if share and bare.number > 100:
        raise BadInput.of(where, f"{quoted(by)} is read; no more than 100 % can be in it.", 'Write for example "9.9%".')
    base = replace(bare, unit=unit, factor=factor, words=f"{unit} of {effect.name}", by_product="g" if share else "mL")
    choices = _NITROGEN if effect.kind == "nitrate" else {"": 1.0}
    if counted and counted not in choices:
        said = f"{quoted(counted)} in {quoted(by)} is read; {' or '.join(filter(None, choices)) or 'the bare unit'} is wanted."
        raise BadInput.of(where, said, f'Write for example "37 {unit}{" NO3" if effect.kind == "nitrate" else ""}".')
    names = [name for name in choices if counted in ("", name)]
    return tuple(_counted(base, name, choices[name]) for name in names)


def _counted(claim: Claim, name: str, factor: float) -> Claim:
    """A claim of what the product contains, its figure counted as the named substance."""
    if not name:
        return claim
    unit = claim.unit.split()[0]
    return replace(claim, unit=f"{unit} {name}", factor=claim.factor * factor, words=f"{unit} of {name}")


def other_readings(claim: Claim) -> list[tuple[str, Claim]]:
    """The same figure in every other unit that is confused with the label's: (what is confused, the claim so read).

    What is confused: degree, equivalents, nitrogen or counted_as.
    """
    if claim.by_product:
        return _contained_otherwise(claim)
    ways = _ways(claim.effect)
    own = next((way for way in ways if way.effect == claim.effect and _same(way.factor, claim.factor)), None)
    if own is None:
        return []
    others = [way for way in ways if way.family == own.family and way is not own]
    return [(_confusion(own, way), way.claim(claim)) for way in others]


def _confusion(own: _Way, other: _Way) -> str:
    nitrogen = own.effect.kind == other.effect.kind == "nitrate"
    return "nitrogen" if nitrogen else own.family


def _contained_otherwise(claim: Claim) -> list[tuple[str, Claim]]:
    if claim.effect.kind != "nitrate":
        return []
    written = claim.unit.split()[1]
    (other,) = (name for name in _NITROGEN if name != written)
    return [("nitrogen", _counted(claim, other, _NITROGEN[other] / _NITROGEN[written]))]


def _bare(by: str, effect: Effect, where: str) -> Claim:
    """The figure without its unit; BadInput where it is not above 0."""
    number = number_of(by, where)
    if not number > 0:
        raise BadInput.of(where, f"{quoted(by)} is read; more than nothing is wanted.", "Write what the label says.")
    if not _LEAST <= number <= _MOST:
        raise BadInput.of(
            where, f"{quoted(by)} is read; {_LEAST:.6f} to {_MOST:.0f} is allowed.", "Write what the label says."
        )
    return Claim(effect, number, half_last_digit(by), "", 1.0, "", by)


def _same(one: float, other: float) -> bool:
    return abs(one / other - 1) < 1e-6
