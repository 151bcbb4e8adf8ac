"""The hot-water store with a heating element at its bottom: how much blended water it gives, and when it gives more.

Drawn from, it stays in layers: hot water leaves at the top and cold comes in at the bottom, past the element. What the
element heats is of no use until it has risen to the top: to count it at once, storage plus recovery, overstates what the
store gives by a third.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.water.properties import density_kg_l, heat_capacity_kj_kg_k

_SLACK = 1e-9


@dataclass(frozen=True)
class Store:
    """volume_l at set_c [degC], fed with cold_c, heated with power_kw from below."""

    volume_l: float
    set_c: float
    cold_c: float
    power_kw: float

    def __post_init__(self) -> None:
        if not (self.volume_l > 0 and self.power_kw >= 0 and self.set_c > self.cold_c):
            said = f"{self.volume_l} L at {self.set_c} °C, cold {self.cold_c} °C, {self.power_kw} kW."
            raise BadInput.of(
                "hot_water", said, "A store holds water hotter than the cold tap, and a heater gives 0 kW or more."
            )

    @property
    def heat_kj_l_k(self) -> float:
        """Heat that warms a litre by a kelvin, midway between cold and hot."""
        middle_c = (self.set_c + self.cold_c) / 2
        return density_kg_l(middle_c) * heat_capacity_kj_kg_k(middle_c)


@dataclass(frozen=True)
class Supply:
    """What a store gives when blended water is drawn without a pause.

    blended_l: before the tap can no longer be blended warm enough, infinite where the heater keeps up; minutes: how long
    that lasts.  storage_and_recovery_l: what counting the heater's work at once would promise.  sustained_l_min: blended
    water that the heater alone keeps up afterwards.
    """

    blended_l: float
    minutes: float
    storage_and_recovery_l: float
    sustained_l_min: float


def supply(store: Store, mix_c: float, flow_l_min: float) -> Supply:
    """Blended water at mix_c [degC] from hot and cold at flow_l_min in all.

    The hot tap's share is (mix - cold) / (hot - cold), so the k-th fill of the store leaves at cold + (set - cold) lambda^k
    with lambda = 60 P / (c q (mix - cold)): what comes in at the bottom is warmed by P over the flow of hot water, which is
    the larger the less warm the fill before it was. A fill serves while it is warmer than mix. First principles.
    Raises BadInput for a flow of nothing, NoAnswer for a mix that the store cannot reach.
    """
    if not flow_l_min > 0:
        raise BadInput.of("flow", f"{flow_l_min} L/min.", "Give a flow above 0.")
    _refuse_mix(store, mix_c)
    rise_k, span_k = mix_c - store.cold_c, store.set_c - store.cold_c
    if rise_k <= 0:
        return Supply(math.inf, math.inf, math.inf, math.inf)
    sustained = 60 * store.power_kw / (store.heat_kj_l_k * rise_k)
    factor = sustained / flow_l_min
    if factor >= 1:
        return Supply(math.inf, math.inf, math.inf, sustained)
    # Fills that are at least as warm as the mix: a geometric series.
    fills = 1 if factor == 0 else math.floor(math.log(rise_k / span_k) / math.log(factor) + _SLACK) + 1
    blended_l = store.volume_l * span_k / rise_k * (1 - factor**fills) / (1 - factor)
    return Supply(blended_l, blended_l / flow_l_min, store.volume_l * span_k / rise_k / (1 - factor), sustained)


@dataclass(frozen=True)
class Tapping:
    """One tote's draw: minutes to wait first, litres of hot water and their mean temperature [degC]."""

    wait_min: float
    hot_l: float
    hot_c: float


def tappings(
    store: Store, blends: Sequence[tuple[float, float]], flow_l_min: float, pauses_min: Sequence[float]
) -> list[Tapping]:
    """Totes drawn one after another, with pauses in which the element goes on heating.

    blends: litres and temperature [degC] wanted, for each tote.  pauses_min: minutes between each tote's draw and the next
    (one less than totes).  The store is a hot layer over one below it, which the element warms as a whole and cold water
    enters as it is drawn. Where the hot layer does not suffice, the wait is until the lower one is warm enough to give the
    rest. What the element heats while a tote is drawn is counted once it is, or once the store has been drawn empty. Raises
    NoAnswer where it never will be: no heater, or a mix out of reach; BadInput for volumes, flows and pauses that cannot be.
    """
    pauses = list(pauses_min)
    if not blends or len(pauses) != len(blends) - 1 or not all(pause >= 0 for pause in pauses) or not flow_l_min > 0:
        said = f"{len(blends)} totes with pauses of {pauses} minutes, drawn at {flow_l_min} L/min."
        raise BadInput.of(
            "totes", said, "Give a flow above 0, and a pause of 0 minutes or more between each two totes."
        )
    layers = _Layers(store)
    found = []
    for number, (volume_l, mix_c) in enumerate(blends):
        if not volume_l > 0:
            raise BadInput.of("totes", f"a tote of {volume_l} L.", "Give more than 0 L.")
        _refuse_mix(store, mix_c)
        if number:
            layers.heat(pauses[number - 1])
        found.append(layers.draw(volume_l, mix_c, flow_l_min))
    return found


def minutes_to_next(
    store: Store, drawn: Sequence[tuple[float, float]], flow_l_min: float, pauses_min: Sequence[float]
) -> float:
    """Minutes after the last of these totes until the store could give one more like it, without the pauses of filling.

    Raises as `tappings` does.
    """
    again = [*drawn, *drawn[-1:]]
    return tappings(store, again, flow_l_min, [*pauses_min, 0.0])[-1].wait_min


class _Layers:
    """Hot water on top, and what lies below it at one temperature."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.hot_l, self.low_l, self.low_c = store.volume_l, 0.0, store.cold_c

    def heat(self, minutes: float) -> None:
        """The element warms the lower layer; once it is hot the two are one."""
        if self.low_l <= 0:
            return
        store = self.store
        self.low_c += 60 * store.power_kw * minutes / (store.heat_kj_l_k * self.low_l)
        if self.low_c >= store.set_c - 1e-9:
            self.hot_l, self.low_l, self.low_c = store.volume_l, 0.0, store.cold_c

    def draw(self, volume_l: float, mix_c: float, flow_l_min: float) -> Tapping:
        """One tote; what it takes is counted in litres times kelvins above cold."""
        store = self.store
        need_lk = volume_l * (mix_c - store.cold_c)
        span_k = store.set_c - store.cold_c
        waited, hot_l, got_lk, minutes = 0.0, 0.0, 0.0, volume_l / flow_l_min
        # More than the whole store holds: draw it empty, let it heat up, and go on.
        while need_lk - got_lk > store.volume_l * span_k * (1 + _SLACK):
            waited += self._until(store.set_c)
            hot_l, got_lk = hot_l + store.volume_l, got_lk + store.volume_l * span_k
            self._take(store.volume_l)
            self.heat(minutes * store.volume_l * span_k / need_lk)
        rest_lk = need_lk - got_lk
        if rest_lk > self.hot_l * span_k * (1 + _SLACK):
            waited += self._until(store.cold_c + self._wanted_k(rest_lk, volume_l - hot_l))
        top_l = min(self.hot_l, rest_lk / span_k)
        low_lk = rest_lk - top_l * span_k
        low_l = low_lk / (self.low_c - store.cold_c) if low_lk > _SLACK * need_lk and self.low_l > 0 else 0.0
        self._take(top_l + low_l)
        self.heat(minutes * rest_lk / need_lk if need_lk > 0 else minutes)
        hot_l += top_l + low_l
        return Tapping(waited, hot_l, store.cold_c + need_lk / hot_l if hot_l > 0 else store.set_c)

    def _wanted_k(self, rest_lk: float, room_l: float) -> float:
        """How far above cold the lower layer must be to give what the hot one lacks, in no more litres than there is room."""
        lacking_lk = rest_lk - self.hot_l * (self.store.set_c - self.store.cold_c)
        return lacking_lk / max(min(self.low_l, room_l - self.hot_l), 1e-9)

    def _until(self, wanted_c: float) -> float:
        """Minutes until the lower layer is so warm, and the heating of it."""
        store = self.store
        if self.low_l <= 0 or self.low_c >= wanted_c:
            return 0.0
        if store.power_kw <= 0:
            raise NoAnswer.of(
                "hot_water",
                f"the store holds {store.volume_l:.0f} L, more hot water is needed and its heater has no power.",
                "Change less at once, make the refill cooler (refill_temperature), or give heater_power.",
            )
        wanted_c = min(wanted_c, store.set_c)
        minutes = store.heat_kj_l_k * self.low_l * (wanted_c - self.low_c) / (60 * store.power_kw)
        self.heat(minutes)
        return minutes

    def _take(self, litres: float) -> None:
        """So much leaves from the top, and as much cold comes in below."""
        top_l = min(self.hot_l, litres)
        from_low_l = min(litres - top_l, self.low_l)
        stays_l = self.low_l - from_low_l
        entering_l = top_l + from_low_l
        self.hot_l -= top_l
        self.low_c = (stays_l * self.low_c + entering_l * self.store.cold_c) / max(stays_l + entering_l, 1e-12)
        self.low_l = stays_l + entering_l


def _refuse_mix(store: Store, mix_c: float) -> None:
    if not mix_c >= store.cold_c:
        raise NoAnswer.of(
            "cold",
            f"{mix_c:.1f} °C is colder than the cold tap, {store.cold_c:.1f} °C.",
            "Make the refill as warm as the cold tap at least.",
        )
    if mix_c > store.set_c:
        raise NoAnswer.of(
            "hot_water",
            f"{mix_c:.1f} °C is hotter than the store, {store.set_c:.1f} °C.",
            "Make the refill cooler, or set the store hotter.",
        )
