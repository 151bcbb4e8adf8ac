"""A label's own words as records: amounts with the rounding they were written with."""

from __future__ import annotations

from collections.abc import Callable

from tapwright.chemistry.allowed import amount_of, read_within
from tapwright.chemistry.dosing.label.case import Dose
from tapwright.chemistry.dosing.label.verdict import Content
from tapwright.chemistry.dosing.spoons import spoon_ml, spoons_of
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.substances import named
from tapwright.chemistry.units import half_last_digit, number_of, read, unit_of
from tapwright.chemistry.words import quoted

HEAVIEST_G_L = 2000.0
LEAST_SHARE = 1e-9
_EXAMPLE = 'Write "98%" or "61 g/L".'


def dose_of(amount: str, volume: str, where_amount: str = "dose", where_volume: str = "in") -> Dose:
    """'5 g', '5 mL' or '1 teaspoon' in '40 L'.

    Raises BadInput with every fault: nothing or less of either, an unknown unit or spoon.
    """
    _refuse_together(lambda: _volume_l(volume, where_volume), lambda: _amount(amount, where_amount))
    grams, millilitres, spoons, spoon = _amount(amount, where_amount)
    volume_l = _volume_l(volume, where_volume)
    return Dose(volume_l, grams, millilitres, spoon=spoon, spoons=spoons, gallon=_gallon(volume, volume_l))


def _refuse_together(*reads: Callable[[], object]) -> None:
    """Raise what any of the reads refuses as one error."""
    faults: list[Fault] = []
    for read_one in reads:
        try:
            read_one()
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)


def _volume_l(volume: str, where: str) -> float:
    return read_within(volume, "volume", where)


def _amount(amount: str, where: str) -> tuple[float | None, float | None, float, str]:
    """(Grams, millilitres, number of spoons, name of the spoon)."""
    if spoons := spoons_of(amount, where):
        number, spoon = spoons
        return None, number * spoon_ml(spoon), number, spoon
    return *amount_of(amount, where), 0.0, ""


def _gallon(volume: str, volume_l: float) -> str:
    """Which gallon a volume is written in, if any."""
    if "gal" not in unit_of(volume).lower():
        return ""
    us = abs(volume_l / (number_of(volume) * read("1 US gal", "volume")) - 1) < 1e-6
    return "US" if us else "imperial"


def content_of(
    name: str,
    amount: str | None = None,
    purity: str | None = None,
    wheres: tuple[str, str, str] = ("substance", "amount", "purity"),
) -> Content:
    """A substance with its share ('98%', by mass) or strength ('61 g/L') as the label states them; None: not stated.

    Raises BadInput with every fault: unknown substance or hydrate, another unit, nothing or more than all of it.
    """
    _refuse_together(
        lambda: named(name, wheres[0]), lambda: _strength(amount, wheres[1]), lambda: _purity(purity, wheres[2])
    )
    strength, per_volume, rounding = _strength(amount, wheres[1])
    return Content(name, named(name), strength, per_volume, rounding, _purity(purity, wheres[2]))


def _strength(amount: str | None, where: str) -> tuple[float | None, bool, float]:
    """(g per g or per mL, whether per mL, half of the last digit as a share)."""
    if amount is None:
        return None, False, 0.0
    kind = "share" if unit_of(amount, where) == "%" else "strength"
    try:
        strength = read(amount, kind, where)
    except BadInput:
        said = f"{quoted(amount)} is read; percent by mass or grams per litre are wanted."
        raise BadInput.of(where, said, _EXAMPLE) from None
    most = 1.0 if kind == "share" else HEAVIEST_G_L
    if not LEAST_SHARE * most <= strength <= most:
        allowed = "100 %" if kind == "share" else f"{HEAVIEST_G_L:g} g/L"
        raise BadInput.of(where, f"{quoted(amount)} is read; above 0 and up to {allowed} is allowed.", _EXAMPLE)
    rounding = half_last_digit(amount) / number_of(amount)
    # All of it is no rounded figure.
    if kind == "share":
        return strength, False, 0.0 if strength == 1 else rounding
    return strength / 1000, True, rounding


def _purity(purity: str | None, where: str) -> float | None:
    if purity is None:
        return None
    return read_within(purity, "purity", where)


def density_of(text: str, where: str = "density") -> float:
    """Density [kg/L] of a liquid or of a powder as it lies; BadInput outside 0.3 to 2 kg/L."""
    density_kg_l = read(text, "strength", where) / 1000
    if not 0.3 <= density_kg_l <= HEAVIEST_G_L / 1000:
        said = f"{quoted(text)} is read; 0.3 kg/L to {HEAVIEST_G_L / 1000:g} kg/L is allowed."
        raise BadInput.of(where, said, 'Write for example "1.2 kg/L".')
    return density_kg_l
