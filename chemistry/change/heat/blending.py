"""Hot and cold tap into a tote: how much of each, and what temperature comes of it. Mass and enthalpy, not volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.record import Record
from tapwright.chemistry.water.mixing import mix_heat
from tapwright.chemistry.water.properties import Number, density_kg_l, enthalpy_kj_kg


@dataclass(frozen=True)
class Vessel:
    """What stands in the tote, and the tote itself, before the taps run.

    residual_l at residual_c: water already in it.  tub_mass_kg at tub_c: the plastic that takes its share of the heat.
    tub_capacity_kj_kg_k: of polyethylene, tables/practice.csv.
    """

    residual_l: float = 0.0
    residual_c: float = 20.0
    tub_mass_kg: float = 0.0
    tub_c: float = 20.0
    tub_capacity_kj_kg_k: float = reference.value("practice", "tub_heat_capacity")

    @property
    def tub_kj_k(self) -> float:
        """Heat capacity of the tub [kJ/K]."""
        return self.tub_mass_kg * self.tub_capacity_kj_kg_k


@dataclass(frozen=True, repr=False)
class Blend(Record):
    """hot_l and cold_l at their own temperatures; the water in the tote: temperature_c, volume_l; hot_share of the tap
    water by volume."""

    hot_l: float
    cold_l: float
    temperature_c: float
    hot_share: float
    volume_l: float


EMPTY = Vessel()


def blend_of_volumes(hot_l: Number, cold_l: Number, hot_c: Number, cold_c: Number, vessel: Vessel = EMPTY) -> Blend:
    """What comes of given volumes [L] of hot and cold tap at hot_c and cold_c [degC]; scalars or arrays.

    Raises BadInput when hot is not hotter than cold, a volume is negative or nothing is poured.
    """
    _refuse_impossible(hot_c, cold_c, vessel)
    if np.any(np.minimum(hot_l, cold_l) < 0) or np.any(np.add(hot_l, cold_l) <= 0):
        raise BadInput.of(
            "volume", f"{hot_l} L hot and {cold_l} L cold.", "Give 0 L or more of each, and not 0 of both."
        )
    temperature_c, volume_l = _poured(hot_l, cold_l, hot_c, cold_c, vessel)
    return Blend(hot_l, cold_l, temperature_c, hot_l / (hot_l + cold_l), volume_l)  # type: ignore[arg-type]


def blend_to_target(volume_l: Number, target_c: Number, hot_c: Number, cold_c: Number, vessel: Vessel = EMPTY) -> Blend:
    """Hot and cold [L] that make `volume_l` in the tote, residual water included, at target_c [degC].

    Mass and heat are two linear equations in the two masses. Raises BadInput as `blend_of_volumes`; NoAnswer with the
    temperatures that can be reached when the target lies outside them.
    """
    _refuse_impossible(hot_c, cold_c, vessel)
    if np.any(np.asarray(volume_l) <= vessel.residual_l):
        raise BadInput.of(
            "volume",
            f"{volume_l} L in all with {vessel.residual_l:g} L already in the tote leaves nothing to draw.",
            "Give the volume wanted in the tote in all.",
        )
    residual_kg = vessel.residual_l * density_kg_l(vessel.residual_c)
    drawn_kg = volume_l * density_kg_l(target_c) - residual_kg
    heat_kj = (
        (drawn_kg + residual_kg) * enthalpy_kj_kg(target_c)
        - residual_kg * enthalpy_kj_kg(vessel.residual_c)
        + vessel.tub_kj_k * (target_c - vessel.tub_c)
    )
    hot_h, cold_h = enthalpy_kj_kg(hot_c), enthalpy_kj_kg(cold_c)
    hot_kg = (heat_kj - drawn_kg * cold_h) / (hot_h - cold_h)
    _refuse_unreachable(hot_kg / drawn_kg, volume_l, target_c, hot_c, cold_c, vessel)
    hot_kg = np.clip(hot_kg, 0.0, drawn_kg)
    hot_l, cold_l = hot_kg / density_kg_l(hot_c), (drawn_kg - hot_kg) / density_kg_l(cold_c)
    return Blend(_plain(hot_l), _plain(cold_l), target_c, _plain(hot_l / (hot_l + cold_l)), volume_l)  # type: ignore[arg-type]


def scald_findings(hot_c: float) -> list[Finding]:
    """The caution that hot tap water burns, with the times known just below and above this temperature."""
    limit = reference.value("limits", "scald_from")
    if hot_c < limit:
        return []
    rows = list(reference.table("scald").values())
    above = next((at for at, row in enumerate(rows) if float(row["temperature_c"]) > hot_c), len(rows))
    near = rows[max(above - 1, 0) : above + 1]
    times = " and ".join(f"{_spoken(float(row['value']))} at {float(row['temperature_c']):.0f} °C" for row in near)
    text = (
        f"The hot tap at {hot_c:.0f} °C scalds: an adult burns deeply in {times}, a child faster. "
        "Run cold first, keep hands and children away."
    )
    return [Finding("caution", "scald", text, hot_c, limit, "degC", reference.cited(near[0]))]


def _spoken(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} minutes"


def _poured(hot_l: Number, cold_l: Number, hot_c: Number, cold_c: Number, vessel: Vessel) -> tuple[Number, Number]:
    return mix_heat(
        [hot_l, cold_l, vessel.residual_l],  # type: ignore[list-item]
        [hot_c, cold_c, vessel.residual_c],  # type: ignore[list-item]
        solid_kj_k=vessel.tub_kj_k,
        solid_c=vessel.tub_c,
    )


def _refuse_impossible(hot_c: Number, cold_c: Number, vessel: Vessel) -> None:
    if np.any(np.asarray(hot_c) <= np.asarray(cold_c)):
        raise BadInput.of(
            "hot", f"hot at {hot_c} °C is not hotter than cold at {cold_c} °C.", "Swap or read them again."
        )
    if vessel.residual_l < 0 or vessel.tub_mass_kg < 0:
        raise BadInput.of("tote", "residual water and the mass of the tub cannot be negative.", "Give 0 or more.")


def _refuse_unreachable(
    hot_share: Number, volume_l: Number, target_c: Number, hot_c: Number, cold_c: Number, vessel: Vessel
) -> None:
    # A target equal to one tap's temperature may miss it by rounding.
    if np.all((np.asarray(hot_share) >= -1e-9) & (np.asarray(hot_share) <= 1 + 1e-9)):
        return
    drawn_l = np.max(volume_l) - vessel.residual_l
    lowest = _poured(0.0, drawn_l, float(np.max(hot_c)), float(np.min(cold_c)), vessel)[0]
    highest = _poured(drawn_l, 0.0, float(np.max(hot_c)), float(np.min(cold_c)), vessel)[0]
    raise NoAnswer.of(
        "target",
        f"{_said(target_c)} °C cannot be made of hot at {_said(hot_c)} °C and cold at {_said(cold_c)} °C "
        f"({'with what stands in the tote, ' if vessel != EMPTY else ''}"
        f"{lowest:.1f} to {highest:.1f} °C can).",
        "Change the target, or the hot-water setting.",
    )


def _said(temperature_c: Number) -> str:
    """A temperature as it is read off, or the span of several."""
    low, high = float(np.min(temperature_c)), float(np.max(temperature_c))
    return f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"


def _plain(value: Number) -> Number:
    """A float again where numpy made a scalar of its own."""
    return value if isinstance(value, np.ndarray) else float(value)
