"""Units at the door: published definitions, laws of conversion, and refusals that say what to write."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.units import KINDS, convert, figure, from_canonical, kind_of, read, show

# (quantity, unit, expected, relative tolerance, source)
PUBLISHED = [
    ("1 dGH", "mg/L CaCO3", 17.848, 2e-5, "DIN 38409-6: 10 mg CaO per litre"),
    ("1 dGH", "mmol/L", 0.178326, 2e-5, "DIN 38409-6"),
    ("1 fH", "mg/L CaCO3", 10.0, 1e-12, "French degree: 10 mg CaCO3 per litre"),
    ("1 eH", "mg/L CaCO3", 14.254, 3e-5, "Clark degree: 1 grain CaCO3 per imperial gallon"),
    ("1 gpg", "mg/L CaCO3", 17.118, 1e-5, "1 grain CaCO3 per US gallon"),
    ("1 dKH", "mg/L CaCO3", 17.848, 2e-5, "DIN 38409-6, as equivalents"),
    ("1 dKH", "meq/L", 0.35665, 2e-5, "DIN 38409-6, as equivalents"),
    ("580 mg/L CaCO3", "mg/L HCO3", 707.18, 1e-4, "USGS WRIR 02-4045 table 4 with Hem's 0.8202 prints 707"),
    ("1 mg/L N", "mg/L NO3", 4.4266, 1e-4, "CIAAW weights 62.004 / 14.007"),
    ("10 mg/L N", "mg/L NO3", 44.27, 1e-3, "US EPA nitrate limit, 10 mg/L N"),
    ("1 mg/L NH3", "mg/L N", 0.82244, 2e-5, "CIAAW weights 14.007 / 17.031"),
    ("1 mg/L Cl2", "mg/L NH2Cl", 0.726, 1e-4, "CIAAW weights 51.473 / 70.900"),
    ("1 mg/L NH4", "mg/L N", 0.77648, 2e-5, "CIAAW weights 14.007 / 18.039"),
    ("10 eH", "meq/L", 2.8483, 5e-5, "Clark degree as equivalents: 142.54 mg/L CaCO3 / 50.043"),
    ("1 gpg", "meq/L", 0.34207, 5e-5, "17.118 mg/L CaCO3 / 50.043"),
    ("10 fH", "meq/L", 1.99828, 5e-5, "100 mg/L CaCO3 / 50.043"),
    ("1 oz", "g", 28.3495, 1e-5, "a sixteenth of the pound"),
    ("1 mS/cm", "uS/cm", 1000.0, 1e-12, "definition"),
    ("1 gal", "L", 3.785411784, 1e-12, "NIST Handbook 44 App. C, exact"),
    ("1 imp gal", "L", 4.54609, 1e-12, "UK Weights and Measures Act 1985, exact (from memory)"),
    ("120 F", "C", 48.8889, 1e-6, "definition"),
    ("32 degF", "degC", 0.0, 1e-9, "definition"),
    ("1 lb", "g", 453.59237, 1e-12, "international pound 1959 (from memory)"),
    ("1 ft", "in", 12.0, 1e-12, "definition"),
    ("600 gal/h", "L/min", 37.854, 1e-4, "NIST Handbook 44 App. C"),
]


@pytest.mark.parametrize(("quantity", "unit", "expected", "tolerance", "source"), PUBLISHED)
def test_published_definitions(quantity: str, unit: str, expected: float, tolerance: float, source: str) -> None:
    value, _ = convert(quantity, unit)
    assert value == pytest.approx(expected, rel=tolerance, abs=1e-9), source


def test_one_equivalent_is_50_04_mg_of_calcium_carbonate() -> None:
    # Half the molar mass of CaCO3, CIAAW abridged weights.
    assert convert("1 meq/L", "mg/L CaCO3")[0] == pytest.approx(50.043, abs=1e-3)


ALL_UNITS = [(kind, unit) for kind, meant in KINDS.items() for unit in meant.spellings]


@pytest.mark.parametrize(("kind", "unit"), ALL_UNITS)
def test_every_spelling_goes_in_and_comes_back(kind: str, unit: str) -> None:
    canonical = read(f"3.25 {unit}", kind)
    assert from_canonical(canonical, kind, unit) == pytest.approx(3.25, rel=1e-12)


@given(st.sampled_from(ALL_UNITS), st.floats(-1e6, 1e6, allow_nan=False), st.floats(0.01, 100))
def test_reading_is_linear_but_for_temperature(kind_unit: tuple[str, str], value: float, factor: float) -> None:
    kind, unit = kind_unit
    assume(kind != "temperature")
    assert read(f"{value * factor!r} {unit}", kind) == pytest.approx(
        read(f"{value!r} {unit}", kind) * factor, rel=1e-12, abs=1e-9
    )


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("12 ft", "volume", "'12 ft' is a length; a volume is wanted."),
        ("1,5 L", "volume", "Write '1.5 L'."),
        ("1,500 L", "volume", "Write '1.500 L' or '1500 L'."),
        ("20 ppm", "nitrate", "'mg/L NO3' or 'mg/L N'"),
        ("100 ppm", "hardness", "say what it is counted as: 'mg/L CaCO3'"),
        ("0.5 mg/L", "ammonia", "'mg/L N', 'mg/L NH3' or 'mg/L NH4'"),
        ("450", "volume", "'450' has no unit."),
        ("", "volume", "does not begin with a number"),
        ("many L", "volume", "does not begin with a number"),
        ("1e999 L", "volume", "is not a finite number"),
        ("5 furlong", "length", "'furlong' in '5 furlong' is not a unit known here."),
        ("8 dGH", "alkalinity", "is a hardness; an alkalinity is wanted"),
        ("5 L/L/L", "volume", "is not a unit known here"),
    ],
)
def test_refusals_say_what_to_write(text: str, kind: str, message: str) -> None:
    with pytest.raises(BadInput) as refused:
        read(text, kind, "key")
    assert message in str(refused.value)
    assert str(refused.value).startswith("key: ")


@pytest.mark.parametrize(
    ("quantity", "unit", "message"),
    [
        ("12 dGH", "dKH", "one cannot be turned into the other"),
        ("1 L", "kg", "'L' is a volume and 'kg' is a mass"),
        ("3 ppm", "dGH", "'ppm' is ambiguous"),
        ("3 dGH", "ppm", "'ppm' is ambiguous"),
        ("1 L", "litr", "Did you mean 'litre'"),
    ],
)
def test_units_that_cannot_be_converted_are_one_clear_line(quantity: str, unit: str, message: str) -> None:
    with pytest.raises(BadInput) as refused:
        convert(quantity, unit)
    assert message in str(refused.value)
    assert "\n" not in str(refused.value)


def test_letters_that_a_general_registry_misreads_mean_what_a_keeper_means() -> None:
    assert read("78 F", "temperature") == pytest.approx(25.5556, abs=1e-3)  # not farads
    assert read("5 G", "mass") == 5.0  # not gauss


@pytest.mark.parametrize("text", ["5 Mg", "5 ML"])
def test_a_capital_m_is_not_let_pass(text: str) -> None:
    with pytest.raises(BadInput):
        convert(text, "g" if text.endswith("g") else "L")


def test_numbers_past_all_reason_are_refused() -> None:
    for text, unit in (("1e308 dGH", "mg/L CaCO3"), ("1e308 gal", "mL")):
        with pytest.raises(BadInput, match="too large"):
            convert(text, unit)


@given(st.floats(-1e9, 1e9, allow_nan=False), st.integers(2, 6))
def test_figures_keep_their_digits_and_never_use_powers_of_ten(number: float, digits: int) -> None:
    text = figure(number, digits)
    assert "e" not in text
    assert float(text) == pytest.approx(number, rel=0.51 * 10 ** (1 - digits), abs=1e-300)


def test_gallons_differ() -> None:
    assert read("1 imp gal", "volume") / read("1 US gal", "volume") == pytest.approx(1.20095, rel=1e-5)


def test_show_and_kind_of() -> None:
    assert show(454.25, "volume", "gal") == "120 gal"
    assert show(0.45, "share", "%") == "45 %"
    assert kind_of("5 mL") == "volume"
    assert kind_of("5 mg/L") is None
    assert kind_of("five") is None
