"""The command line: keys, exit codes, one JSON document on stdout, pages of 80 columns, refusals without traceback."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO, ROOT, Outcome

from tapwright import __version__

NEUTRALISE = ("neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--free-chlorine", "0.3 mg/L",
              "--agent", "sodium thiosulfate pentahydrate")  # fmt: skip
BLEND = ("blend", "--hot", "58 degC", "--cold", "11 degC", "--target", "26 degC", "--volume", "120 L")
PLAN = ("plan", DEMO, "--tank", "Rock wall")
LATE = ("late", "--start-volume", "300 L", "--end-volume", "500 L", "--flow", "10 L/min", "--total-chlorine", "2 mg/L",
        "--agent", "sodium thiosulfate pentahydrate")  # fmt: skip
LATE_FILE = ("late", "--file", DEMO, "--tank", "Rock wall")
LATE_KEYS = {"peak_mg_l", "peak_minute", "exposure_mg_min_l", "remaining_chlorine_g", "dose_now_g", "dose_whole_tank_g",
             "ammonia_mg_n_l", "ammonia_unionised_mg_n_l", "breakthrough_minute"}  # fmt: skip

KEYS = {
    PLAN: {"tank", "change_share", "change_volume_l", "totes", "blend", "neutraliser", "salts", "waters", "durations",
           "steps"},
    NEUTRALISE: {"agent_g", "solution_ml", "chlorine_g", "mass_ratio", "combined_chlorine_mg_l", "ammonia_mg_n_l",
                 "ammonia_unionised_mg_n_l", "alkalinity_change_meq_l", "oxygen_demand_mg_l"},
    BLEND: {"hot_l", "cold_l", "temperature_c", "hot_share", "volume_l"},
    ("convert", "12 dGH", "mg/L CaCO3"): {"value", "unit"},
    ("label", DEMO.parent / "labels" / "hardness-honest.toml"): {"claimed", "computed", "ratio", "verdict", "explanations"},
    ("transition", "--file", DEMO, "--tank", "Shell bay", "--change", "30%"): {"changes", "refills", "path"},
    ("check", DEMO): {"tanks"},
    (*PLAN, "--confident"): {"steps", "confidence", "marks", "tote_cycle", "hot_store", "warmth"},
    (*LATE, "--after", "5 min", "--water-off"): LATE_KEYS,
    (*LATE_FILE, "--water-off"): LATE_KEYS,
}  # fmt: skip


@pytest.mark.parametrize(("words", "keys"), KEYS.items(), ids=[words[0] for words in KEYS])
def test_json_is_one_document_with_its_keys(
    words: tuple[Any, ...], keys: set[str], tapwright: Callable[..., Outcome]
) -> None:
    done = tapwright(*words, "--json")
    document = done.json
    assert set(document) == {"tool", "version", "schema_version", "command", "result", "findings", "assumptions"}
    assert (document["tool"], document["version"], document["command"]) == ("tapwright", __version__, words[0])
    assert keys <= set(document["result"])
    assert done.code == 0
    assert done.err == ""


def test_inner_keys_of_the_plan(tapwright: Callable[..., Outcome]) -> None:
    result = tapwright(*PLAN, "--json").json["result"]
    assert {"count", "volume_l"} <= set(result["totes"])
    assert {"hot_l", "cold_l", "temperature_c"} <= set(result["blend"])
    assert {"agent", "agent_g", "solution_ml"} <= set(result["neutraliser"])
    assert all({"salt", "salt_g"} <= set(entry) for entry in result["salts"])
    assert set(result["waters"]) == {"tap", "refill", "tank_before", "tank_after"}
    for water in result["waters"].values():
        assert {"hardness_dgh", "alkalinity_dkh", "nitrate_mg_l", "conductivity_us_cm", "temperature_c"} <= set(water)
    assert {"drain_min", "fill_min", "total_min"} <= set(result["durations"])
    assert all({"id", "text", "minutes", "hold", "after"} <= set(step) for step in result["steps"])
    assert {"code", "text", "source", "steps"} <= set(result["cautions"][0])


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
def test_pages_keep_to_80_columns_and_carry_no_trailing_blanks(
    tank: str, tapwright: Callable[..., Outcome], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)  # a file is named as it was given, however long its path
    demo = DEMO.relative_to(ROOT)
    plans = [("plan", demo, "--tank", tank, "--start", "18:30"), ("plan", demo, "--tank", tank, "--confident")]
    for words in (*plans, NEUTRALISE, BLEND, ("check", demo), LATE, ("late", "--file", demo, "--tank", tank)):
        page = tapwright(*words).out
        assert page
        for line in page.splitlines():
            assert len(line) <= 80
            assert line == line.rstrip()


def test_the_plan_leads_with_findings_then_what_to_do_then_why(tapwright: Callable[..., Outcome]) -> None:
    page = tapwright(*PLAN).out
    order = [
        "Water change for",
        "Caution",
        "In short",
        "Why 40%",
        "The waters",
        "Steps",
        "Taken for granted",
        "Sources",
    ]
    places = [page.index(word) for word in order]
    assert places == sorted(places)


def test_every_figure_on_the_page_is_in_the_json(tapwright: Callable[..., Outcome]) -> None:
    page, result = tapwright(*PLAN).out, tapwright(*PLAN, "--json").json["result"]
    assert f"{result['change_volume_l']:.0f} L, down to" in page
    assert f"{result['blend']['hot_l']:.0f} L hot and {result['blend']['cold_l']:.0f} L cold" in page
    assert f"{result['neutraliser']['agent_g']:.4g} g" in page
    flat = " ".join(page.split())
    for step in result["steps"]:
        assert " ".join(step["text"].split()) in flat
    for caution in result["cautions"]:
        assert " ".join(caution["text"].split()) in flat


def test_start_gives_clock_times(tapwright: Callable[..., Outcome]) -> None:
    page = tapwright(*PLAN, "--start", "23:50").out
    assert "23:50 HOLD Test the cold tap" in page
    assert "00:02 HOLD Switch off and unplug every heater" in page


@pytest.mark.parametrize(
    ("words", "code", "kind", "message"),
    [
        (("plan", DEMO, "--tank", "Rock wal"), 2, "bad_input", "Write 'Rock wall'."),
        (("plan", DEMO, "--tank", "Rock wall", "--change", "45"), 2, "bad_input", "--change"),
        (("plan", DEMO, "--tank", "Rock wall", "--change", "150%"), 2, "bad_input", "more than 0 % to 90 %"),
        (("plan", DEMO, "--tank", "Rock wall", "--start", "25:00"), 2, "bad_input", "a time of day is wanted"),
        (("plan", DEMO, "--tank", "Rock wall", "--date", "soon"), 2, "bad_input", "a date is wanted"),
        (("plan", DEMO, "--tank", "Rock wall", "--date", "2020-01-01", "--service-filter"), 2, "bad_input",
         "lies after 2020-01-01"),
        (("plan", DEMO), 2, "bad_input", "--tank"),
        (("plan", "no.toml", "--tank", "x"), 2, "bad_input", "there is no such file"),
        ((*BLEND[:-4], "--target", "70 degC", "--volume", "120 L"), 3, "no_answer", "11.0 to 58.0 °C can"),
        ((*BLEND, "--hot-volume", "3 L"), 2, "bad_input", "either --target and --volume"),
        (BLEND[:-2], 2, "bad_input", "either --target and --volume"),
        ((*BLEND, "--residual", "3 L"), 2, "bad_input", "one is given without the other"),
        (("blend", "--hot", "20 degC", "--cold", "21 degC", "--target", "20 degC", "--volume", "1 L"), 2, "bad_input",
         "not hotter than cold"),
        (("blend", "--hot", "58", "--cold", "11 degC"), 2, "bad_input", "--hot: '58' has no unit"),
        ((*BLEND[:2], "158 degC", *BLEND[3:]), 2, "bad_input", "15 degC to 95 degC is allowed"),
        ((*NEUTRALISE[:-1], "chalk"), 2, "bad_input", "is not a neutraliser known here"),
        ((*NEUTRALISE[:-1], "sodium hydroxymethanesulfonate"), 3, "no_answer", "Give the label's own figure"),
        ((*NEUTRALISE, "--label-amount", "5 mL"), 2, "bad_input", "has three parts"),
        ((*NEUTRALISE, "--excess", "-5%"), 2, "bad_input", "0 % to 200 % is allowed"),
        ((*NEUTRALISE, "--ph", "14"), 2, "bad_input", "a pH from 4 to 11 is allowed"),
        ((*NEUTRALISE, "--cl2-to-n", "0"), 2, "bad_input", "a ratio from 1 to 100"),
        ((*NEUTRALISE, "--cl2-to-n", "four"), 2, "bad_input", "'four' is read"),
        ((*NEUTRALISE, "--temperature", "26"), 2, "bad_input", "--temperature: '26' has no unit"),
        (("convert", "12 dGH", "dKH"), 2, "bad_input", "one cannot be turned into the other"),
        (("convert", "12"), 2, "bad_input", "UNIT"),
        (("late",), 2, "bad_input",
         "--start-volume, --end-volume, --flow, --total-chlorine, --agent: not given. Give them, or a household file"),
        ((*LATE[:5], "--total-chlorine", "2 mg/L"), 2, "bad_input", "--flow, --agent: not given."),
        ((*LATE, "--flow", "0 L/min"), 2, "bad_input", "more than 0 L/min to 2000 L/min is allowed"),
        ((*LATE, "--end-volume", "300 L"), 2, "bad_input", "from 300.0 to 300.0 L"),
        ((*LATE, "--after", "-1 min"), 2, "bad_input", "--after: '-1 min' is read; 0 min to 10080 min is allowed"),
        ((*LATE, "--purity", "120%"), 2, "bad_input", "--purity: '120%' is read; more than 0 % to 100 %"),
        ((*LATE, "--excess", "201%"), 2, "bad_input", "--excess: '201%' is read; 0 % to 200 %"),
        ((*LATE, "--free-chlorine", "3 mg/L"), 2, "bad_input", "3.0 mg/L free is more than 2.0 mg/L total"),
        ((*LATE, "--demand", "-1 /h"), 2, "bad_input", "--demand: '-1 /h' is read; 0 /h to 600 /h is allowed"),
        ((*LATE, "--solution", "0 g/L"), 2, "bad_input", "more than 0 g/L to 1000 g/L is allowed"),
        ((*LATE, "--tote", "200 L"), 2, "bad_input", "--tote and --dosed-for: one is given without the other"),
        ((*LATE, "--tote", "0 L", "--dosed-for", "9 L"), 2, "bad_input", "--tote: '0 L' is read; more than 0 L"),
        ((*LATE, "--agent", "sodium thiosulfate"), 2, "bad_input", "does not say which hydrate"),
        ((*LATE, "--agent", "sodium hydroxymethanesulfonate"), 3, "no_answer", "no dose can be computed"),
        (LATE_FILE[:3], 2, "bad_input", "--tank: not given. Write --tank 'Rock wall'."),
        ((*LATE_FILE, "--tank", "Rock"), 2, "bad_input", "there is no tank named 'Rock' in the file"),
        ((*LATE_FILE, "--change", "120%"), 2, "bad_input", "--change: '120%' is read; more than 0 % to 90 %"),
        ((*LATE_FILE, "--flow", "0 L/min"), 2, "bad_input", "--flow: '0 L/min' is read; more than 0 L/min"),
        *(((*LATE_FILE, option, "1"), 2, "bad_input", f"{option}: stands in the household file. Leave it out")
          for option in ("--start-volume", "--end-volume", "--total-chlorine", "--free-chlorine", "--agent", "--ph",
                         "--temperature")),
        (("nitrate", DEMO), 2, "bad_input", "--tank"),
        (("log", "add", DEMO, "--tank", "Rock wall"), 2, "bad_input", "one of --reading, --change, --service or --note"),
        (("log", "import", DEMO, "no.csv"), 2, "bad_input", "no.csv: cannot be read"),
        (("log",), 2, "bad_input", "log"),
        (("pln",), 2, "bad_input", "pln"),
        (("plan", "--nonsense"), 2, "bad_input", "--nonsense"),
    ],
)  # fmt: skip
def test_refusals_in_words_and_in_json(
    words: tuple[Any, ...], code: int, kind: str, message: str, tapwright: Callable[..., Outcome]
) -> None:
    said = tapwright(*words)
    assert (said.code, said.out) == (code, "")
    assert message in said.err
    assert "Traceback" not in said.err
    error = tapwright(*words, "--json")
    assert (error.code, error.err) == (code, "")
    assert set(error.json) == {"tool", "version", "schema_version", "command", "error"}
    assert error.json["error"]["kind"] == kind
    faults = error.json["error"]["faults"]
    assert all(set(fault) == {"where", "message", "hint"} for fault in faults)
    assert any(message in f"{fault['where']}: {fault['message']} {fault['hint']}" for fault in faults)


def test_a_stop_finding_is_exit_code_1(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright(*NEUTRALISE, "--dose", "3 g", "--json")
    assert done.code == 1
    assert [finding["level"] for finding in done.json["findings"]] == ["stop", "note"]
    said = tapwright(*NEUTRALISE, "--dose", "3 g")
    assert said.code == 1
    assert "STOP" in said.out


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copy(DEMO, tmp_path))


def test_keys_of_log_and_nitrate(copied: Path, tapwright: Callable[..., Outcome]) -> None:
    """One document each, with its two words as the command; the log is written beside a copy of the demo."""
    at, sheet = ("--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00"), copied.with_name("out.csv")
    entry = {"number", "uid", "tank", "at", "kind", "quantity", "value", "unit", "test", "share", "volume_l", "undone"}
    read = ("--reading", "nitrate 41 mg/L NO3, photometer")
    for words, keys, inner in (
        (("log", "import", copied, DEMO.parent / "log.csv"), {"file", "added", "known"}, None),
        (("log", "add", copied, *at, *read), {"entries"}, "entries"),
        (("log", "list", copied, "--last", "3"), {"entries", "of"}, "entries"),
        (("nitrate", copied, "--tank", "Rock wall", "--now", "2026-03-15T12:00+01:00"),
         {"rate_mg_l_day", "peak_mg_l", "trough_mg_l", "share", "interval_days", "confidence", "table"}, None),
        (("log", "undo", copied), {"entry"}, "entry"),
        (("log", "export", copied, sheet), {"file", "entries"}, None),
    ):  # fmt: skip
        done = tapwright(*words, "--json")
        assert (done.code, done.err) == (0, "")
        document = done.json
        assert set(document) == {"tool", "version", "schema_version", "command", "result", "findings", "assumptions"}
        assert document["command"] == " ".join(words[: 1 if words[0] == "nitrate" else 2])
        assert keys <= set(document["result"])
        found = document["result"][inner] if inner else []
        assert all(entry <= set(one) for one in (found if isinstance(found, list) else [found]))
    again = tapwright("log", "export", copied, sheet)
    assert again.code == 2
    assert "is there already" in again.err


def test_inner_keys_of_confidence(tapwright: Callable[..., Outcome]) -> None:
    sure = tapwright(*PLAN, "--confident", "--json").json["result"]["confidence"]
    assert sure["draws"] >= 10_000
    assert all({"figure", "unit", "planned", "low", "high"} <= set(one) for one in sure["ranges"])
    assert all({"code", "text", "limit", "unit", "chance"} <= set(one) for one in sure["chances"])
    assert all({"reading", "part"} <= set(one) for one in sure["readings"])


def test_ammonia_far_over_its_limit_is_a_stop_of_late(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright(*LATE, "--total-chlorine", "20 mg/L", "--ph", "9.5", "--temperature", "28 degC", "--json")
    assert done.code == 1
    assert [found["code"] for found in done.json["findings"] if found["level"] == "stop"] == ["stop_water", "ammonia"]


def test_what_the_issue_of_a_dose_is(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright(*NEUTRALISE, "--solution", "50 g/L", "--cl2-to-n", "4", "--ph", "8.4", "--temperature", "26 degC",
                     "--excess", "10%", "--json")  # fmt: skip
    result = done.json["result"]
    # 0.96 g of chlorine x 7.0006 x 1.10; 2.1 / 4 mg N; 12 to 13.5 % of it un-ionised at pH 8.4 and 26 degC.
    assert result["agent_g"] == pytest.approx(7.393, abs=0.001)
    assert result["solution_ml"] == pytest.approx(147.85, abs=0.02)
    assert result["ammonia_mg_n_l"] == pytest.approx(0.525)
    assert result["ammonia_unionised_mg_n_l"] == pytest.approx(0.0696, abs=0.0002)
    assert [finding["code"] for finding in done.json["findings"]] == ["ammonia"]


def test_blend_of_volumes(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright("blend", "--hot", "55 degC", "--cold", "12 degC", "--hot-volume", "60 L", "--cold-volume", "140 L",
                     "--json")  # fmt: skip
    assert done.json["result"]["temperature_c"] == pytest.approx(24.76, abs=0.005)
    assert [finding["code"] for finding in done.json["findings"]] == ["scald"]


def test_new_writes_a_file_and_never_over_one(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    assert tapwright("new", path).code == 0
    written = path.read_text(encoding="utf-8")
    assert "[tap]" in written
    again = tapwright("new", path)
    assert again.code == 2
    assert "is there already and is left as it is" in again.err
    assert path.read_text(encoding="utf-8") == written
    nowhere = tapwright("new", tmp_path / "no" / "house.toml")
    assert nowhere.code == 2
    assert "cannot be written" in nowhere.err


def test_jobs_of_the_day(tapwright: Callable[..., Outcome]) -> None:
    # The demo's substrate was cleaned on 2026-03-01.
    early = tapwright(*PLAN, "--service-filter", "--date", "2026-03-04", "--json").json
    assert "filter_held_back" in [finding["code"] for finding in early["findings"]]
    late = tapwright(*PLAN, "--service-filter", "--date", "2026-03-05", "--json").json
    assert "filter_service" in [step["id"] for step in late["result"]["steps"]]


def test_a_tank_name_is_only_text(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    demo = DEMO.read_text(encoding="utf-8")
    path.write_text(demo.replace('"Rock wall"', '"[bold]<b>{x}%s"'), encoding="utf-8")
    assert "[bold]<b>{x}%s" in tapwright("check", path).out
    assert "Water change for '[bold]<b>{x}%s'" in tapwright("plan", path, "--tank", "[bold]<b>{x}%s").out
    path.write_text(demo.replace('"Rock wall"', '"red\\u001b[31m"'), encoding="utf-8")
    assert "holds a control character" in tapwright("check", path).err


# --- the program as a process -----------------------------------------------------------------------------------


def process(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tapwright", *words],
        capture_output=True, text=True, encoding="utf-8", cwd=ROOT, env={**os.environ, **environment}, check=False,
    )  # fmt: skip


def test_stdout_holds_the_document_and_nothing_else() -> None:
    done = process(*map(str, PLAN), "--json")
    assert json.loads(done.stdout)["command"] == "plan"
    assert done.stderr == ""


def test_colour_is_never_sent_to_a_pipe_nor_where_it_is_not_wanted() -> None:
    assert "\x1b" not in process(*map(str, PLAN)).stdout
    assert "\x1b[3" not in process(*map(str, PLAN), NO_COLOR="1", FORCE_COLOR="1").stdout


def test_a_reader_that_goes_away_is_no_error() -> None:
    done = subprocess.run(
        f'"{sys.executable}" -m tapwright plan demo/house.toml --tank "Rock wall" | head -1',
        shell=True, capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.stdout.startswith("Water change for")
    assert done.stderr == ""


def test_letters_that_the_terminal_lacks_are_no_crash(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(DEMO.read_text(encoding="utf-8").replace("Rock wall", "水槽"), encoding="utf-8")
    for words in (("check", str(path)), (*map(str, BLEND),), ("plan", str(path), "--tank", "nothing")):
        done = process(*words, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert "Traceback" not in done.stderr
    document = process("check", str(path), "--json", PYTHONIOENCODING="ascii").stdout
    assert json.loads(document)["result"]["tanks"][0] == "水槽"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_one_line() -> None:
    done = subprocess.run(
        f'"{sys.executable}" -m tapwright plan demo/house.toml --tank "Rock wall" > /dev/full',
        shell=True, capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "the answer cannot be printed: no space left on device.\n"


def test_a_negative_quantity_is_no_option(tapwright: Callable[..., Outcome]) -> None:
    assert tapwright("convert", "-40 degC", "degF", "--json").json["result"]["value"] == pytest.approx(-40)
    assert "below absolute zero" in tapwright("convert", "-500 degC", "degF").err


def test_options_name_all_their_faults_at_once(tapwright: Callable[..., Outcome]) -> None:
    said = tapwright("neutralise", "--volume", "400", "--total-chlorine", "2.4", "--agent", "x", "--ph", "20").err
    assert [line.split(":")[0] for line in said.splitlines()] == ["--volume", "--total-chlorine", "--ph", "--agent"]


def test_a_dose_in_millilitres_of_the_solution(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright(*NEUTRALISE, "--solution", "50 g/L", "--dose", "60 mL", "--json")
    assert done.json["result"]["given_g"] == pytest.approx(3.0)
    assert "chlorine_left" in [finding["code"] for finding in done.json["findings"]]
    assert "You put in  3 g" in tapwright(*NEUTRALISE, "--dose", "3 g").out
    assert "Give --solution as well" in tapwright(*NEUTRALISE, "--dose", "60 mL").err


def test_no_words_show_the_help(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright()
    assert done.code == 0
    assert "plan" in done.out
