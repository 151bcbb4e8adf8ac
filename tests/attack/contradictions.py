"""No two statements of one plan disagree: steps, findings, page, card and JSON, read back as a person reads them.

Every figure in a sentence is held against the JSON (or the file), give or take half its last digit. `SAID` is the list of
sentences; a new sentence that names a figure is one more row. A row that no plan ever says is told by `rows_unsaid`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from io import StringIO
from typing import Any

from rich.console import Console

from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan
from tapwright.chemistry.record import plain
from tapwright.cli.commands.plan import _result
from tapwright.cli.pages.plan.card import show_brief
from tapwright.cli.pages.plan.page import show_plan

Truth = Mapping[str, float | None]

_N = r"([-+]?\d+(?:\.\d+)?)"
# Place (a step's id, 'code: ...' of a finding, 'page' or 'card'; n stands for a tote), sentence, and what its numbers are.
SAID: tuple[tuple[str, str, str], ...] = (
    ("test_tap", rf"counts on {_N} mg/L total", "total_chlorine"),
    ("test_tap", rf"and {_N} mg/L free", "free_chlorine"),
    ("test_tap", rf"the plan counts on {_N} °C", "tank_c"),
    ("lay_out", rf"each of {_N} totes", "totes"),
    ("lay_out", rf"tape on the glass at {_N} cm and {_N} cm", "full_cm low_cm"),
    ("heater_off", rf"\({_N} cm\)", "heater_cm"),
    ("tote_n_fill", rf"\({_N} of {_N}\)", "number totes"),
    ("tote_n_fill", rf"{_N} L cold and {_N} L hot make {_N} L", "cold_l hot_l tote_l"),
    ("tote_n_fill", rf"must end at {_N} °C", "drawn_c"),
    ("tote_n_fill", rf"it loses {_N} until", "lost_k"),
    ("tote_n_reheat", rf"store heat for {_N} minutes", "wait_up"),
    ("tote_n_check", rf"clear, {_N} °C within", "drawn_c"),
    ("tote_n_check", rf"hardness {_N} dGH, alkalinity {_N} dKH", "refill_dgh refill_dkh"),
    ("tote_n_check", rf"pH reads about {_N} now, and {_N} after", "refill_ph refill_ph_rest"),
    ("tote_n_neutralise", rf"\({_N} of {_N}\)", "number totes"),
    ("drain_start", rf"{_N} L go out, down to the {_N} cm mark, in about {_N} minutes \({_N} at the earliest, {_N} at the",
     "change_l low_cm drain drain_early drain_late"),
    ("drain_end", rf"at the {_N} cm mark", "low_cm"),
    ("tote_n_pump", rf"thermometers: the tank {_N} °C, the tote {_N} °C", "tank_then_c pumped_c"),
    ("tote_n_pump", rf"pump: {_N} L \({_N} of {_N}\) in about {_N} minutes", "tote_l number totes pump"),
    ("tote_n_pump", rf"\({_N} of {_N}, the last\)", "number totes"),
    ("tote_n_pump", rf"{_N} L rise to the {_N} cm mark in about {_N} minutes \({_N} at the earliest",
     "tote_l full_cm pump pump_early"),
    ("fill_end", rf"at the {_N} cm mark", "full_cm"),
    ("fill_end", rf"runs over {_N} L later", "spare_l"),
    ("code: overflow_margin", rf"lie {_N} L,", "spare_l"),
    ("code: large_change", rf"^{_N} % is a large change at once: the level falls to {_N} cm", "percent low_cm"),
    ("code: temperature_step", rf"from {_N} to {_N} °C", "tank_c after_c"),
    ("code: hot_store", rf"{_N} L are needed", "change_l"),
    ("code: hot_store", rf"plan waits {_N} minutes", "waits"),
    ("code: intake_dry", rf"intake \({_N} cm\) {_N} minutes", "intake_cm intake_early"),
    ("page", rf"Change {_N}% of the live water, {_N} L, down to {_N} cm", "percent change_l low_cm"),
    ("page", rf"Refill {_N} totes? \({_N} L each\) at {_N} °C: {_N} L hot and {_N} L cold",
     "totes tote_l refill_c hot_in_all cold_in_all"),
    ("page", rf"Refill {_N} tote at {_N} °C: {_N} L hot and {_N} L cold", "totes refill_c hot_in_all cold_in_all"),
    ("page", rf"Minutes drain {_N}, draw each tote {_N}, fill {_N}; {_N} until", "drain draw fill total"),
    ("page", rf"Hardness, dGH {_N} {_N} {_N} {_N} Alk", "tap_dgh refill_dgh tank_dgh after_dgh"),
    ("page", rf"Alkalinity, dKH {_N} {_N} {_N} {_N} Nit", "tap_dkh refill_dkh tank_dkh after_dkh"),
    ("page", rf"Temperature, °C {_N} {_N} {_N} {_N} ", "tap_c refill_c tank_c after_c"),
    ("page", rf"Drained {_N} {_N} {_N}", "drain_early drain drain_late"),
    ("page", rf"Nitrate stands at {_N} mg/L, the tap brings {_N}", "tank_no3 tap_no3"),
    ("card", rf"change {_N}%, {_N} L in {_N} totes of {_N} L", "percent change_l totes tote_l"),
    ("card", rf"change {_N}%, {_N} L in one tote", "percent change_l"),
    ("card", rf"at most {_N} mg/L of chlorine", "total_chlorine"),
    ("card", rf"Drain {_N} {_N} {_N} .*? {_N} cm", "drain_early drain drain_late low_cm"),
    ("card", rf"(?:Last fill|Fill) {_N} {_N} {_N} .*? {_N} cm", "pump_early pump pump_late full_cm"),
)  # fmt: skip
_READ = [(place, re.compile(sentence), tuple(names.split())) for place, sentence, names in SAID]
_CUPS = re.compile(r"(?:Dissolve|Strew) (.+?) (?:in [\d.]+ L of|into the moving)")
_CUP = re.compile(rf"{_N} g (.+)")
_TOTE_ROW = re.compile(rf"Totes? {_N}(?:-{_N})? (?:{_N} min )?{_N} L {_N} L (?:(?:{_N} cm {_N} cm|- -) )?{_N} °C")


def contradictions(household: Household, plan: Plan) -> list[str]:
    """Every figure that is said otherwise elsewhere."""
    return _read(household, plan, Counter())


def rows_unsaid(plans: list[tuple[Household, Plan]]) -> set[str]:
    """Sentences of `SAID` that none of these plans says."""
    said: Counter[str] = Counter()
    for household, plan in plans:
        _read(household, plan, said)
    return {sentence for _, sentence, _ in SAID} - said.keys()


def _read(household: Household, plan: Plan, said: Counter[str]) -> list[str]:
    result = plain(_result(plan, None))
    truth, wrong = _truth(household, plan, result), []
    for place, number, text in _texts(plan):
        here = truth | _of_tote(result, number)
        for where, sentence, names in _READ:
            if where == place:
                for match in sentence.finditer(text):
                    said[sentence.pattern] += 1
                    wrong += _held(f"{place}: {match[0]}", match.groups(), names, here)
    parts = (_doses_agree, _card_totes_agree, _page_holds_steps, _holds_can_be_kept)
    return wrong + [text for part in parts for text in part(plan, result)]


def _held(where: str, numbers: tuple[str, ...], names: tuple[str, ...], truth: Truth) -> Iterator[str]:
    for number, name in zip(numbers, names, strict=True):
        if (value := truth[name]) is None or not agrees(number, value):
            yield f"'{where}' says {number} and {name} is {value}"


def agrees(number: str, value: float) -> bool:
    """Whether a figure as written is the value, give or take half its last digit."""
    decimals = len(number.partition(".")[2])
    return abs(float(number) - value) <= 0.5 * 10**-decimals * (1 + 1e-6) + 1e-9 * abs(value)


def _texts(plan: Plan) -> Iterator[tuple[str, int, str]]:
    """Every text with its place and its tote (1 where it has none)."""
    for step in plan.steps:
        number = re.match(r"tote_(\d+)_", step.id)
        yield re.sub(r"^tote_\d+_", "tote_n_", step.id), int(number[1]) if number else 1, step.text
    for finding in plan.findings:
        yield f"code: {finding.code}", 1, finding.text
    yield "page", 1, _page(lambda screen: show_plan(screen, plan, None, None, plan.assumptions))
    yield "card", 1, _page(lambda screen: show_brief(screen, plan, None))


def _page(show: Callable[[Console], None]) -> str:
    """What a page says, its line ends and columns as single blanks."""
    screen = Console(file=StringIO(), width=250, highlight=False, markup=False, emoji=False)
    show(screen)
    return " ".join(screen.file.getvalue().replace("\N{NO-BREAK SPACE}", " ").split())  # type: ignore[attr-defined]


def _truth(household: Household, plan: Plan, result: Mapping[str, Any]) -> dict[str, float | None]:
    """Each figure by its name, from JSON where it stands there, else from the file."""
    tank, tap, minutes, count = plan.figures.tank, household.tap, result["durations"], result["totes"]["count"]
    marks = {mark["event"]: mark["minutes"]["early"] for mark in result["marks"]}
    truth = {
        "total_chlorine": tap.total_chlorine_mg_l, "free_chlorine": tap.free_chlorine_mg_l,
        "full_cm": 100 * tank.water_height_m, "low_cm": 100 * result["low_level_m"],
        "heater_cm": 100 * tank.heater_height_m, "intake_cm": 100 * (tank.intake_height_m or 0),
        "intake_early": marks.get("intake dry"), "totes": count, "tote_l": result["totes"]["volume_l"],
        "change_l": result["change_volume_l"], "percent": 100 * result["change_share"],
        "refill_c": result["blend"]["temperature_c"], "hot_in_all": result["blend"]["hot_l"],
        "cold_in_all": result["blend"]["cold_l"], "pump": minutes["fill_min"] / count,
        "pump_early": minutes["fill_early_min"] / count,
        "pump_late": minutes["fill_late_min"] / count, "draw": minutes["tote_min"],
        "waits": sum(minutes["hot_water_waits_min"]),
        "spare_l": _live_l(plan) * (tank.overflow_height_m / tank.water_height_m - 1),
        **{name: minutes[f"{name}_min"] for name in ("drain", "drain_early", "drain_late", "fill", "total")},
        "refill_ph": result["waters"]["refill"]["ph_at_once"], "refill_ph_rest": result["waters"]["refill"]["ph_aerated"],
    }  # fmt: skip
    for short, name in (("tap", "tap"), ("refill", "refill"), ("tank", "tank_before"), ("after", "tank_after")):
        water = result["waters"][name]
        truth |= {f"{short}_dgh": water["hardness_dgh"], f"{short}_dkh": water["alkalinity_dkh"]}
        truth |= {f"{short}_c": water["temperature_c"], f"{short}_no3": water["nitrate_mg_l"]}
    return truth


def _live_l(plan: Plan) -> float:
    return plan.figures.change_volume_l / plan.figures.change_share


def _of_tote(result: Mapping[str, Any], number: int) -> dict[str, float | None]:
    tote = result["blend"]["each_tote"][number - 1]
    wait = result["durations"]["hot_water_waits_min"][number - 1]
    left_l, brought_l = (
        result["change_volume_l"] * (1 / result["change_share"] - 1),
        (number - 1) * result["totes"]["volume_l"],
    )
    heat = left_l * result["waters"]["tank_before"]["temperature_c"] + brought_l * result["blend"]["temperature_c"]
    return {**tote, "number": number, "tank_then_c": heat / (left_l + brought_l), "lost_k": tote["drawn_c"] - tote["arrives_c"],
            "wait_up": -(-wait // 1)}  # fmt: skip


def _doses(result: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Grams or millilitres in all and for a tote, by name as a cup is marked."""
    doses = {salt["salt"]: (salt["salt_g"], salt["salt_g_per_tote"]) for salt in result["salts"]}
    chosen = result["neutraliser"]
    if chosen["agent"] is not None:
        liquid = chosen["solution_ml"] is not None
        amounts = (
            (chosen["solution_ml"], chosen["solution_ml_per_tote"])
            if liquid
            else (chosen["agent_g"], chosen["agent_g_per_tote"])
        )
        doses[chosen["agent"]] = amounts
    return doses


def _doses_agree(plan: Plan, result: Mapping[str, Any]) -> list[str]:
    """Cups laid out, what goes into each tote, page and card name the same things and amounts."""
    doses, texts, wrong = _doses(result), {place: text for place, _, text in _texts(plan)}, []
    one = plan.figures.totes.count == 1
    texts["page"] = (
        texts["page"].partition("In short")[2].partition(" Why ")[0]
    )  # the steps within it are looked at as steps
    texts["card"] = texts["card"].rpartition(" Into ")[2]
    for place in ("lay_out", "tote_n_neutralise", "page", "card"):
        for name, (in_all, each) in doses.items():
            if place == "tote_n_neutralise" and name != result["neutraliser"]["agent"]:
                continue
            said = re.findall(rf"{_N} (?:g|mL)(?: \({_N} (?:g|mL) a tote\))? of {re.escape(name)}", texts[place])
            if not said:
                wrong.append(f"{place} does not dose {name}")
            for first, second in said:
                wanted = (
                    [(first, in_all), (second or first, in_all if one else each)]
                    if place == "page"
                    else [(first, each)]
                )
                wrong += [
                    f"{place}: {number} of {name}, not {amount:g}"
                    for number, amount in wanted
                    if not agrees(number, amount)
                ]
    return wrong + _cups_agree(plan, {salt["salt"]: salt["salt_g_per_tote"] for salt in result["salts"]})


def _cups_agree(plan: Plan, per_tote_g: Mapping[str, float]) -> list[str]:
    """What all buckets of a tote take is what its recipe says."""
    wrong = []
    for step in plan.steps:
        if re.match(r"tote_\d+_salts", step.id):
            cups = [_CUP.match(cup) for cups in _CUPS.findall(step.text) for cup in cups.split(", ")]
            found = {cup[2]: cup[1] for cup in cups if cup}
            if found.keys() != per_tote_g.keys():
                wrong.append(f"{step.id} pours {sorted(found)}, the recipe has {sorted(per_tote_g)}")
            wrong += [f"{step.id} pours {number} g of {name}" for name, number in found.items()
                      if name in per_tote_g and not agrees(number, per_tote_g[name])]  # fmt: skip
    return wrong


def _card_totes_agree(plan: Plan, result: Mapping[str, Any]) -> list[str]:
    """Each tote's row on the card: litres and thermometer."""
    card = next(text for place, _, text in _texts(plan) if place == "card")
    wrong, told = [], set()
    for first, last, wait, cold, hot, _, _, drawn in _TOTE_ROW.findall(card):
        for number in range(int(first), int(last or first) + 1):
            tote = _of_tote(result, number) | {"wait": result["durations"]["hot_water_waits_min"][number - 1]}
            told.add(number)
            said = {"cold_l": cold, "hot_l": hot, "drawn_c": drawn} | ({"wait": wait} if wait else {})
            wrong += [
                f"card, tote {number}: {name} {text}, not {tote[name]}"
                for name, text in said.items()
                if not agrees(text, tote[name] or 0.0)
            ]
    count = plan.figures.totes.count
    if count > 1 and told != set(range(1, count + 1)):
        wrong.append(f"the card tells of totes {sorted(told)} of {count}")
    return wrong


def _page_holds_steps(plan: Plan, result: Mapping[str, Any]) -> list[str]:
    """The page gives every step and every finding in its own words."""
    page = next(text for place, _, text in _texts(plan) if place == "page")
    said = [(step.id, step.text) for step in plan.steps] + [(finding.code, finding.text) for finding in plan.findings]
    return [f"the page leaves out {name}" for name, text in said if " ".join(text.split()) not in page]


def _holds_can_be_kept(plan: Plan, result: Mapping[str, Any]) -> list[str]:
    """A HOLD that the plan itself breaks is none: the refill's distance from the tank, unless a stop stands."""
    if any(finding.level == "stop" for finding in plan.findings):
        return []
    step = next(step for step in plan.steps if step.id == "inflow_secured")
    asked = re.search(rf"must be within {_N} °C", step.text)
    apart = abs(result["blend"]["temperature_c"] - plan.figures.tank.readings.temperature_c)
    return (
        [f"the refill is planned {apart:.1f} °C from the tank: '{asked[0]}'"]
        if asked and apart > float(asked[1])
        else []
    )
