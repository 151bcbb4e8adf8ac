"""Salts and reducing agents: formula with hydrate -> molar mass, ions per gram, chlorine per gram.

Atomic weights are the CIAAW abridged standard weights of tables/atomic_weights.csv.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import nearest, quoted

_DOTS = "·•∙⋅*"
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
# A coefficient may be decimal (0.5 H2O), a subscript may not: that is what tells a hydrate dot from a decimal point.
_COEFFICIENT = re.compile(r"\d+(?:\.\d+)?")
_TOKEN = re.compile(r"([A-Z][a-z]?|\(|\))(\d*)")


def parse_formula(formula: str) -> dict[str, float]:
    """Number of atoms of every element in a formula; hydrate dots as '·' or '.', brackets allowed.

    formula: such as 'MgSO4·7H2O', 'CaSO4.0.5H2O' or 'Ca(OH)2'.  Raises BadInput at what cannot be read.
    """
    text = formula.strip().translate(_SUBSCRIPTS).replace("½", "0.5")
    for dot in _DOTS:
        text = text.replace(dot, "·")
    atoms: defaultdict[str, float] = defaultdict(float)
    position = 0
    while position < len(text):
        factor, position = _coefficient(text, position)
        start = position
        part, position = _part(text, position, formula)
        if not part:
            raise _unreadable(formula, start, "an element is wanted")
        for element, number in part.items():
            atoms[element] += number * factor
        if position < len(text):
            position += 1  # the dot
            if position == len(text):
                raise _unreadable(formula, position, "nothing follows the dot")
    if not atoms:
        raise BadInput.of("formula", f"{quoted(formula)} holds no element.", "Write for example 'MgSO4·7H2O'.")
    return dict(atoms)


def _coefficient(text: str, position: int) -> tuple[float, int]:
    match = _COEFFICIENT.match(text, position)
    return (float(match[0]), match.end()) if match else (1.0, position)


def _part(text: str, position: int, formula: str) -> tuple[dict[str, float], int]:
    """Atoms of one part, from `position` up to a dot or the end; brackets nest on a stack."""
    stack: list[defaultdict[str, float]] = [defaultdict(float)]
    while position < len(text) and text[position] not in "·.":
        match = _TOKEN.match(text, position)
        if not match:
            raise _unreadable(formula, position, "an element, a number or a bracket is wanted")
        symbol, number = match[1], int(match[2] or 1)
        if symbol == "(":
            stack.append(defaultdict(float))
        elif symbol == ")":
            if len(stack) == 1:
                raise _unreadable(formula, position, "this bracket was never opened")
            if not stack[-1]:
                raise _unreadable(formula, position, "the bracket is empty")
            for element, count in stack.pop().items():
                stack[-1][element] += count * number
        elif symbol in reference.table("atomic_weights"):
            stack[-1][symbol] += number
        else:
            raise _unreadable(formula, position, f"{quoted(symbol)} is not an element of tables/atomic_weights.csv")
        position = match.end()
    if len(stack) > 1:
        raise _unreadable(formula, position, "a bracket is not closed")
    return stack[0], position


def _unreadable(formula: str, position: int, why: str) -> BadInput:
    return BadInput.of(
        "formula",
        f"{quoted(formula)} cannot be read at character {position + 1}: {why}.",
        "Write for example 'MgSO4·7H2O'.",
    )


@cache
def molar_mass(formula: str) -> float:
    """Molar mass [g/mol] of a formula, water of hydration included."""
    return sum(count * reference.value("atomic_weights", element) for element, count in parse_formula(formula).items())


# Ions that agents leave behind and that a Water does not follow; the others stand in the table.
_UNFOLLOWED_CHARGES = {"S4O6": -2}


@cache
def _ion_charges() -> Mapping[str, int]:
    return {**_UNFOLLOWED_CHARGES, **{row["formula"]: int(row["charge"]) for row in reference.table("ions").values()}}


def ion_charge(symbol: str) -> int:
    """Charge number of an ion by its formula, such as 'SO4' -> -2."""
    return _ion_charges()[symbol]


_BASES = {"HCO3": 1, "CO3": 2, "OH": 1}
_CARBONATES = ("HCO3", "CO3")


@dataclass(frozen=True, eq=False)  # one object per salt of the table: the same is the same
class Salt:
    """A salt as it stands on the shelf.

    name, formula: with its hydrate.  molar_mass_g_mol.  ions: ions per formula unit, by ion formula.
    gentle: whether it raises alkalinity, if at all, without raising pH far (bicarbonates do, carbonates do not).
    note: how it wants to be handled; may be empty.
    """

    name: str
    formula: str
    molar_mass_g_mol: float
    ions: Mapping[str, float]
    gentle: bool = True
    note: str = ""

    def ions_mmol_per_g(self) -> dict[str, float]:
        """Millimoles of every ion in one gram of the pure salt."""
        return {ion: 1000 * number / self.molar_mass_g_mol for ion, number in self.ions.items()}

    def hardness_mmol_per_g(self) -> float:
        """Millimoles of calcium and magnesium in one gram."""
        per_gram = self.ions_mmol_per_g()
        return per_gram.get("Ca", 0.0) + per_gram.get("Mg", 0.0)

    def alkalinity_meq_per_g(self) -> float:
        """Milliequivalents of alkalinity in one gram."""
        return sum(_BASES.get(ion, 0) * amount for ion, amount in self.ions_mmol_per_g().items())

    def carbon_mmol_per_g(self) -> float:
        """Millimoles of inorganic carbon in one gram."""
        return sum(amount for ion, amount in self.ions_mmol_per_g().items() if ion in _CARBONATES)


@dataclass(frozen=True)
class Agent:
    """A reducing agent that turns chlorine into chloride.

    moles_per_mole_cl2: moles of agent per mole of Cl2 on the planned route.
    products: ions left behind per mole of Cl2.  surplus_alkalinity: what a mole left over does to alkalinity [eq], once
    the oxygen in the water has had it where that is quick.  oxygen_moles: moles of O2 one mole can take up, and how fast
    (`oxygen_pace`, fast or slow).  on_chloramine: seconds, minutes or unclear.
    dose_from: `stoichiometry`, or `label` where the stoichiometric figure is a lower bound and no dose.
    """

    name: str
    formula: str
    molar_mass_g_mol: float
    moles_per_mole_cl2: float
    products: Mapping[str, float]
    surplus_alkalinity: float
    oxygen_moles: float
    oxygen_pace: str
    on_chloramine: str
    dose_from: str
    note: str = ""

    @property
    def mass_ratio(self) -> float:
        """Grams of pure agent per gram of chlorine (as Cl2)."""
        return self.moles_per_mole_cl2 * self.molar_mass_g_mol / molar_mass("Cl2")

    @property
    def oxygen_ratio(self) -> float:
        """Grams of oxygen one gram of the agent can take up."""
        return self.oxygen_moles * molar_mass("O2") / self.molar_mass_g_mol

    def alkalinity_meq_per_mmol_cl2(self, *, as_chloramine: bool) -> float:
        """Change of alkalinity [meq] per millimole of Cl2 neutralised.

        The charge the products leave behind: HOCl is the reference for free chlorine; monochloramine leaves
        one ammonium besides.
        """
        left = sum(number * ion_charge(ion) for ion, number in self.products.items())
        return left + (1.0 if as_chloramine else 0.0)


Substance = Salt | Agent


@cache
def salts() -> Mapping[str, Salt]:
    """Every salt of tables/salts.csv by name."""
    return MappingProxyType({name: _salt_of(name, row) for name, row in reference.table("salts").items()})


def _salt_of(name: str, row: reference.Row) -> Salt:
    formula = row["formula"]
    return Salt(name, formula, molar_mass(formula), _amounts(row["ions"]), row["gentle"] == "yes", row["note"])


@cache
def agents() -> Mapping[str, Agent]:
    """Every reducing agent of tables/agents.csv by name."""
    return MappingProxyType({name: _agent_of(name, row) for name, row in reference.table("agents").items()})


def _agent_of(name: str, row: reference.Row) -> Agent:
    return Agent(
        name=name,
        formula=row["formula"],
        molar_mass_g_mol=molar_mass(row["formula"]),
        moles_per_mole_cl2=float(row["moles_per_mole_cl2"]),
        products=_amounts(row["products"]),
        surplus_alkalinity=float(row["surplus_alkalinity"]),
        oxygen_moles=float(row["oxygen_moles"]),
        oxygen_pace=row["oxygen_pace"],
        on_chloramine=row["on_chloramine"],
        dose_from=row["dose_from"],
        note=row["note"],
    )


@cache
def nitrates() -> Mapping[str, Salt]:
    """Every nitrate of tables/nitrates.csv by name: what a fertiliser's label can hold, never a salt to harden with."""
    return MappingProxyType({name: _salt_of(name, row) for name, row in reference.table("nitrates").items()})


@cache
def substances() -> Mapping[str, Substance]:
    """Every salt, nitrate and reducing agent by name."""
    return MappingProxyType({**salts(), **nitrates(), **agents()})


def named(name: str, where: str = "substance") -> tuple[Substance, ...]:
    """Every substance a name can mean: one, or each hydrate where the name leaves the hydrate open.

    Raises BadInput with the nearest known names.
    """
    folded = _folded(name)
    known = {
        spelled: key for table_name in ("salts", "nitrates", "agents") for spelled, key in _names(table_name).items()
    }
    if key := known.get(folded):
        return (substances()[key],)
    if hydrates := tuple(entry for key, entry in substances().items() if key.startswith(f"{folded} ")):
        return hydrates
    near = dict.fromkeys(known[choice] for choice in nearest(folded, known, n=3, cutoff=0.4))
    hint = f"Did you mean {' or '.join(repr(key) for key in near)}?" if near else ""
    raise BadInput.of(where, f"{quoted(name)} is not a salt or neutraliser known here.", hint)


def anhydrous_formula(substance: Substance) -> str:
    """Its formula without crystal water, such as 'MgSO4'."""
    return substance.formula.split("·")[0]


def hydrates_of(substance: Substance) -> tuple[Substance, ...]:
    """The same substance with every amount of crystal water known here, itself among them, lightest first."""
    bare = anhydrous_formula(substance)
    same = (entry for entry in substances().values() if anhydrous_formula(entry) == bare)
    return tuple(sorted(same, key=lambda entry: entry.molar_mass_g_mol))


def salt(name: str, where: str = "salt") -> Salt:
    """The salt of that name, formula or other common name; BadInput names the nearest known ones."""
    return salts()[_find("salts", "a salt", name, where)]


def agent(name: str, where: str = "agent") -> Agent:
    """The reducing agent of that name, formula or other common name; BadInput names the nearest known ones."""
    return agents()[_find("agents", "a neutraliser", name, where)]


def _amounts(text: str) -> Mapping[str, float]:
    """'Ca 1; Cl 2' -> {'Ca': 1.0, 'Cl': 2.0}."""
    pairs = (entry.split() for entry in text.split(";"))
    return {ion: float(number) for ion, number in pairs}  # a plain mapping: records that hold it can be copied


@cache
def _names(table_name: str) -> Mapping[str, str]:
    """Every way to name a substance, folded -> its key."""
    names: dict[str, str] = {}
    for key, row in reference.table(table_name).items():
        also = [other.strip() for other in row["also"].split(";") if other.strip()]
        for name in (key, row["formula"], row["formula"].replace("·", "."), *also):
            names[_folded(name)] = key
    return names


def _folded(name: str) -> str:
    """One spelling for upper and lower case, British and American sulph/sulf, and hydrate dots."""
    folded = " ".join(name.lower().translate(_SUBSCRIPTS).split()).replace("sulph", "sulf")
    for dot in _DOTS:
        folded = folded.replace(dot, "·")
    return folded


def _find(table_name: str, noun: str, name: str, where: str) -> str:
    names = _names(table_name)
    if key := names.get(_folded(name)):
        return key
    hydrates = [key for key in reference.table(table_name) if key.startswith(f"{_folded(name)} ")]
    if len(hydrates) > 1:
        choices = " or ".join(f"'{key}'" for key in hydrates)
        hint = f"Read the label and write {choices}."
        raise BadInput.of(where, f"{quoted(name)} does not say which hydrate; their doses differ by up to half.", hint)
    near = nearest(_folded(name), names, n=3, cutoff=0.4) or list(names)[:3]
    choices = " or ".join(f"'{key}'" for key in dict.fromkeys(names[choice] for choice in near))
    raise BadInput.of(where, f"{quoted(name)} is not {noun} known here.", f"Name it with its hydrate: {choices}?")
