"""The `sheet` command: one file or none, one message for every mistake, and the same refusals as `plan`."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from conftest import DEMO, Outcome
from houses import NAMES
from sheets import data_of, faults_of, flat, tree_of

from tapwright import __version__
from tapwright.cli.log.logbook import path_of

Run = Callable[..., Outcome]
LARGEST_BYTES = 400_000
ROCK = ("--tank", "Rock wall", "--date", "2026-03-14")


@pytest.fixture
def plain() -> Iterator[None]:
    """Without charts, which take a second and decide nothing here."""
    with patch("tapwright.cli.sheet.command._charts", return_value=[]):
        yield


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """The demo's household alone in a folder."""
    file = tmp_path / "here" / "house.toml"
    file.parent.mkdir()
    file.write_bytes(DEMO.read_bytes())
    return file


def changed_file(house: Path, *swaps: tuple[str, str]) -> Path:
    text = house.read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new)
    house.write_text(text, encoding="utf-8")
    return house


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def refused(done: Outcome, *said: str) -> None:
    """One message in words, and nothing else."""
    assert (done.code, done.out) == (2, "")
    assert len(done.err.splitlines()) == 1
    assert "Traceback" not in done.err
    for words in said:
        assert words in done.err


# --- one file -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tank", NAMES)
def test_one_file_is_written_and_its_name_said(tank: str, house: Path, tapwright: Run) -> None:
    page = house.with_name('the sheet\'s "page".html')
    done = tapwright("sheet", house, "--tank", tank, "--date", "2026-03-14", "-o", page)
    assert (done.code, done.err) == (0, "")
    assert str(page) in done.out and "needs no network" in done.out
    assert files(house.parent) == ["house.toml", page.name]
    assert page.stat().st_size < LARGEST_BYTES
    text = page.read_text(encoding="utf-8")
    assert faults_of(text) == []
    root, _ = tree_of(text)
    assert root.one("h1").text == f"Water change for {tank}"
    assert "2026-03-14" in root.one("header").text
    assert f"{len(data_of(root)['steps'])} steps" in done.out
    assert len(root.every("svg")) == 3


def test_the_days_work_and_the_time_stand_on_the_page(house: Path, tapwright: Run, plain: None) -> None:
    page = house.with_name("s.html")
    words = ("--start", "23:50", "--change", "30%", "--clean-substrate")
    assert tapwright("sheet", house, *ROCK, "-o", page, *words).code == 0
    root, _ = tree_of(page.read_text(encoding="utf-8"))
    steps = root.every("li", class_="step")
    times = [step.one(class_="when").text for step in steps]
    assert times[0] == "23:50"
    assert any(time.startswith("00:") for time in times)
    assert "30 %" in root.one("dl", class_="facts").text
    assert "substrate_clean" in {step.has["id"].removeprefix("step-") for step in steps}
    assert "hours:minutes" not in root.one("main").text


@pytest.mark.usefixtures("plain")
def test_json_says_what_was_written(house: Path, tapwright: Run) -> None:
    page = house.with_name("s.html")
    done = tapwright("sheet", house, *ROCK, "-o", page, "--json")
    assert (done.code, done.err) == (0, "")
    document = done.json
    assert set(document) == {"tool", "version", "schema_version", "command", "result", "findings", "assumptions"}
    assert (document["tool"], document["version"], document["command"]) == ("tapwright", __version__, "sheet")
    result = document["result"]
    assert {"file", "tank", "steps", "bytes"} <= set(result)
    assert (result["file"], result["tank"]) == (str(page), "Rock wall")
    assert result["bytes"] == page.stat().st_size
    plan = tapwright("plan", house, *ROCK, "--json").json
    assert result["steps"] == len(plan["result"]["steps"])
    assert document["findings"] == plan["findings"]
    assert document["assumptions"] == plan["assumptions"]


@pytest.mark.usefixtures("plain")
def test_a_stop_is_written_all_the_same_and_said(house: Path, tapwright: Run) -> None:
    """Salts for Shell bay are missing: exit code 1, as by plan; the page opens with it, its first step is to resolve it."""
    text = house.read_text(encoding="utf-8")
    house.write_text(text[: text.index("[[salt]]")] + text[text.index("[[tank]]") :], encoding="utf-8")
    plan = tapwright("plan", house, "--tank", "Shell bay", "--json")
    assert plan.code == 1
    for as_json, name in (([], "page.html"), (["--json"], "other.html")):
        page = house.with_name(name)
        done = tapwright("sheet", house, "--tank", "Shell bay", "-o", page, *as_json)
        assert (done.code, done.err) == (1, "")
        stops = [finding["text"] for finding in plan.json["findings"] if finding["level"] == "stop"]
        assert stops and all(flat(text) in flat(done.out.replace("\\n", " ")) for text in stops)
        root, _ = tree_of(page.read_text(encoding="utf-8"))
        first = root.one("main").every("li")[0]
        assert first.classes == ["stop"] and first.text.startswith("STOP:")
        step = root.every("li", class_="step")[0]
        assert step.has["id"].removeprefix("step-") == "resolve" and "hold" in step.classes
        assert "STOP: do not begin." in step.text


# --- no file ------------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("plain")
def test_what_is_there_stays_unless_forced(house: Path, tapwright: Run) -> None:
    page = house.with_name("s.html")
    page.write_text("mine", encoding="utf-8")
    refused(tapwright("sheet", house, *ROCK, "-o", page), f"{page}: is there already", "--force")
    assert page.read_text(encoding="utf-8") == "mine"
    error = tapwright("sheet", house, *ROCK, "-o", page, "--json")
    assert error.code == 2
    assert error.json["error"]["faults"][0]["where"] == str(page)
    assert page.read_text(encoding="utf-8") == "mine"
    # Forced it takes the place of a page alone, and not of what somebody else keeps there.
    refused(tapwright("sheet", house, *ROCK, "-o", page, "--force"), "is not a sheet of tapwright")
    assert page.read_text(encoding="utf-8") == "mine"
    old = "<!doctype html>\n<title>Water change for Rock wall</title>"
    for there in ("", old):
        page.write_text(there, encoding="utf-8")
        assert tapwright("sheet", house, *ROCK, "-o", page, "--force").code == 0
        assert faults_of(page.read_text(encoding="utf-8")) == []
    assert files(house.parent) == ["house.toml", "s.html"]
    # Forced where nothing is there, it is simply written.
    assert tapwright("sheet", house, *ROCK, "-o", house.with_name("t.html"), "--force").code == 0


@pytest.mark.parametrize("options", [(), ("--force",)], ids=["plain", "forced"])
def test_what_is_there_is_refused_before_anything_is_planned(
    options: tuple[str, ...], house: Path, tapwright: Run
) -> None:
    page = house.with_name("s.html")
    page.write_text("mine", encoding="utf-8")
    with patch("tapwright.cli.commands.plan.planned", side_effect=AssertionError("planned for nothing")):
        refused(tapwright("sheet", house, *ROCK, "-o", page, *options), str(page))


def test_what_came_while_the_plan_was_made_stays(house: Path, tapwright: Run) -> None:
    page = house.with_name("s.html")
    with patch("tapwright.cli.sheet.command.page_of", side_effect=lambda *_: (page.write_text("mine"), "ours")[1]):
        refused(tapwright("sheet", house, *ROCK, "-o", page), f"{page}: is there already", "--force")
    assert page.read_text(encoding="utf-8") == "mine"


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("force", [(), ("--force",)], ids=["plain", "forced"])
@pytest.mark.parametrize(("place", "reason"), [
    ("nowhere/s.html", "no such file or directory"), ("house.toml/s.html", "not a directory"),
    (f"{'x' * 300}.html", "file name too long"),
])  # fmt: skip
def test_a_place_that_takes_no_file_is_refused(
    place: str, reason: str, force: tuple[str, ...], house: Path, tapwright: Run
) -> None:
    page = house.parent / place
    refused(tapwright("sheet", house, *ROCK, "-o", page, *force), f"{page}: cannot be written: {reason}.")
    assert files(house.parent) == ["house.toml"]
    assert house.read_bytes() == DEMO.read_bytes()


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("force", [(), ("--force",)], ids=["plain", "forced"])
@pytest.mark.parametrize("place", [".", "", "folder"])
def test_a_folder_is_no_file(
    place: str, force: tuple[str, ...], house: Path, tapwright: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(house.parent)
    (house.parent / "folder").mkdir()
    refused(tapwright("sheet", house, *ROCK, "-o", place, *force))
    assert files(house.parent / "folder") == []
    assert "house.toml" in files(house.parent)


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("place", [".", "", "folder"])
def test_force_is_not_offered_where_it_cannot_help(
    place: str, house: Path, tapwright: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(house.parent)
    (house.parent / "folder").mkdir()
    assert "--force" not in tapwright("sheet", house, *ROCK, "-o", place).err


@pytest.mark.usefixtures("plain")
def test_a_forced_folder_leaves_nothing_behind(house: Path, tapwright: Run) -> None:
    (house.parent / "folder").mkdir()
    refused(tapwright("sheet", house, *ROCK, "-o", house.parent / "folder", "--force"))
    assert files(house.parent) == ["folder", "house.toml"]


@pytest.mark.usefixtures("plain")
def test_force_touches_no_file_but_its_own(house: Path, tapwright: Run) -> None:
    page, other = house.with_name("s.html"), house.with_name("s.html.part")
    page.write_text("old", encoding="utf-8")
    other.write_text("mine", encoding="utf-8")
    tapwright("sheet", house, *ROCK, "-o", page, "--force")
    assert other.exists() and other.read_text(encoding="utf-8") == "mine"


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("force", [(), ("--force",)], ids=["plain", "forced"])
@pytest.mark.parametrize("spelt", ["house.toml", "../here/house.toml", "link.toml"])
def test_the_household_file_is_never_written_over(
    spelt: str, force: tuple[str, ...], house: Path, tapwright: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(house.parent)
    house.with_name("link.toml").symlink_to(house)
    refused(tapwright("sheet", "house.toml", *ROCK, "-o", spelt, *force))
    assert house.read_bytes() == DEMO.read_bytes()
    assert house.with_name("link.toml").is_symlink()


@pytest.mark.usefixtures("plain")
def test_the_log_is_never_written_over(house: Path, tapwright: Run) -> None:
    assert tapwright("log", "import", house, DEMO.parent / "log.csv").code == 0
    before = path_of(house).read_bytes()
    done = tapwright("sheet", house, *ROCK, "-o", path_of(house), "--force")
    assert done.code == 2
    assert path_of(house).read_bytes() == before


@pytest.mark.usefixtures("plain")
def test_a_name_that_is_no_text_is_no_traceback(house: Path, tapwright: Run) -> None:
    other = Path(os.fsdecode(os.fsencode(str(house.parent)) + b"/b\xff.toml"))
    house.rename(other)
    page = house.with_name("s.html")
    assert tapwright("sheet", other, *ROCK, "-o", page).code in (0, 2)
    assert page.exists() is False or faults_of(page.read_text(encoding="utf-8")) == []


def test_without_a_name_for_the_page_it_is_asked_for(house: Path, tapwright: Run) -> None:
    refused(tapwright("sheet", house, *ROCK), "--output", "tapwright sheet --help")
    refused(tapwright("sheet", house, "-o", house.with_name("s.html")), "--tank", "Rock wall")
    assert files(house.parent) == ["house.toml"]


BAD: list[tuple[Any, ...]] = [
    ("--tank", "Rock wal"), ("--tank", ""), ("--tank", "Rock wall", "--change", "45"),
    ("--tank", "Rock wall", "--change", "150%"), ("--tank", "Rock wall", "--change", "0%"),
    ("--tank", "Rock wall", "--change", "-5%"), ("--tank", "Rock wall", "--change", "nan%"),
    ("--tank", "Rock wall", "--start", "25:00"), ("--tank", "Rock wall", "--start", "6pm"),
    ("--tank", "Rock wall", "--date", "soon"), ("--tank", "Rock wall", "--date", "2026-02-30"),
    ("--tank", "Rock wall", "--date", "2020-01-01", "--service-filter"),
]  # fmt: skip


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("words", BAD, ids=" ".join)
def test_a_bad_wish_is_refused_as_by_plan(words: tuple[str, ...], house: Path, tapwright: Run) -> None:
    page = house.with_name("s.html")
    for as_json in ((), ("--json",)):
        plan = tapwright("plan", house, *words, *as_json)
        sheet = tapwright("sheet", house, *words, "-o", page, *as_json)
        assert (sheet.code, sheet.err) == (plan.code, plan.err)
        assert sheet.code == 2
        if as_json:
            assert sheet.json["error"] == plan.json["error"]
    assert files(house.parent) == ["house.toml"]


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("swap", [
    ('bore = "19 mm"', 'bore = "19"'), ("[hose]", "[hoes]"), ('ph = 8.2', "ph = 82"), ("[tap]", "[tap"),
    ('volume = "220 L"', 'volume = "3 L"'), ('heater_power = "3 kW"', 'heater_power = "0 W"\n#'),
    ('nitrate = "5 mg/L NO3"', 'nitrate = "50 mg/L NO3"'),
], ids=lambda swap: swap[1][:24])  # fmt: skip
def test_a_bad_household_is_refused_as_by_plan(swap: tuple[str, str], house: Path, tapwright: Run) -> None:
    changed_file(house, swap, ('store = "180 L"', 'store = "20 L"'))
    plan, page = tapwright("plan", house, "--tank", "Rock wall"), house.with_name("s.html")
    sheet = tapwright("sheet", house, "--tank", "Rock wall", "-o", page)
    assert plan.code in (2, 3)
    assert (sheet.code, sheet.out, sheet.err) == (plan.code, "", plan.err)
    assert files(house.parent) == ["house.toml"]


@pytest.mark.usefixtures("plain")
def test_no_household_is_refused_as_by_plan(tmp_path: Path, tapwright: Run) -> None:
    for file in (tmp_path / "none.toml", tmp_path):
        plan = tapwright("plan", file, "--tank", "x")
        sheet = tapwright("sheet", file, "--tank", "x", "-o", tmp_path / "s.html")
        assert (sheet.code, sheet.out, sheet.err) == (plan.code, "", plan.err)
    assert files(tmp_path) == []


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize(
    "name", ["my tank's house.toml", 'a "b" & <i>c<i>.toml', "{{7*7}} {dose}.toml", "ünïcode 水.toml"]
)
def test_a_household_file_of_any_name(name: str, house: Path, tapwright: Run) -> None:
    other, page = house.rename(house.with_name(name)), house.with_name("s.html")
    assert tapwright("sheet", other, *ROCK, "-o", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert faults_of(text) == []
    assert f"from {name}." in tree_of(text)[0].one("header").text


@pytest.mark.usefixtures("plain")
@pytest.mark.parametrize("name", ["my house.toml", "it's.toml"])
def test_the_command_for_the_record_can_be_typed_as_it_stands(name: str, house: Path, tapwright: Run) -> None:
    other, page = house.rename(house.with_name(name)), house.with_name("s.html")
    tapwright("sheet", other, *ROCK, "-o", page)
    command = tree_of(page.read_text(encoding="utf-8"))[0].one("code").text
    assert command.startswith("tapwright log import ")
    assert shlex.quote(name) in command or f'"{name}"' in command
