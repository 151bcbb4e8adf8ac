"""The equilibrium of a water: balances, mass action, round trips, arrays, refusals and what a call costs in memory."""

from __future__ import annotations

import math
import re
import tracemalloc
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.water import chunks
from tapwright.chemistry.water.activity import FLOATS
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.constants import Array, constants, debye_hueckel, log_k
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, at_ph, outdoor_air_ppm
from tapwright.chemistry.water.properties import density_kg_l
from tapwright.chemistry.water.saturation import indices
from tapwright.chemistry.water.speciation import Given, speciate
from tapwright.chemistry.water.species import Speciation, Totals

SPECIES = reference.table("species")
CHARGE = {key: int(row["charge"]) for key, row in SPECIES.items()}
MADE_OF = {
    key: {part: int(number) for part, number in (entry.split() for entry in row["made_of"].split(";"))}
    for key, row in SPECIES.items()
}
FIELDS = tuple(field.name for field in fields(Equilibrium))
FIGURES = (*CONSERVED, "temperature_c")
QUESTIONS: tuple[Callable[..., Equilibrium], ...] = (at_air, at_carbon, at_ph)
MINERALS = {"calcite": "ca co3", "aragonite": "ca co3", "dolomite": "ca mg co3 co3", "gypsum": "ca so4 h2o h2o"}
# Ionic strength is met so that log10 of an activity coefficient, and with it a pH, is good to 0.0002. Two pH that should
# be one may differ by twice that, and what goes with H+ by 10^0.0004.
TWO_PH = 4e-4
TWO_ACTIVITIES = 1e-3


def some(high: float) -> st.SearchStrategy[float]:
    return st.just(0.0) | st.floats(0, high) | st.floats(high / 100, high)


temperatures = st.floats(0, 40)
totals = st.builds(
    Totals, **{key: some(0.015) for key in ("ca", "mg", "na", "k", "nh4", "cl", "no3", "so4")},
    alkalinity=st.just(0.0) | st.floats(-0.0005, 0.015),
)  # fmt: skip
waters = st.builds(
    Water, **{name: some(15) for name in CONSERVED if name != "alkalinity_meq_l"},
    alkalinity_meq_l=st.just(0.0) | st.floats(-0.5, 15), temperature_c=temperatures,
)  # fmt: skip
buffered = st.builds(lambda water, alkalinity: replace(water, alkalinity_meq_l=alkalinity), waters, st.floats(0.1, 15))


def water(**given: Any) -> Water:
    """Deionised at 25 degC but for what is given."""
    return Water(**{**dict.fromkeys(CONSERVED, 0.0), "temperature_c": 25.0, **given})


def below(highest: float, share: float) -> float:
    """A pH up to just below the highest, from where 15 meq/L or acid take no more than 2 mol/L of carbon."""
    lowest = min(4.6, highest - 0.2)
    return lowest + share * (highest - 0.001 - lowest)


Solved = tuple[Totals, float, float, list[Speciation]]


def three(of: Totals, temperature_c: float, carbon: float, times_air: float, share: float) -> Solved:
    """A water, its temperature, its carbon and the kernel's answers to the three questions, first of that carbon."""
    at = constants(temperature_c)
    ph = below(-math.log10(speciate(of, at, Given.CARBON, 0.0).h), share)
    air_activity = times_air * outdoor_air_ppm() * 1e-6 * at.co2_gas
    asked = {Given.CARBON: carbon, Given.CO2: air_activity, Given.ACIDITY: 10.0**-ph}
    return of, temperature_c, carbon, [speciate(of, at, question, value) for question, value in asked.items()]


three_answers = st.builds(three, totals, temperatures, some(0.02), some(100), st.floats(0, 1))


@given(three_answers)
def test_mass_and_charge_balance(solved: Solved) -> None:
    of, _, carbon, answers = solved
    for number, found in enumerate(answers):
        amounts = {**found.molality, "cl": of.cl, "no3": of.no3}
        assert found.settled and amounts.keys() == SPECIES.keys()

        def held(part: str, amounts: dict[str, float] = amounts) -> float:
            return math.fsum(MADE_OF[key].get(part, 0) * amount for key, amount in amounts.items())

        carbonate = 2 * held("CO3") - held("H")
        here = [*(held(part) for part in ("Ca", "Mg", "Na", "K", "NH4", "SO4")), carbonate]
        asked = [of.ca, of.mg, of.na, of.k, of.nh4, of.so4, of.alkalinity]
        if number == 0:
            here, asked = [*here, held("CO3")], [*asked, carbon]
        here.append(math.fsum(CHARGE[key] * amount for key, amount in amounts.items()))
        cations, anions = 2 * (of.ca + of.mg) + of.na + of.k + of.nh4, of.cl + of.no3 + 2 * of.so4 + of.alkalinity
        asked.append(cations - anions)
        ions = math.fsum(abs(CHARGE[key]) * amount for key, amount in amounts.items())
        assert min(amounts.values()) >= 0
        assert found.unionised_ammonia_share * of.nh4 == pytest.approx(amounts["nh3"], rel=1e-9, abs=1e-300)
        assert here == pytest.approx(asked, rel=0, abs=1e-9 * ions)
        assert (found.charge, found.charges) == pytest.approx((here[-1], ions), rel=0, abs=1e-12 * ions)
        squares = math.fsum(CHARGE[key] ** 2 * amount for key, amount in amounts.items())
        assert found.ionic_strength == pytest.approx(squares / 2, rel=1e-12)
        assert found.used_strength == pytest.approx(found.ionic_strength, rel=5e-4)


def log_coefficient(species: str, strength: float, temperature_c: float) -> float:
    """log10 of the activity coefficient, from tables/species.csv alone."""
    row, charge, root = SPECIES[species], CHARGE[species], math.sqrt(strength)
    a, b = map(float, debye_hueckel(temperature_c))
    if row["ion_size_angstrom"]:
        reach = 1 + b * float(row["ion_size_angstrom"]) * root
        return -a * charge**2 * root / reach + float(row["b_kg_mol"]) * strength
    return -a * charge**2 * (root / (1 + root) - 0.3 * strength) if charge else 0.1 * strength


@given(three_answers)
def test_mass_action(solved: Solved) -> None:
    _, temperature_c, _, answers = solved
    for found in answers:
        there = {key: amount for key, amount in found.molality.items() if amount > 1e-300}
        log_activity = {
            key: math.log10(amount) + log_coefficient(key, found.ionic_strength, temperature_c)
            for key, amount in there.items()
        }
        for key in there.keys() & {"h", "co2", "so4", "ca", "mg", "co3"}:
            assert math.log10(getattr(found, key)) == pytest.approx(log_activity[key], abs=2e-4), key
        parts = {**log_activity, "h2o": math.log10(found.water)}
        for key in there.keys() & reference.table("reactions").keys():
            numbers = {part.lower(): number for part, number in MADE_OF[key].items()}
            if numbers.keys() <= parts.keys():
                product = math.fsum(number * parts[part] for part, number in numbers.items())
                assert log_activity[key] == pytest.approx(float(log_k(key, temperature_c)) + product, abs=2e-4), key
        saturation = indices(found, constants(temperature_c), FLOATS)._asdict()
        for mineral, made_of in MINERALS.items():
            if parts.keys() >= set(made_of.split()):
                product = math.fsum(parts[part] for part in made_of.split())
                assert saturation[mineral] == pytest.approx(product - float(log_k(mineral, temperature_c)), abs=8e-4)


@given(waters, st.floats(0, 1))
def test_ph_to_carbon_and_back(of: Water, share: float) -> None:
    # Carbon is found for the pH, so that the pH comes back however little buffer there is; the other way round, the
    # carbon of hardly buffered water is anyone's guess, and no law is stated.
    ph = below(min(at_carbon(of, 0.0).ph, 13.0), share)
    assert at_carbon(of, at_ph(of, ph).carbon_mmol_l).ph == pytest.approx(ph, abs=TWO_PH)


@given(buffered, st.floats(0.01, 100))
def test_air_to_ph_and_back(of: Water, times_air: float) -> None:
    # With less alkalinity most of it may be hydroxide, and CO2 the small difference of two large amounts.
    assert at_ph(of, at_air(of, times_air).ph).co2_times_air == pytest.approx(times_air, rel=TWO_ACTIVITIES)
    assert at_air(of, at_carbon(of, 5.0).co2_times_air).carbon_mmol_l == pytest.approx(5.0, rel=TWO_ACTIVITIES)


@given(st.floats(-0.5, 15), some(20), temperatures)
def test_alkalinity_to_ph_and_back_by_hand(alkalinity: float, carbon: float, temperature_c: float) -> None:
    # Potassium and chloride pair with none of these, so that carbonic acid and water are all there is. Of potassium
    # there is 1 mmol/L too much.
    held = {"potassium_mmol_l": 1 + max(alkalinity, 0.0), "chloride_mmol_l": max(-alkalinity, 0.0)}
    found = at_carbon(water(alkalinity_meq_l=alkalinity, temperature_c=temperature_c, **held), carbon)
    strength, kg_l = found.ionic_strength_mol_kg, density_kg_l(temperature_c)
    h = 10.0**-found.ph
    # Molality over activity.
    over = {key: 10.0 ** -log_coefficient(key, strength, temperature_c) for key in ("h", "oh", "co2", "hco3", "co3")}
    hco3, co2 = (10.0 ** float(log_k(key, temperature_c)) for key in ("hco3", "co2"))
    bicarbonate, carbonate, acid = hco3 * h * over["hco3"], over["co3"], co2 * h**2 * over["co2"]
    per_carbonate = carbon / (bicarbonate + carbonate + acid)
    hydroxide = 1000 * kg_l * 10.0 ** float(log_k("oh", temperature_c)) / h * over["oh"]
    protons, bases = 1000 * kg_l * h * over["h"], per_carbonate * (bicarbonate + 2 * carbonate) + hydroxide
    assert bases - protons == pytest.approx(alkalinity, rel=0, abs=TWO_ACTIVITIES * (bases + protons))
    assert found.charge_error_percent == pytest.approx(100 / (sum(held.values()) + bases + protons), rel=TWO_ACTIVITIES)


@given(waters)
def test_ph_falls_as_carbon_dioxide_rises(of: Water) -> None:
    for ph in (at_air(of, np.geomspace(0.01, 100, 40)).ph, at_carbon(of, np.linspace(0, 20, 40)).ph):
        # In acid no carbonic acid gives off a proton: there pH stands still.
        assert np.all(np.diff(ph) < (0 if of.alkalinity_meq_l >= 0.1 else TWO_PH))
        assert ph[-1] <= ph[0]


@given(waters, st.floats(0.5, 15), st.floats(0.01, 10))
def test_ammonia_and_calcite_rise_with_ph(of: Water, alkalinity: float, calcium: float) -> None:
    found = at_ph(replace(of, alkalinity_meq_l=alkalinity, calcium_mmol_l=calcium), np.arange(5, 8.6, 0.1))
    assert np.all(np.diff(found.unionised_ammonia_share) > 0)
    assert np.all(np.diff(found.si_calcite) > 0)
    assert 0 < found.unionised_ammonia_share[0] < found.unionised_ammonia_share[-1] < 1
    # Both minerals are of the same ions; a millionth is what the polynomials are good to.
    apart = log_k("aragonite", of.temperature_c) - log_k("calcite", of.temperature_c)
    assert found.si_calcite - found.si_aragonite == pytest.approx(apart, abs=1e-6)


@given(waters, some(100))
def test_the_figures_of_one_answer_agree(of: Water, times_air: float) -> None:
    found = at_air(of, times_air)
    assert found.co2_times_air == pytest.approx(times_air, rel=1e-9)
    assert found.co2_pressure_atm == pytest.approx(times_air * outdoor_air_ppm() * 1e-6, rel=1e-9)
    # Henry's law, uncharged species at 0.1 I.
    per_atm = 10.0 ** (float(log_k("co2_gas", of.temperature_c)) - 0.1 * found.ionic_strength_mol_kg)
    dissolved = found.co2_pressure_atm * per_atm * 1000 * density_kg_l(of.temperature_c)
    others = found.carbon_mmol_l - found.bicarbonate_mmol_l - found.carbonate_mmol_l
    assert others == pytest.approx(dissolved, rel=TWO_ACTIVITIES, abs=1e-12 * found.carbon_mmol_l + 1e-15)


def many(count: int) -> tuple[Water, Array, Array, Array]:
    """Waters, times air, carbon and pH; an eighth of all amounts are zero, alkalinity is 0.2 meq/L at least."""
    random = np.random.default_rng(7)

    def amounts(high: float) -> Array:
        return random.uniform(0, high, count) * (random.random(count) > 0.125)

    figures = {name: amounts(15) for name in CONSERVED} | {"alkalinity_meq_l": random.uniform(0.2, 15, count)}
    of = Water(**figures, temperature_c=random.uniform(0, 40, count))
    return of, amounts(20), amounts(20), random.uniform(4, 8, count)


def picked(of: Water, rows: Any) -> Water:
    return replace(of, **{name: getattr(of, name)[rows] for name in FIGURES})


def each(found: Equilibrium, change: Callable[[Any], Any]) -> Equilibrium:
    return Equilibrium(**{name: change(getattr(found, name)) for name in FIELDS})


def same(first: Equilibrium, second: Equilibrium) -> None:
    """But for rounding."""
    for name in FIELDS:
        one, other = getattr(first, name), getattr(second, name)
        assert np.shape(one) == np.shape(other)
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("question", range(3))
def test_an_array_is_so_many_scalars_in_any_order_and_chunks(question: int, monkeypatch: pytest.MonkeyPatch) -> None:
    ask, (of, *values) = QUESTIONS[question], many(150)
    value = values[question]
    at_once = ask(of, value)
    singly = [ask(picked(of, row), value[row]) for row in range(150)]
    same(at_once, Equilibrium(**{name: np.array([getattr(one, name) for one in singly]) for name in FIELDS}))
    order = np.random.default_rng(1).permutation(150)
    same(ask(picked(of, order), value[order]), each(at_once, lambda figure: figure[order]))
    monkeypatch.setattr(chunks, "_CHUNK", 7)
    same(at_once, ask(of, value))


def test_shapes_broadcast_and_inputs_are_left_alone() -> None:
    calcium, temperature = np.array([[0.0], [1.0], [2.0], [3.0]]), np.array([5.0, 20.0, 35.0])
    table = at_ph(water(calcium_mmol_l=calcium, alkalinity_meq_l=2, temperature_c=temperature), np.float32(7.5))
    for row, column in np.ndindex(4, 3):
        one = water(calcium_mmol_l=calcium[row, 0], alkalinity_meq_l=2.0, temperature_c=temperature[column])
        same(at_ph(one, 7.5), each(table, lambda figure, place=(row, column): figure[place]))
    # One temperature for all, every second row, rows upside down, transposed tables.
    of, air, _, _ = many(60)
    columns = [*(getattr(of, name) for name in FIGURES), air]
    kept = [column.copy() for column in columns]
    for column in columns:
        column.setflags(write=False)
    flat = at_air(of, air)
    same(at_air(replace(of, temperature_c=12.0), air), at_air(replace(of, temperature_c=np.full(60, 12.0)), air))
    for rows in (np.s_[::2], np.s_[::-1]):
        same(at_air(picked(of, rows), air[rows]), each(flat, lambda figure, rows=rows: figure[rows]))
    turned = replace(of, **{name: getattr(of, name).reshape(6, 10).T for name in FIGURES})
    same(at_air(turned, air.reshape(6, 10).T), each(flat, lambda figure: figure.reshape(6, 10).T))
    assert all(map(np.array_equal, columns, kept))


@pytest.mark.parametrize("shape", [(0,), (0, 3)])
@pytest.mark.parametrize("ask", QUESTIONS)
def test_of_no_water_there_are_no_answers(ask: Callable[..., Equilibrium], shape: tuple[int, ...]) -> None:
    found = ask(water(alkalinity_meq_l=np.empty(shape)), 5.0)
    assert {np.shape(getattr(found, name)) for name in FIELDS} == {shape}


EDGES: dict[str, dict[str, float]] = {
    "deionised": {},
    "calcium chloride": {"calcium_mmol_l": 5.0, "chloride_mmol_l": 10.0},
    "gypsum": {"calcium_mmol_l": 15.0, "sulfate_mmol_l": 15.0},
    "acid": {"chloride_mmol_l": 0.5, "alkalinity_meq_l": -0.5},
    "sulfuric acid": {"magnesium_mmol_l": 5.0, "sulfate_mmol_l": 5.25, "alkalinity_meq_l": -0.5},
    "alum": {"sulfate_mmol_l": 11.0, "potassium_mmol_l": 22.0, "alkalinity_meq_l": -0.05},
    "soda": {"sodium_mmol_l": 15.0, "alkalinity_meq_l": 15.0},
    "magnesia": {"magnesium_mmol_l": 7.5, "alkalinity_meq_l": 15.0},
    "ammonia": {"ammonia_mg_n_l": 20.0, "alkalinity_meq_l": 1.0},
    "next to nothing": {"calcium_mmol_l": 1e-300, "alkalinity_meq_l": 1e-12, "sulfate_mmol_l": 5e-324},
}


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("temperature_c", [0.0, 25.0, 40.0])
def test_every_water_has_its_answers(edge: str, temperature_c: float) -> None:
    one = water(temperature_c=temperature_c, **EDGES[edge])
    highest = at_carbon(one, 0.0).ph - 0.001
    for of in (one, replace(one, temperature_c=np.full(1, temperature_c))):
        answers = [at_air(of, times_air) for times_air in (0.0, 1e-9, 1.0, 100.0)]
        answers += [at_carbon(of, carbon) for carbon in (0.0, 1e-12, 1e-3, 1.0, 20.0)]
        answers += [at_ph(of, float(ph)) for ph in np.arange(4, 11.01, 0.25) if ph < highest]
        for found, name in ((found, name) for found in answers for name in FIELDS):
            figure = getattr(found, name)
            assert np.all(np.isfinite(figure) | (figure == -np.inf) & name.startswith("si_")), name


def refused(ask: Callable[..., Equilibrium], of: Water, *value: Any) -> str:
    with pytest.raises(OutOfRange) as caught:
        ask(of, *value)
    return str(caught.value)


@given(waters)
def test_a_ph_is_answered_up_to_that_of_water_without_carbon(of: Water) -> None:
    highest = float(at_carbon(of, 0.0).ph)
    below_it, above_it = highest - 0.01, highest + 0.01
    if above_it <= 13:
        assert at_ph(of, below_it).carbon_mmol_l >= 0
        assert refused(at_ph, of, above_it).startswith("alkalinity: ")
        assert refused(at_ph, of, np.array([below_it, above_it, below_it])).startswith("alkalinity in row 1: ")


@pytest.mark.parametrize("bad", [-1.0, 1e6, 1e300, math.nan, math.inf])
@pytest.mark.parametrize("name", sorted({*FIGURES} - {"alkalinity_meq_l", "free_chlorine_mg_l", "total_chlorine_mg_l"}))
def test_amounts_that_no_water_has_are_refused_by_name_and_row(name: str, bad: float) -> None:
    label = name.split("_")[0]
    allowed = f"; 0 to {40 if label == 'temperature' else ''}"
    for ask, value in ((at_air, 1.0), (at_carbon, 1.0), (at_ph, 7.0)):
        message = refused(ask, water(alkalinity_meq_l=1.0, **{name: bad}), value)
        assert message.startswith(f"{name}: {label} is {bad:g} ")
        assert allowed in message
        column = np.ones((2, 10))
        column[1, [3, 8]] = bad
        message = refused(ask, water(alkalinity_meq_l=1.0, **{name: column}), value)
        assert f"{label} in rows 13, 18 is {bad:g} " in message


@pytest.mark.parametrize(
    ("ask", "given", "value", "words"),
    [
        (at_air, {}, -0.1, "outdoor air is -0.1; 0 to "),
        (at_air, {}, math.nan, "outdoor air is nan"),
        (at_air, {}, 1e12, "outdoor air is 1e+12"),
        (at_carbon, {}, -0.1, "inorganic carbon is -0.1 mmol/L; 0 to "),
        (at_carbon, {}, math.inf, "inorganic carbon is inf"),
        (at_carbon, {}, 1e9, "inorganic carbon is 1e+09"),
        (at_ph, {}, 1.99, "pH is 1.99; 2 to 13"),
        (at_ph, {}, 13.01, "pH is 13.01; 2 to 13"),
        (at_ph, {}, None, "pH of this water is not known"),
        (at_air, {"temperature_c": -0.01}, 1.0, "temperature is -0.01 °C; 0 to 40"),
        (at_air, {"temperature_c": 40.01}, 1.0, "temperature is 40.01 °C; 0 to 40"),
        (at_air, {"alkalinity_meq_l": math.nan}, 1.0, "alkalinity is nan"),
    ],
)
def test_questions_without_meaning_are_refused(
    ask: Callable[..., Equilibrium], given: dict[str, float], value: Any, words: str
) -> None:
    assert words in refused(ask, water(**given), value)


@pytest.mark.parametrize(("value", "highest"), [(-0.5, "3.31"), (0.01, "8.99")])
def test_alkalinity_too_low_for_its_ph_is_named(value: float, highest: str) -> None:
    # 0.5 mmol/L of strong acid, 0.01 mmol/L of strong base: by their activities, pH 3.31 and 8.99 at 25 degC.
    message = refused(at_ph, water(alkalinity_meq_l=value), 10.0)
    assert message.startswith(f"alkalinity: {value:g} meq/L is read; ")
    assert f"pH {highest} " in message and "pH 10 " in message
    many_too_low = water(alkalinity_meq_l=np.full(20, value))
    assert "in rows 0, 1, 2, 3, 4 and 15 more: " in refused(at_ph, many_too_low, 10.0)


@pytest.mark.parametrize(("ask", "value"), [(at_air, 1.0), (at_carbon, 3.0), (at_ph, 8.0)])
def test_too_much_salt_is_refused_as_such(ask: Callable[..., Equilibrium], value: float) -> None:
    brine = water(sodium_mmol_l=1500.0, chloride_mmol_l=1500.0, alkalinity_meq_l=3.0)
    assert re.match(r"water: .*1 mol/kg of ions", refused(ask, brine, value))
    column = np.array([1.0, 1500.0, 1.0, 1500.0])
    brines = replace(brine, sodium_mmol_l=column, chloride_mmol_l=column)
    assert re.match(r"water in rows 1, 3: .*1 mol/kg of ions", refused(ask, brines, value))


def test_more_carbon_than_water_takes_up_is_not_called_too_little_alkalinity() -> None:
    for alkalinity in (15.0, np.array([15.0])):
        assert "CO2" in refused(at_ph, water(alkalinity_meq_l=alkalinity), 2.2)


@pytest.mark.parametrize("ask", QUESTIONS)
def test_memory_is_that_of_the_answers_and_of_one_chunk(ask: Callable[..., Equilibrium]) -> None:
    count = 200_000
    of = water(alkalinity_meq_l=np.linspace(1, 9, count), calcium_mmol_l=np.linspace(4, 0, count), sulfate_mmol_l=1.0)
    tracemalloc.start()
    ask(of, 6.0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # Solved all at once, the 300 or so arrays of the search would take 480 MB.
    assert peak - len(FIELDS) * count * 8 < 40e6
