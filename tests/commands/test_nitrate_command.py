"""The `nitrate` command over the demo's log: what counts in it, what its figures must agree on, and what is refused."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import pytest
import typer.main
from conftest import DEMO, Outcome

from tapwright.chemistry.change.nitrate.production import Change, Reading, production
from tapwright.chemistry.change.nitrate.schedule import INTERVALS_DAYS, SHARES
from tapwright.chemistry.plan.figures.outlook import outlook_of
from tapwright.cli.app import run
from tapwright.cli.commands.nitrate import events_of
from tapwright.cli.files.household_file import load
from tapwright.cli.log.entries import Entry, moment
from tapwright.cli.log.logbook import Logbook, path_of

Run = Callable[..., Outcome]
MADE_ONCE = cache(typer.main.get_command)
NOW, DAY_S = "2026-03-15T12:00+01:00", 86400.0
ROCK = load(DEMO).tanks[0]
RUN: dict[Any, Outcome] = {}
# N 14.007 and O 15.999 g/mol, the abridged weights of CIAAW: 62.004 g of NO3 hold 14.007 g of N.
PER_N = 62.004 / 14.007
SAME = 1e-9
KEYS = {"rate_mg_l_day", "peak_mg_l", "trough_mg_l", "share", "interval_days", "confidence", "table"}


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with its log; a copy for every test."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copy(DEMO, folder)
    assert run(["log", "import", str(folder / DEMO.name), str(DEMO.parent / "log.csv")]) == 0
    return folder


@pytest.fixture
def house(imported: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(imported, tmp_path / "home")) / DEMO.name


@pytest.fixture
def asked(house: Path, tapwright: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    """`nitrate` of the Rock wall at a certain moment, unless told otherwise."""
    monkeypatch.setattr(typer.main, "get_command", MADE_ONCE)

    def call(*flags: object, tank: str = "Rock wall", now: str = NOW, **options: object) -> Outcome:
        words = [str(word) for name, value in options.items() for word in (f"--{name}", value)]
        words = ["--tank", tank, "--now", now, *words, *map(str, flags)]
        key = (*words, house.read_text(encoding="utf-8"), *everything(house))
        if key not in RUN:  # the same words on the same file and log, entries taken back included, say the same
            done: Outcome = tapwright("nitrate", house, *words)
            if done.code or "chart" in options:
                return done
            RUN[key] = done
        return RUN[key]

    return call


def everything(house: Path) -> list[Entry]:
    if not path_of(house).exists():
        return []
    with Logbook(path_of(house), create=False) as book:
        return book.entries()


@pytest.fixture
def found(asked: Run) -> Any:
    return asked("--json").json["result"]


@pytest.fixture
def log(house: Path, tapwright: Run, asked: Run) -> Run:
    return lambda command, *words: tapwright("log", command, house, *words)


def entries(house: Path, tank: str = "Rock wall") -> list[Entry]:
    with Logbook(path_of(house), create=False) as book:
        return [entry for entry in book.entries(tank) if entry.undone is None]


def rewritten(house: Path, edit: Callable[[list[Entry]], list[Entry]]) -> None:
    """The log of the Rock wall written anew."""
    kept = edit(entries(house))
    path_of(house).unlink()
    with Logbook(path_of(house), create=True) as book:
        book.add(kept)


def nearly(one: Any, other: Any, rel: float = SAME) -> bool:
    """Whether two results say the same, figure by figure."""
    if isinstance(one, dict):
        return set(one) == set(other) and all(nearly(one[key], other[key], rel) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(nearly(*pair, rel) for pair in zip(one, other, strict=True))
    return one == pytest.approx(other, rel=rel) if isinstance(one, float) else bool(one == other)


# --- laws of what it says -----------------------------------------------------------------------------------------


def test_keys_and_ranges(asked: Run) -> None:
    done = asked("--json")
    found = done.json["result"]
    assert (done.code, done.err) == (0, "")
    assert set(found) >= KEYS
    for key in ("rate_mg_l_day", "peak_range_mg_l", "trough_range_mg_l", "tank_mg_l"):
        assert 0 < found[key]["low"] < found[key]["median"] < found[key]["high"]
    for key in ("peak", "trough"):
        assert found[f"{key}_mg_l"] == found[f"{key}_range_mg_l"]["median"] < found[f"{key}_at_confidence_mg_l"]
    assert (found["confidence"], found["ceiling_mg_l"], found["refill_mg_l"]) == (0.9, 40.0, 5.0)
    assert found["readings"] == 15  # of nitrate in the Rock wall, in demo/log.csv
    assert found["interval_days"] == 7.0  # changed every Saturday
    # The file says 14 mg/L between two changes: what the demo was drawn with lies in the range.
    rate = found["rate_mg_l_day"]
    assert 7 * rate["low"] < 14 < 7 * rate["high"]
    assert found["nitrate_rise_mg_l"] == pytest.approx(7 * rate["median"])


@pytest.mark.parametrize("confidence", ["50%", "90%", "99%"])
def test_the_table_is_one_rate_at_every_share_and_interval(confidence: str, asked: Run) -> None:
    found = asked("--json", confidence=confidence).json["result"]
    cells = {(cell["share"], cell["interval_days"]): cell for cell in found["table"]}
    assert set(cells) == {(share, interval) for share in SHARES for interval in INTERVALS_DAYS}
    # Settled, a change takes out what came in: share x (peak - tap) = rate x interval, with the rate not exceeded at
    # the confidence asked.
    rates = [cell["share"] * (cell["peak_mg_l"] - 5.0) / cell["interval_days"] for cell in found["table"]]
    assert rates == pytest.approx([rates[0]] * len(rates))
    known = found["rate_mg_l_day"]
    bounds = {"50%": (known["median"] * 0.9999, known["median"] * 1.0001), "90%": (known["median"], known["high"]),
              "99%": (known["high"], math.inf)}[confidence]  # fmt: skip
    assert bounds[0] < rates[0] < bounds[1]
    for cell in found["table"]:
        assert cell["trough_mg_l"] == pytest.approx(cell["peak_mg_l"] - rates[0] * cell["interval_days"])
        assert cell["holds"] == (cell["peak_mg_l"] <= 40.0)
        # The chance is a sum of weights, and the quantile lies between two of them: a hundredth apart at most.
        assert (
            cell["holds"] == (cell["chance"] >= found["confidence"]) or abs(cell["chance"] - found["confidence"]) < 0.01
        )
    assert found["peak_at_confidence_mg_l"] == pytest.approx(5 + rates[0] * 7 / found["share"])


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
@pytest.mark.parametrize(("confidence", "interval"), [("90%", "7 days"), ("60%", "240 h")])
def test_the_share_is_the_smallest_that_holds(tank: str, confidence: str, interval: str, asked: Run) -> None:
    options = {"tank": tank, "confidence": confidence, "interval": interval}
    found = asked("--json", **options).json["result"]
    assert found["holds"] is True
    assert found["share"] / 0.05 == pytest.approx(round(found["share"] / 0.05))
    assert found["peak_at_confidence_mg_l"] <= found["ceiling_mg_l"] * (1 + SAME)
    less = asked("--json", **options, change=f"{found['share'] - 0.05:.0%}")
    assert less.json["result"]["holds"] is False
    assert less.code == 0
    (said,) = [one for one in less.json["findings"] if one["code"] == "nitrate_over_ceiling"]
    assert said["value"] == less.json["result"]["peak_at_confidence_mg_l"] > said["limit"] == found["ceiling_mg_l"]
    same = asked("--json", **options, change=f"{found['share']:.0%}").json["result"]
    assert nearly(same, found)


def test_the_course_is_the_saw_of_every_possibility_day_by_day(house: Path) -> None:
    at_s = moment(NOW, "")[1]
    events = events_of(entries(house), ROCK.live_volume_l, None, at_s)
    known = production(events, 5.0, at_s / DAY_S)
    outlook = outlook_of(ROCK, 5.0, events, 0.4, 7 * 1440.0, 0.9, at_s / DAY_S)
    nitrate = known.nitrate_mg_l.copy()
    for day in range(57):
        if day % 7 == 0:
            at, before, after = outlook.steps[day // 7]
            assert at == day
            assert [before.low, before.median, before.high] == pytest.approx(known.quantile(nitrate, (0.05, 0.5, 0.95)))
            nitrate += 0.4 * (5.0 - nitrate)
            assert [after.low, after.median, after.high] == pytest.approx(known.quantile(nitrate, (0.05, 0.5, 0.95)))
        nitrate += known.rate_mg_l_day
    assert len(outlook.steps) == 9
    # Where it goes in the end: the settled peak and trough.
    for _ in range(300):
        trough = nitrate - 0.4 * (nitrate - 5.0)
        nitrate = trough + 7 * known.rate_mg_l_day
    assert outlook.peak_mg_l.high == pytest.approx(known.quantile(nitrate, [0.95])[0])
    assert outlook.trough_mg_l.low == pytest.approx(known.quantile(trough, [0.05])[0])
    assert np.all(np.isfinite(nitrate))


def test_it_settles_after_so_many_changes(asked: Run) -> None:
    for share in ("20%", "100%"):
        found = asked("--json", change=share).json["result"]
        rise, nitrate, changes = 7 * found["rate_mg_l_day"]["median"], found["tank_mg_l"]["median"], 0
        part, near = found["share"], 0.05 * 40  # a twentieth of the ceiling
        while abs(nitrate - (5 + rise / part)) > near:
            nitrate, changes = nitrate - part * (nitrate - 5) + rise, changes + 1
        assert found["changes_to_settle"] == changes
        assert found["days_to_settle"] == 7 * changes


def test_the_same_as_nitrogen(found: Any) -> None:
    assert found["peak_mg_n_l"] * PER_N == pytest.approx(found["peak_mg_l"])
    for end, value in found["rate_mg_n_l_day"].items():
        assert value * PER_N == pytest.approx(found["rate_mg_l_day"][end])


def test_the_alkalinity_that_goes_with_it(found: Any) -> None:
    # One equivalent a mole of nitrate made of food, two of one made of ammonia; 62.0 g a mole.
    moles = found["rate_mg_l_day"]["median"] / 62.004
    loss = found["alkalinity_loss_meq_l_day"]
    assert (loss["least"], loss["most"]) == pytest.approx((moles, 2 * moles))


# --- what of the log counts ---------------------------------------------------------------------------------------


def test_entries_taken_back_do_not_count(found: Any, asked: Run, log: Run) -> None:
    for words in (("--reading", "nitrate 90 mg/L NO3, photometer"), ("--change", "80%")):
        assert log("add", "--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00", *words).code == 0
        assert asked("--json").json["result"] != found
        assert log("undo").code == 0
        assert asked("--json").json["result"] == found


def test_entries_of_another_tank_or_kind_do_not_count(found: Any, asked: Run, log: Run) -> None:
    at = ("--at", "2026-03-15T09:00+01:00")
    log("add", "--tank", "Shell bay", *at, "--reading", "nitrate 90 mg/L NO3, photometer")
    log("add", "--tank", "Shell bay", *at, "--change", "80%")
    for words in (("--reading", "ammonia 5 mg/L N, drops"), ("--service", "filter"), ("--note", "nitrate 90 mg/L NO3")):
        assert log("add", "--tank", "Rock wall", *at, *words).code == 0
    assert asked("--json").json["result"] == found
    assert asked("--json", tank="Shell bay").json["result"]["readings"] == 16  # 15 in demo/log.csv, and this one


@pytest.mark.parametrize(("one", "other"), [
    (("--reading", f"nitrate {10 * PER_N!r} mg/L NO3, photometer"), ("--reading", "nitrate 10 mg/L N, photometer")),
    (("--reading", f"nitrate {10 * PER_N!r} mg/L NO3, chart, below {5 * PER_N!r}, above {20 * PER_N!r}"),
     ("--reading", "nitrate 10 mg/L N, chart, below 5, above 20")),
    (("--reading", f"nitrate {10 * PER_N!r} mg/L NO3, strip, below {5 * PER_N!r}, above none"),
     ("--reading", "nitrate 10 mg/L N, strip, below 5, above none")),
    (("--change", "40%"), ("--change", f"{0.4 * ROCK.live_volume_l!r} L")),
])  # fmt: skip
def test_the_same_in_another_unit_is_the_same(
    one: tuple[str, str], other: tuple[str, str], asked: Run, log: Run
) -> None:
    results = []
    for words in (one, other):
        log("add", "--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00", *words)
        results.append(asked("--json").json["result"])
        log("undo")
    assert nearly(*results, rel=1e-6)
    assert not nearly(results[0], asked("--json").json["result"], rel=1e-3)


def test_a_chart_is_an_interval_and_no_figure(asked: Run, house: Path) -> None:
    """A chart's 40 between 20 and 80 says 30 to 60, a photometer's 40 says 40."""
    (chart,) = [e for e in events_of(entries(house)[:1], 100.0, 0.0, 4e9) if isinstance(e, Reading)]
    assert (chart.low_mg_l, chart.high_mg_l, chart.test) == (15.0, 30.0, "chart")
    rates = []
    for test in ("chart", "photometer"):
        steps = {"below": 20.0, "above": 80.0} if test == "chart" else {"below": None, "above": None}
        rewritten(house, lambda kept, test=test, steps=steps: [
            entry._replace(test=test, **steps) if entry.value and entry.value > 30 else entry for entry in kept
        ])  # fmt: skip
        rate = asked("--json").json["result"]["rate_mg_l_day"]
        rates.append(math.log(rate["high"] / rate["low"]))
    assert rates[1] < rates[0]


def test_the_log_counts_from_since_on(asked: Run, house: Path) -> None:
    since = "2026-02-10T00:00+01:00"
    late = asked("--json", since=since)
    assert late.json["result"]["readings"] == 7  # from demo-027 on: 14, 16, 21, 28 February; 2, 7, 14 March
    assert any("from --since on" in said for said in late.json["assumptions"])
    rewritten(house, lambda kept: [entry for entry in kept if entry.at_s >= moment(since, "")[1]])
    assert asked("--json").json["result"] == late.json["result"]


def test_without_since_the_last_120_days_count(found: Any, asked: Run, house: Path) -> None:
    """Common practice, tables/practice.csv: stock and feeding change, so an older reading says little."""
    at_s = moment(NOW, "")[1]
    old = entries(house)[0]._replace(uid="old", value=80.0, below=40.0, above=None)
    for days, counts in ((121, False), (119, True)):
        rewritten(house, lambda kept, days=days: [
            old._replace(at_s=at_s - days * DAY_S), *(entry for entry in kept if entry.uid != "old")
        ])  # fmt: skip
        assert asked("--json").json["result"]["readings"] == 15 + counts
        assert (asked("--json").json["result"] != found) == counts


def test_the_interval_is_the_usual_one_of_the_log(asked: Run, house: Path) -> None:
    at_s = moment(NOW, "")[1]
    events = events_of(entries(house), ROCK.live_volume_l, None, at_s)
    days = [event.day for event in events if isinstance(event, Change)]
    gaps = np.diff(days)
    found = asked("--json", since="2026-01-20 00:00").json["result"]
    assert found["interval_days"] == pytest.approx(median(gaps), abs=0.01)
    given = asked("--json", interval="10 days").json["result"]
    assert given["interval_days"] == 10
    assert given["rate_mg_l_day"] == asked("--json").json["result"]["rate_mg_l_day"]


# --- refusals -----------------------------------------------------------------------------------------------------


REFUSED: list[tuple[dict[str, str], int, str]] = [
    ({"change": "120%"}, 2, "--change: '120%' is read; more than 0 % to 100 %"),
    ({"change": "0%"}, 2, "--change: '0%' is read; more than 0 % to 100 %"),
    ({"interval": "20 min"}, 2, "--interval: '20 min' is read; 60 min to 525600 min"),
    ({"interval": "2 L"}, 2, "--interval: '2 L' is a volume; a time is wanted"),
    ({"confidence": "100%"}, 2, "--confidence: '100%' is read; 50 % to 99.9 %"),
    ({"confidence": "0.9"}, 2, "--confidence: '0.9' has no unit"),
    ({"now": "soon"}, 2, "--now: 'soon' is read; a day and a time of day"),
    ({"now": "2026-03-15"}, 2, "--now: '2026-03-15' has no time of day"),
    ({"since": "1 March"}, 2, "--since: '1 March' is read; a day and a time of day"),
    ({"tank": "Rock"}, 2, "--tank: there is no tank named 'Rock' in the file. Write 'Rock wall'"),
    ({"now": "2026-03-14T17:59+01:00"}, 2, "--now: entry 50 of the log lies after it, at 2026-03-14T18:00:00+01:00"),
    ({"since": "2026-03-14T12:00+01:00"}, 3, "1 of nitrate since the start of the time looked at; a rate takes two"),
    ({"since": "2026-03-15T00:00+01:00"}, 3, "0 of nitrate since the start of the time looked at"),
    ({"since": "2026-03-05T00:00+01:00"}, 2, "--interval: not given, and the log holds no two changes"),
    ({"since": "2026-03-16T00:00+01:00"}, 2, "--since: lies after the time to count from"),
    ({"interval": "60 days"}, 3, "no share holds it. Change oftener than every "),
]  # fmt: skip


@pytest.mark.parametrize(("options", "code", "message"), REFUSED)
def test_a_refusal_is_one_clear_message(options: dict[str, str], code: int, message: str, asked: Run) -> None:
    done = asked(**options)
    assert (done.code, done.out) == (code, "")
    assert message in done.err
    assert len(done.err.splitlines()) == 1


def test_a_share_without_a_unit_is_one_fault_and_not_two(asked: Run) -> None:
    assert asked(change="40").err == "--change: '40' has no unit. Write for example '45%'.\n"


def test_all_faults_of_the_options_at_once(asked: Run) -> None:
    said = asked(change="0%", interval="0 h", confidence="9", now="noon", since="dawn").err
    assert [line.split(":")[0] for line in said.splitlines()] == [
        "--change",
        "--interval",
        "--confidence",
        "--now",
        "--since",
    ]


def test_a_ceiling_under_the_tap_has_no_schedule(asked: Run, house: Path) -> None:
    text = house.read_text(encoding="utf-8").replace(
        'nitrate_ceiling = "40 mg/L NO3"', 'nitrate_ceiling = "5 mg/L NO3"', 1
    )
    house.write_text(text, encoding="utf-8")
    done = asked(change="50%")
    assert (done.code, done.out) == (3, "")
    assert "no schedule works: the refill has 5 mg/L NO3 and the ceiling is 5" in done.err


def test_no_log_yet(asked: Run, house: Path) -> None:
    path_of(house).unlink()
    done = asked()
    assert (done.code, done.out) == (2, "")
    assert "there is no logbook yet. Write a first entry with: tapwright log add" in done.err
    assert not path_of(house).exists()


def test_more_than_the_tank_holds_cannot_have_been_changed(asked: Run, log: Run) -> None:
    log("add", "--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00", "--change", "575 L")
    done = asked()
    assert (done.code, done.out) == (2, "")
    assert "entry 52 changed 575 L and the tank holds 575. Take the entry back" in done.err  # of 574.56
    log("undo")
    log("add", "--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00", "--change", "574 L")
    assert asked().code == 0
