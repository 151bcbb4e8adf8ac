"""Faulty household files: each gets its expected message with file, line and key, and none a traceback."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Outcome

from tapwright.cli.files.household_file import load
from tapwright.cli.files.household_template import examples, filled, text


def line_of(content: str, start: str, after: str = "") -> int:
    """Line number of the first line that begins with `start`, counted after a line that begins with `after`."""
    lines = content.split("\n")
    first = next((n for n, line in enumerate(lines) if line.startswith(after)), 0) if after else 0
    return next(n for n, line in enumerate(lines, 1) if n > first and line.startswith(start))


def swap(old: str, new: str) -> Callable[[str], str]:
    """An edit that replaces the first occurrence of a text, which must be there."""

    def edit(content: str) -> str:
        assert old in content
        return content.replace(old, new, 1)

    return edit


def drop(start: str) -> Callable[[str], str]:
    """An edit that takes out the first line that begins so."""

    def edit(content: str) -> str:
        lines = content.split("\n")
        lines.pop(next(n for n, line in enumerate(lines) if line.startswith(start)))
        return "\n".join(lines)

    return edit


def add(after: str, line: str) -> Callable[[str], str]:
    """An edit that puts a line behind the first line that begins so."""

    def edit(content: str) -> str:
        lines = content.split("\n")
        lines.insert(1 + next(n for n, entry in enumerate(lines) if entry.startswith(after)), line)
        return "\n".join(lines)

    return edit


def drop_table(header: str) -> Callable[[str], str]:
    """An edit that takes out a table with its keys."""

    def edit(content: str) -> str:
        head, _, rest = content.partition(header)
        tail = rest.partition("\n[")
        return head + (tail[1] + tail[2]).lstrip("\n")

    return edit


# (edit, key as printed, part of the message)
FAULTS: list[tuple[Callable[[str], str], str, str]] = [
    # quantities
    (swap('flow = "14 L/min"', 'flow = "14"'), "tap.flow", "'14' has no unit. Write for example flow = \"14 L/min\"."),
    (swap('flow = "14 L/min"', "flow = 14"), "tap.flow", "14 is read; a quantity stands in quotes, with its unit."),
    (swap('flow = "14 L/min"', "flow = true"), "tap.flow", "true is read; a quantity stands in quotes"),
    (swap('flow = "14 L/min"', 'flow = ""'), "tap.flow", "does not begin with a number"),
    (swap('flow = "14 L/min"', 'flow = "a lot"'), "tap.flow", "does not begin with a number"),
    (swap('flow = "14 L/min"', 'flow = "0 L/min"'), "tap.flow", "more than 0 L/min to 2000 L/min is allowed"),
    (swap('flow = "14 L/min"', 'flow = "14 L"'), "tap.flow", "'14 L' is a volume; a flow is wanted."),
    (swap('volume = "250 L"', 'volume = "1,5 L"'), "tote.volume", "has a comma; the decimal sign is a point. Write '1.5 L'."),
    (swap('volume = "250 L"', 'volume = "250 ltr"'), "tote.volume", "'ltr' in '250 ltr' is not a unit known here"),
    (swap('volume = "250 L"', 'volume = "-250 L"'), "tote.volume", "'-250 L' is read; more than 0 L to 100000 L is allowed"),
    (swap('volume = "250 L"', 'volume = "250 kg"'), "tote.volume", "is a mass; a volume is wanted"),
    (swap('volume = "250 L"', 'volume = "inf L"'), "tote.volume", "does not begin with a number"),
    (swap('temperature = "55 degC"', 'temperature = "200 degC"'), "hot_water.temperature", "15 degC to 95 degC is allowed"),
    (swap('temperature = "55 degC"', 'temperature = "55"'), "hot_water.temperature", 'temperature = "55 degC"'),
    (swap('nitrate = "6 mg/L NO3"', 'nitrate = "6 mg/L"'), "tap.nitrate", "'6 mg/L' is ambiguous; say what it is counted as"),
    (swap('nitrate = "6 mg/L NO3"', 'nitrate = "6 ppm"'), "tap.nitrate", "'mg/L NO3' or 'mg/L N'"),
    (swap('hardness = "4 dGH"', 'hardness = "4 dKH"'), "tap.hardness", "is an alkalinity; a hardness is wanted"),
    (swap('hardness = "4 dGH"', 'hardness = "70 ppm"'), "tap.hardness", "say what it is counted as: 'mg/L CaCO3'"),
    (swap('heater_power = "3 kW"', 'heater_power = "3 hp"'), "hot_water.heater_power", "'hp' in '3 hp' is not a unit"),
    (swap('live_water = "88%"', 'live_water = "140%"'), "tank.1.live_water", "more than 0 % to 100 % is allowed"),
    (swap('live_water = "88%"', 'live_water = "0.88"'), "tank.1.live_water", "has no unit"),
    (swap('bore = "25 mm"', 'bore = "0 mm"'), "hose.bore", "2 mm to 500 mm is allowed"),
    (swap('total_chlorine = "1.8 mg/L"', 'total_chlorine = "40 mg/L"'), "tap.total_chlorine", "0 mg/L to 20 mg/L is allowed"),
    (swap('resolution = "0.1 g"', 'resolution = "?"'), "scale.resolution", "not filled in yet. Write for example resolution = \"0.1 g\"."),
    # plain numbers, names, dates
    (add("[tap]", 'ph = "7.6"'), "tap.ph", "'7.6' is read; a pH from 4 to 11 is allowed. Write for example ph = 7.6."),
    (add("[tap]", "ph = 76"), "tap.ph", "76 is read; a pH from 4 to 11 is allowed"),
    (add("[tap]", "chlorine_to_nitrogen = 0"), "tap.chlorine_to_nitrogen", "0 is read; a ratio"),
    (swap('"sodium thiosulfate pentahydrate"', '"thiosulphate"'), "neutraliser.1.agent", "'thiosulphate' is not a neutraliser known here"),
    (swap('"sodium bicarbonate"', '"magnesium sulfate hexahydrate"'), "salt.1.name", "is not a salt known here"),
    (swap('"sodium bicarbonate"', "7"), "salt.1.name", "7 is read; a name in quotes is wanted"),
    (swap('target = "malawi"', 'target = "malavi"'), "tank.1.target", "'malavi' is not a lake known here. Write 'malawi'"),
    (swap('name = "Long tank"', 'name = ""'), "tank.1.name", "a name in quotes is wanted"),
    (add("[[tank]]", 'last_filter_service = "yesterday"'), "tank.1.last_filter_service", "a date is wanted"),
    # keys and tables
    (swap("live_water", "live_watter"), "tank.1.live_watter", "is not a key known here. Did you mean 'live_water'?"),
    (add("[pump]", 'color = "blue"'), "pump.color", "Known keys: maximum_flow, maximum_head, suction_height."),
    (drop("bore"), "hose.bore", "not given, and it is needed. Write for example bore = \"25 mm\"."),
    (drop("total_chlorine"), "tap.total_chlorine", "not given, and it is needed."),
    (drop_table("[scale]"), "scale", "not given, and it is needed. Write a table [scale]."),
    (swap("[pump]", "[pomp]"), "pomp", "Did you mean 'pump'?"),
    (swap("[[salt]]", "[salt]"), "salt", "a list of tables is wanted. Write [[salt]] with two brackets"),
    (add("#: room_temperature", 'scale = "0.1 g"'), "", "this key or table stands twice."),
    (drop("overflow_height"), "tank.1.overflow_height", "not given, and it is needed."),
    # what does not fit together
    (drop_table("[[neutraliser]]"), "neutraliser", "none given, and the tap has chlorine."),
    (swap('"sodium thiosulfate pentahydrate"', '"sodium thiosulfate"'), "neutraliser.1.agent",
     "does not say which hydrate; their doses differ by up to half. Read the label and write 'sodium thiosulfate anhydrous'"),
    (swap('"sodium thiosulfate pentahydrate"', '"sodium hydroxymethanesulfonate"'), "neutraliser.1.label",
     "not given, and no dose can be computed without it"),
    (add("[tap]", 'calcium = "90 mg/L"'), "tap.calcium", "12.6 dGH of calcium alone is more than the hardness of 4.0 dGH"),
    (swap('fill_lift = "140 cm"', 'fill_lift = "4 m"'), "hose.fill_lift", "the pump cannot lift 4.00 m."),
    (swap('drain_lift = "20 cm"', 'drain_lift = "5 m"'), "hose.drain_lift", "the pump cannot lift 4.42 m."),
    (add("[[tank]]", 'refill_temperature = "9 degC"'), "tank.1.refill_temperature", "lies outside what the taps give"),
    (add("[tap]", "chlorine_to_nitrogen = 0.2"), "tap.chlorine_to_nitrogen", "a ratio from 1 to 100 is allowed"),
    (add("total_chlorine", 'free_chlorine = "2 mg/L"'), "tap.free_chlorine", "2 mg/L free is more than the total (1.8 mg/L)"),
    (drop('hardness = "4 dGH"'), "tap.hardness", "not given, nor calcium and magnesium both"),
    (drop('width = "60 cm"'), "tank.1.volume", "give either the volume, or length and width, and not both"),
    (add('width = "60 cm"', 'volume = "600 L"'), "tank.1.volume", "not both"),
    (drop("target"), "tank.1.target", "give either a lake or bands of your own, and not both"),
    (swap('overflow_height = "62 cm"', 'overflow_height = "50 cm"'), "tank.1.overflow_height", "lies below water_height"),
    (swap('heater_height = "25 cm"', 'heater_height = "58 cm"'), "tank.1.heater_height", "the heater would stand dry"),
    (swap("[tank.readings]", "[tank.bands]\nhardness = [\"8 dGH\"]\nalkalinity = [\"3 dKH\", \"5 dKH\"]\n[tank.readings]"),
     "tank.1.bands.hardness", "a lowest and a highest are wanted"),
    (lambda content: drop("target")(content).replace("[tank.readings]", "[tank.bands]\nhardness = [\"9 dGH\", \"8 dGH\"]\n"
     "alkalinity = [\"3 dKH\", \"5 dKH\"]\n[tank.readings]"), "tank.1.bands.hardness", "the lowest is above the highest"),
    (add("[[neutraliser]]", 'label = {amount = "-5 mL", volume = "40 L", chlorine = "2 mg/L"}'),
     "neutraliser.1.label.amount", "more than nothing is wanted"),
    (add("[[neutraliser]]", 'label = {amount = "5 cm", volume = "40 L", chlorine = "2 mg/L"}'),
     "neutraliser.1.label.amount", "grams or millilitres are wanted"),
    (lambda content: content + '\n[[salt]]\nname = "NaHCO3"\n', "salt.2.name", "'sodium bicarbonate' stands twice"),
    # hose, heaters, intake and measured times
    (add("[hose]", 'coil = { length = "12 m", diameter = "50 cm" }'), "hose.coil", "12 m wound to 0.5 m across, of 9 m of hose."),
    (add("[hose]", 'coil = { length = "4 m", diameter = "20 mm" }'), "hose.coil", "4 m wound to 0.02 m across"),
    (add("[hose]", 'coil = { length = "4 m" }'), "hose.coil.diameter", "not given, and it is needed"),
    (add("[hose]", "fittings = { elbo = 2 }"), "hose.fittings", "'elbo' is no fitting known here. Write elbow or elbow_45."),
    (add("[hose]", "fittings = { elbow = -1 }"), "hose.fittings", "-1 of elbow. Count 0 to 1000."),
    (lambda content: add("[hose]", "siphon = true")(swap('drain_lift = "20 cm"', 'drain_lift = "60 cm"')(content)),
     "hose.drain_lift", "a siphon does not run uphill. Lead its open end lower than the water, or pump."),
    (lambda content: add("[hose]", "siphon = true")(add("[[tank]]", 'drain_lift = "58 cm"')(content)),
     "tank.1.drain_lift", "a siphon does not run uphill"),
    (add("[[tank]]", 'intake_height = "60 cm"'), "tank.1.intake_height", "lies at or above water_height: the filter would draw air"),
    (add("[[tank]]", 'intake_height = "58 cm"'), "tank.1.intake_height", "lies at or above water_height"),
    (add("[[tank]]", 'heater_power = "600 L"'), "tank.1.heater_power", "'600 L' is a volume; a power is wanted"),
    (add("[[tank]]", 'heater_power = "-600 W"'), "tank.1.heater_power", "0 W to 100000 W is allowed"),
    (add("[[tank]]", 'timed_drain = { volume = "250 L", time = "1 min" }'), "tank.1.timed_drain",
     "250 L in 1.0 minutes is read; this pump and hose would take "),
    (add("[[tank]]", 'timed_fill = { volume = "250 L", time = "1 min" }'), "tank.1.timed_fill", "250 L in 1.0 minutes is read"),
    (add("[[tank]]", 'timed_drain = { volume = "552 L", time = "12 min" }'), "tank.1.timed_drain.volume",
     "more was drained than the tank holds, 551 L."),
    (add("[[tank]]", 'timed_fill = { volume = "250 L" }'), "tank.1.timed_fill.time", "not given, and it is needed"),
    (add("[[tank]]", 'timed_drain = { volume = "250 L", time = "0 min" }'), "tank.1.timed_drain.time", "more than 0 min to 1440 min"),
    (add("[[tank]]", 'timed_drain = "9 min"'), "tank.1.timed_drain",
     'a table is wanted. Write for example timed_drain = { volume = "250 L", time = "9 min" }'),
    (add("#: room_temperature", 'room_humidity = "140%"'), "room_humidity", "'140%' is read; more than 0 % to 100 % is allowed."),
    (add("#: room_temperature", 'room_humidity = "50 degC"'), "room_humidity", "'50 degC' is a temperature; a share is wanted"),
    # not TOML
    (swap('flow = "14 L/min"', "flow = 14 L/min"), "", 'A quantity stands in quotes, with its unit: flow = "14 L/min".'),
    (swap('flow = "14 L/min"', 'flow = "14 L/min'), "", "A quotation mark is missing."),
    (add("[[tank]]", "last_filter_service = 14.03.2026"), "", "last_filter_service = 2026-03-14"),
    (swap('flow = "14 L/min"', "flow = “14 L/min”"), "", 'Quotation marks must be straight: flow = "14 L/min"'),
    (lambda content: content.replace("[[tank]]", "[tank]", 1) + "\n[[tank]]\n", "", "Write [[tank]] with two brackets"),
    (swap("[tote]", "[tote"), "", "A line reads: key = \"value\", or [table], or # remark."),
    (add("[tap]", 'flow = "15 L/min"'), "", "this key or table stands twice."),
]  # fmt: skip


@pytest.mark.parametrize(("edit", "key", "message"), FAULTS, ids=range(len(FAULTS)))
def test_a_faulty_file_gets_its_message(
    edit: Callable[[str], str],
    key: str,
    message: str,
    household_text: str,
    tmp_path: Path,
    tapwright: Callable[..., Outcome],
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(edit(household_text), encoding="utf-8")
    done = tapwright("check", path)
    assert done.code == 2
    assert done.out == ""
    assert "Traceback" not in done.err
    lines = [line for line in done.err.splitlines() if message in line]
    assert lines, done.err
    place = lines[0].removeprefix(f"{path}:")
    assert place != lines[0]
    if key:
        number, named = place.split(": ")[:2]
        assert named == key
        # The line is the key's own, or that of the table it is missing from; the whole file's is the first.
        written = path.read_text(encoding="utf-8").split("\n")[int(number) - 1]
        last = key.split(".")[-1]
        missing = "not given" in message or "none given" in message or "give either" in message
        assert written.startswith((last, f"[{key}]", f"[[{key}]]")) or f"{last} =" in written or missing
        if missing and int(number) > 1:
            assert written.startswith("[") or "{" in written
    else:
        assert place.partition(":")[0].isdigit()


def test_there_are_at_least_forty_distinct_faults() -> None:
    assert len({(key, message) for _, key, message in FAULTS}) >= 40


def test_hot_must_be_hotter_than_cold(household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    content = household_text.replace('"55 degC"', '"16 degC"', 1).replace('"11 degC"', '"18 degC"', 1)
    path.write_text(content, encoding="utf-8")
    done = tapwright("check", path)
    line = line_of(content, "temperature", after="[hot_water]")
    assert f"{path}:{line}: hot_water.temperature: is not hotter than the cold tap." in done.err


def test_every_fault_is_named_at_once_in_the_order_of_the_file(
    household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    content = household_text.replace('"14 L/min"', '"14"').replace("bore", "boar").replace('"88%"', '"0%"')
    path.write_text(content, encoding="utf-8")
    done = tapwright("check", path)
    places = [int(line.split(":")[1]) for line in done.err.splitlines()]
    assert places == sorted(places)
    expected = {
        "tap.flow": line_of(content, "flow"),
        "hose": line_of(content, "[hose]"),
        "hose.boar": line_of(content, "boar"),
        "tank.1.live_water": line_of(content, "live_water"),
    }
    for key, line in expected.items():
        assert f"{path}:{line}: {key}" in done.err
    assert len(places) == 4


def test_what_does_not_fit_together_is_named_beside_single_faults(
    household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    content = household_text.replace('"88%"', '"0%"').replace('"62 cm"', '"50 cm"').replace('"14 L/min"', '"14"')
    content = content.replace('total_chlorine = "1.8 mg/L"', 'total_chlorine = "1.8 mg/L"\nfree_chlorine = "2 mg/L"')
    content += '\n[[salt]]\nname = "baking soda"\n'
    path = tmp_path / "house.toml"
    path.write_text(content, encoding="utf-8")
    said = tapwright("check", path).err
    for part in ("tap.flow: '14' has no unit", "tank.1.live_water: '0%' is read", "overflow_height: lies below",
                 "free_chlorine: 2 mg/L free is more", "salt.2.name: 'sodium bicarbonate' stands twice"):  # fmt: skip
        assert part in said
    assert len(said.splitlines()) == 5


def test_what_depends_on_a_faulty_value_is_not_judged(
    household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(household_text.replace('"58 cm"', '"fifty"').replace('"62 cm"', '"10 cm"'), encoding="utf-8")
    assert [line.split(": ")[1] for line in tapwright("check", path).err.splitlines()] == ["tank.1.water_height"]


def test_a_coil_is_not_judged_by_a_length_that_could_not_be_read(
    household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    coil = add("[hose]", 'coil = { length = "12 m", diameter = "50 cm" }')
    path.write_text(coil(swap('length = "9 m"', 'length = "9"')(household_text)), encoding="utf-8")
    assert [line.split(": ")[1] for line in tapwright("check", path).err.splitlines()] == ["hose.length"]


@pytest.mark.parametrize(
    "line", ['siphon = "yes"', "fittings = 2", 'fittings = { elbow = "2" }', "fittings = { elbow = 1.5 }"]
)
def test_a_value_of_the_wrong_kind_is_told_what_to_write(
    line: str, household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(add("[hose]", line)(household_text), encoding="utf-8")
    said = tapwright("check", path).err
    assert "Write" in said
    assert not {"boolean", "dictionary", "integer"} & set(said.replace(".", "").split())


def test_numbers_and_nestings_past_all_reason_are_one_line(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    for content in (f"ph = {'9' * 5000}", f"a = {'[' * 5000}"):
        path.write_text(content, encoding="utf-8")
        done = tapwright("check", path)
        assert done.code == 2
        assert len(done.err.splitlines()) == 1


def test_a_long_file_is_read_as_a_short_one(
    household_text: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    content = "# remark\n" * 3000 + household_text.replace('"14 L/min"', '"14"')
    path.write_text(content, encoding="utf-8")
    assert f":{line_of(content, 'flow')}: tap.flow" in tapwright("check", path).err


def test_a_value_over_several_lines_is_named_by_its_first(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    content = drop("target")(filled()).replace(
        "[tank.readings]",
        '[tank.bands]\nhardness = [\n  "9 dGH",\n  "8 dKH",\n]\nalkalinity = ["3 dKH", "5 dKH"]\n[tank.readings]',
    )
    path.write_text(content, encoding="utf-8")
    assert f"{path}:{line_of(content, 'hardness = [')}: tank.1.bands.hardness" in tapwright("check", path).err


def test_files_that_cannot_be_read_are_named(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    missing = tmp_path / "none.toml"
    assert "there is no such file. Make one with: tapwright new" in tapwright("check", missing).err
    assert "cannot be read: is a directory" in tapwright("check", tmp_path).err
    latin = tmp_path / "latin.toml"
    latin.write_bytes("# first\n# caf\xe9\n".encode("latin-1"))
    assert f"{latin}:2: is not UTF-8 text." in tapwright("check", latin).err
    empty = tmp_path / "empty.toml"
    empty.write_text("", encoding="utf-8")
    assert "tap: not given, and it is needed. Write a table [tap]." in tapwright("check", empty).err


def test_marks_and_line_ends_of_other_systems_are_let_pass(household_text: str, tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_bytes(b"\xef\xbb\xbf" + household_text.replace("\n", "\r\n").encode())
    assert load(path).tanks[0].name == "Long tank"


@pytest.mark.parametrize("optional", [False, True])
def test_the_template_filled_by_its_own_examples_is_in_order(optional: bool, tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(filled(optional=optional), encoding="utf-8")
    assert load(path).tanks[0].name == "Long tank"


def test_the_unfilled_template_names_every_gap(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    path.write_text(text(), encoding="utf-8")
    done = tapwright("check", path)
    gaps = [number for number, line in enumerate(text().split("\n"), 1) if '= "?"' in line]
    assert [int(line.split(":")[1]) for line in done.err.splitlines()] == gaps
    assert all("not filled in yet. Write for example" in line for line in done.err.splitlines())


def test_every_key_of_the_models_has_an_example_in_the_template() -> None:
    from tapwright.chemistry.plan.household import household as models
    from tapwright.chemistry.plan.household.table_faults import keys

    known = set(examples())
    for prefix, model in (
        ("", models.Household), ("tap.", models.Tap), ("hot_water.", models.HotWater), ("tote.", models.Tote),
        ("pump.", models.PumpTable), ("hose.", models.HoseTable), ("scale.", models.Scale), ("salt.", models.SaltTable),
        ("tank.readings.", models.ReadingsTable), ("neutraliser.", models.NeutraliserTable), ("tank.", models.Tank),
    ):  # fmt: skip
        missing = {f"{prefix}{key}" for key in keys(model)} - known
        tables = {key for key in missing if any(name.startswith(f"{key}.") for name in known)}
        rare = {"neutraliser.label", "tank.volume", "tank.bands"} | {
            key for key in missing if key.startswith("tank.readings.")
        }
        assert missing - tables - rare == set()
