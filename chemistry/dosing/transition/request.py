"""A request from one water to another: what is asked, what is told, and what follows without any programme."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.bands import Standing, standings, value_of
from tapwright.chemistry.dosing.recipe.cupboard import Deionised
from tapwright.chemistry.dosing.transition.multistage import Limits
from tapwright.chemistry.errors import BadInput, Fault, NoAnswer
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.record import Record
from tapwright.chemistry.water.composition import Water, dgh_per_mmol
from tapwright.chemistry.water.constants import HIGHEST_C, LOWEST_C
from tapwright.chemistry.water.equilibrium import at_air
from tapwright.chemistry.water.target import ANY, Band, Target
from tapwright.chemistry.words import quoted

MOST_CHANGES = 40
ANYTHING = Target("anything", ANY, ANY)


@dataclass(frozen=True)
class TransitionRequest:
    """What is asked: from the tank's water to the target's bands.

    tank: as it is; volume_l: its live water.  source: what refills are made of.  share: changed each time.  target: bands
    of the tank in the end.  limits: of one change.  step_g: of the scale (0: any amount).  refill: bands of every refill.
    deionised: at hand for every refill.  evaporated_share: of the tank, between two changes, topped off with `top_off`
    ('source' or 'deionised').  temperature_c: wanted in the end; None for the tank's own.  times_air: CO2 the tank rests
    with, over outdoor air; room_times_air: of the room.
    """

    tank: Water
    volume_l: float
    source: Water
    share: float
    target: Target
    limits: Limits
    step_g: float = 0.0
    refill: Target = ANYTHING
    deionised: Deionised | None = None
    evaporated_share: float = 0.0
    top_off: str = "deionised"
    temperature_c: float | None = None
    times_air: float = 1.0
    room_times_air: float = 1.0

    def __post_init__(self) -> None:
        largest = reference.value("limits", "largest_share") / 100
        faults = []
        if not 0 < self.volume_l < math.inf:
            faults.append(Fault("volume", f"{self.volume_l:g} L is read; more than 0 is allowed.", 'Write "400 L".'))
        if not 0 < self.share <= largest:
            said = f"{self.share:.0%} is read; more than 0 % and up to {largest:.0%} is allowed."
            faults.append(Fault("change share", said, "Write 25%."))
        if not 0 <= self.evaporated_share < 1:
            said = f"{self.evaporated_share:.0%} of the tank is read; 0 % to less than 100 % is allowed."
            faults.append(Fault("evaporation", said, 'Write "5 L".'))
        if self.top_off not in ("source", "deionised"):
            faults.append(Fault("top-off", f"{quoted(self.top_off)} is read.", "Write source or deionised."))
        for name in ("hardness_mmol_l", "alkalinity_meq_l", "ph", "conductivity", "temperature_c"):
            if not getattr(self.limits, name) > 0:
                faults.append(Fault("limit", f"{name} is {getattr(self.limits, name):g}; more than 0 is allowed."))
        if faults:
            raise BadInput(faults)


@dataclass(frozen=True)
class Change:
    """One change: grams of salts and litres of deionised water in its refill, and the waters.

    refill_temperature_c: that brings the tank to its temperature.  before, after: the tank; refill: as made.  ph_before,
    ph_after, conductivity_before_us_cm, conductivity_after_us_cm: of the tank at rest with its air.
    """

    grams: dict[str, float]
    deionised_l: float
    refill_temperature_c: float
    before: Water
    refill: Water
    after: Water
    ph_before: float
    ph_after: float
    conductivity_before_us_cm: float
    conductivity_after_us_cm: float


@dataclass(frozen=True, repr=False)
class Transition(Record):
    """The changes, and what else is worth knowing.

    reached: bands of the target at the end.  each_alone: changes the quantity that takes most would need if it stood
    alone.  with_target_refill: changes with a refill that is the middle of the target itself, which comes ever closer and
    never quite arrives; None where it does not come inside the bands at all.  by_scale: whether the scale made it longer.
    settles: hardness [mmol/L] and alkalinity [meq/L] the tank settles at for good, by what it is topped off with.  proven:
    whether no fewer changes, and in so many no fewer salts, do it; else it is the best that was found in the time, and no
    way has fewer changes, nor one of as many fewer salts, than `at_least`.  findings: what the envelope finds on the way.
    """

    changes: tuple[Change, ...]
    reached: tuple[Standing, ...]
    each_alone: int
    with_target_refill: int | None
    by_scale: bool
    settles: dict[str, tuple[float, float]]
    proven: bool = True
    at_least: tuple[int, int] | None = None
    findings: tuple[Finding, ...] = ()

    def not_proven(self) -> list[Finding]:
        """A note where the time ended before the way was proven the best."""
        if self.at_least is None:
            return []
        text = (
            f"The best way found in the time: none has fewer than {self.at_least[0]} changes, and none of so many fewer "
            f"than {self.at_least[1]} salts. More patience may find a better one."
        )
        return [Finding("note", "best_found_in_time", text)]


def default_limits() -> Limits:
    """Limits of one change as they are common practice (tables/limits.csv)."""
    per_dgh = 1 / dgh_per_mmol()
    return Limits(
        hardness_mmol_l=reference.value("limits", "hardness_step") * per_dgh,
        alkalinity_meq_l=reference.value("limits", "alkalinity_step") * 2 * per_dgh,
        ph=reference.value("limits", "ph_step"),
        conductivity=reference.value("limits", "conductivity_step") / 100,
        temperature_c=reference.value("limits", "temperature_step"),
    )


def rested(tank: Water) -> Water:
    """The tank at rest with its air: what is conserved but its carbon."""
    return replace(tank, ph=None, carbon_mmol_l=None)


def arrived(request: TransitionRequest) -> bool:
    """Whether the tank lies inside the target's bands as it is."""
    return all(at.held for at in standings(rested(request.tank), request.target, request.times_air))


def temperatures(request: TransitionRequest) -> list[float]:
    """The tank after each change [degC], until it is as wanted: no change moves it further than its limit."""
    wanted_c, tank_c = request.temperature_c, request.tank.temperature_c
    found: list[float] = []
    while wanted_c is not None and abs(wanted_c - tank_c) > 0.05:
        room_c = request.share * ((HIGHEST_C if wanted_c > tank_c else LOWEST_C) - tank_c)
        step_c = min(abs(wanted_c - tank_c), request.limits.temperature_c, abs(room_c))
        tank_c += math.copysign(step_c, wanted_c - tank_c)
        found.append(tank_c)
        if len(found) > MOST_CHANGES:
            said = f"{wanted_c:.1f} °C is not reached in {MOST_CHANGES} changes of {request.share:.0%}."
            raise NoAnswer.of("temperature", said, "Let the heater do it.")
    return found


def alone(request: TransitionRequest) -> int:
    """Changes that the slowest quantity would take if each could be moved by itself."""
    tank, target, limits = rested(request.tank), request.target, request.limits
    hardness = _away(tank.hardness_mmol_l, target.hardness_mmol_l) / limits.hardness_mmol_l
    alkalinity = _away(tank.alkalinity_meq_l, target.alkalinity_meq_l) / limits.alkalinity_meq_l
    counts = [hardness, alkalinity]
    if target.ph_aerated is not None:
        counts.append(_away(float(at_air(tank, request.times_air).ph), target.ph_aerated) / limits.ph)
    if target.conductivity_us_cm is not None:
        here, band = float(at_air(tank, request.times_air).conductivity_us_cm), target.conductivity_us_cm
        up, down = math.log(max(band.low, 1e-9) / here), math.log(here / max(band.high, 1e-9))
        counts.append(max(up / math.log1p(limits.conductivity), -down / math.log1p(-limits.conductivity), 0.0))
    return max(math.ceil(count - 1e-6) for count in counts)


def _away(value: float, band: Band) -> float:
    return max(band.low - value, value - band.high, 0.0)


def with_target_refill(request: TransitionRequest) -> int | None:
    """Changes until the tank lies inside the target's bands where every refill is their middle."""
    ends = [
        (value_of(rested(request.tank), name, request.times_air), band)
        for name, band in request.target.bands()
        if name in ("hardness_mmol_l", "alkalinity_meq_l") and math.isfinite(band.low + band.high)
    ]
    counts = []
    for value, band in ends:
        middle, half = (band.low + band.high) / 2, (band.high - band.low) / 2
        if half <= 0 and value != middle:
            return None
        far = abs(value - middle)
        counts.append(0 if far <= half else math.ceil(math.log(half / far) / math.log1p(-request.share) - 1e-9))
    return max(counts, default=None)


def settled(request: TransitionRequest) -> dict[str, tuple[float, float]]:
    """Hardness [mmol/L] and alkalinity [meq/L] the tank settles at right after a change, by what it is topped off with.

    tank = refill + (1 - share) / share x top-off, the fixed point of a change; refills are the middle of the target.
    """
    if request.evaporated_share == 0:
        return {}
    bands = (request.target.hardness_mmol_l, request.target.alkalinity_meq_l)
    middle = [(band.low + band.high) / 2 if math.isfinite(band.high) else band.low for band in bands]
    gathered = request.evaporated_share * (1 - request.share) / request.share
    return {
        "deionised": (middle[0], middle[1]),
        "source": (
            middle[0] + gathered * request.source.hardness_mmol_l,
            middle[1] + gathered * request.source.alkalinity_meq_l,
        ),
    }
