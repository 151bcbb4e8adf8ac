"""A time of day in the log is one moment: where the clocks are changed it is asked back, unless it says its offset."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from shutil import copy

import pytest
from conftest import DEMO, Outcome
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry.errors import BadInput
from tapwright.cli.log.entries import moment

# Rules written out, so that they do not rest on the tables of the machine: Berlin, and Lord Howe with its half hour.
BERLIN, HOWE = "CET-1CEST,M3.5.0,M10.5.0/3", "LHST-10:30LHDT-11,M10.1.0,M4.1.0"
ROCK = ("--tank", "Rock wall")


@pytest.fixture
def clock() -> Iterator[Callable[[str], None]]:
    with pytest.MonkeyPatch.context() as patch:

        def put(zone: str) -> None:
            patch.setenv("TZ", zone)
            time.tzset()

        yield put
    time.tzset()


@pytest.mark.parametrize(("zone", "written", "said"), [
    (BERLIN, "2026-03-29 02:30", "is skipped"), (BERLIN, "2026-03-29T02:00", "is skipped"),
    (BERLIN, "2026-03-29 02:59:59.9", "is skipped"), (BERLIN, "2026-10-25 02:30", "comes twice"),
    (BERLIN, "2026-10-25 02:00", "comes twice"), (HOWE, "2025-10-05 02:15", "is skipped"),
    (HOWE, "2026-04-05 01:45", "comes twice"),
])  # fmt: skip
def test_an_hour_skipped_or_struck_twice_is_asked_back(
    zone: str, written: str, said: str, clock: Callable[[str], None]
) -> None:
    clock(zone)
    with pytest.raises(BadInput) as refused:
        moment(written, "--at")
    (fault,) = refused.value.faults
    assert (fault.where, f"'{written}' {said} where" in fault.message) == ("--at", True)
    # Both ways out can be read, and lie as far apart as the clocks were put.
    ways = fault.hint.removeprefix("Write ").split(" by the clock before the change, or ")
    first, second = (moment(way.removesuffix(" by the one after it."), "--at")[1] for way in ways)
    assert second - first == (3600 if zone == BERLIN else 1800) * (-1 if said == "is skipped" else 1)


@pytest.mark.parametrize(("written", "utc"), [
    ("2026-03-29 01:59:59", "2026-03-29 00:59:59"), ("2026-03-29 03:00", "2026-03-29 01:00"),
    ("2026-03-29 02:30+01:00", "2026-03-29 01:30"), ("2026-10-25 01:59", "2026-10-24 23:59"),
    ("2026-10-25 03:00", "2026-10-25 02:00"), ("2026-10-25 02:30+02:00", "2026-10-25 00:30"),
    ("2026-10-25T02:30+01:00", "2026-10-25 01:30"), ("2026-03-14 18:30", "2026-03-14 17:30"),
])  # fmt: skip
def test_what_lies_beside_or_says_its_offset_is_taken(written: str, utc: str, clock: Callable[[str], None]) -> None:
    clock(BERLIN)
    assert moment(written, "--at")[1] == datetime.fromisoformat(utc).replace(tzinfo=UTC).timestamp()


DAYS = [
    datetime(2026, 3, 29),
    datetime(2026, 10, 25),
    datetime(2025, 10, 5),
    datetime(2026, 4, 5),
    datetime(2026, 3, 14),
]
TIMES = st.builds(lambda day, minutes: day + timedelta(minutes=minutes), st.sampled_from(DAYS), st.integers(0, 240))


@given(TIMES | st.datetimes(datetime(2020, 1, 2), datetime(2035, 1, 1)), st.sampled_from([BERLIN, HOWE, "UTC0"]))
def test_what_is_taken_is_what_the_clock_showed_and_only_then(shown: datetime, zone: str) -> None:
    """By looking at every moment around it: the clock shows a time once, or it is refused."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", zone)
        time.tzset()
        about = shown.replace(tzinfo=UTC)
        offsets = {(about - timedelta(hours=h)).astimezone().utcoffset() for h in range(-13, 14)}
        at = [about - offset for offset in offsets if offset is not None]
        once = [found for found in at if found.astimezone().replace(tzinfo=None) == shown]
        try:
            assert [moment(shown.isoformat(), "--at")[1]] == [found.timestamp() for found in once]
        except BadInput:
            assert len(once) != 1
    time.tzset()


def test_the_log_asks_back_and_writes_nothing(
    clock: Callable[[str], None], tapwright: Callable[..., Outcome], tmp_path: Path
) -> None:
    clock(BERLIN)
    house = Path(copy(DEMO, tmp_path))
    add = ("log", "add", house, *ROCK, "--note", "x", "--at")
    refused = tapwright(*add, "2026-03-29 02:30")
    assert (refused.code, refused.out) == (2, "")
    assert "--at: '2026-03-29 02:30' is skipped" in refused.err
    assert "2026-03-29 02:30+01:00" in refused.err
    assert not house.with_name("house.log.sqlite").exists()
    sheet = tmp_path / "s.csv"
    sheet.write_text("tank,at,kind,note\nRock wall,2026-03-29 02:30,note,x\n", encoding="utf-8")
    assert f"{sheet}:2: at: '2026-03-29 02:30' is skipped" in tapwright("log", "import", house, sheet).err
