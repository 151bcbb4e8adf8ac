"""The `nitrate` command: what the log says a tank makes, and which changes hold it under its ceiling."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.files.writing import STDOUT
from tapwright.cli.log.commands import now as clock
from tapwright.cli.log.entries import CHARTS, Entry, canonical_of, moment
from tapwright.cli.options.of_evening import NitrateOptions
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.change.nitrate.production import Change, Reading
    from tapwright.chemistry.plan.figures.outlook import Outlook

_DAY_S = 86400.0


def answer(options: NitrateOptions) -> Answer:
    """Rate, schedule and outlook as an answer."""
    from tapwright.chemistry.plan.figures.outlook import outlook_findings, outlook_of
    from tapwright.chemistry.plan.planner import tank_named
    from tapwright.cli.files.household_file import load

    household = load(options.file)
    tank = tank_named(household, options.tank)
    reader = Reader()
    share = reader.quantity(options.change, "share", "--change")
    interval_min = reader.quantity(options.interval, "interval", "--interval")
    confidence = reader.needed(options.confidence, "confidence", "--confidence")
    at_s = clock().timestamp() if options.now is None else _seconds(reader, options.now, "--now")
    since_s = None if options.since is None else _seconds(reader, options.since, "--since")
    if since_s is not None and since_s > at_s > 0:
        reader.refuse("--since", "lies after the time to count from.", "Give an earlier one, or a later --now.")
    reader.done()
    events = events_of(standing(options.file, tank.name), tank.live_volume_l, since_s, at_s)
    outlook = outlook_of(tank, household.tap.nitrate_mg_l, events, share, interval_min, confidence, at_s / _DAY_S)
    found, assumed = outlook_findings(outlook), _assumptions(outlook, since_s)
    chart = _chart(options.chart, outlook, force=options.force)

    def show(screen: Console) -> None:
        from tapwright.cli.pages.nitrate import show_outlook

        if options.chart == STDOUT:
            return
        show_outlook(screen, outlook, found, assumed, chart)

    done = "" if chart is None else f"{chart} is written."
    return Answer("nitrate", _result(outlook), show, found, assumed, done)


def _seconds(reader: Reader, text: str, option: str) -> float:
    """A time in seconds; 0, which must not be used, where it cannot be read."""
    found = reader.tried(lambda: moment(text, option))
    return found[1] if found else 0.0


def standing(file: Path, tank_name: str) -> list[Entry]:
    """The log's entries of a tank that nobody took back. Raises BadInput where there is no log, or another household's."""
    from tapwright.cli.log.logbook import Logbook, path_of
    from tapwright.cli.log.owner import refuse_anothers, tanks_of

    with Logbook(path_of(file), create=False, reading=True) as book:
        refuse_anothers(book, file, tanks_of(file))
        return [entry for entry in book.entries(tank_name) if entry.undone is None]


def events_of(entries: Sequence[Entry], live_l: float, since_s: float | None, at_s: float) -> list[Reading | Change]:
    """Readings of nitrate and changes among entries, which stand in the order they happened, from `since` on.

    Raises BadInput for entries later than `at`: time would run backwards.
    """
    from tapwright.chemistry import reference
    from tapwright.chemistry.change.nitrate.production import Change, Reading, chart_reading

    if since_s is None:
        since_s = at_s - reference.value("practice", "nitrate_log_days") * _DAY_S
    events: list[Reading | Change] = []
    for entry in entries[bisect_left(entries, since_s, key=lambda entry: entry.at_s) :]:
        if entry.at_s > at_s:
            said = f"entry {entry.number} of the log lies after it, at {entry.at}."
            raise BadInput.of("--now", said, "Give a later time, or look at the log.")
        day = entry.at_s / _DAY_S
        if entry.kind == "change":
            share = entry.share if entry.share is not None else (entry.volume_l or 0.0) / live_l
            if share > 1:
                said = f"entry {entry.number} changed {entry.volume_l:.0f} L and the tank holds {live_l:.0f}."
                raise BadInput.of("log", said, "Take the entry back and write what was changed.")
            events.append(Change(day, share))
        elif entry.quantity == "nitrate":
            canonical, value = canonical_of("nitrate", entry.unit), entry.value or 0.0
            if entry.test in CHARTS:
                below, above = (None if step is None else canonical(step) for step in (entry.below, entry.above))
                events.append(chart_reading(day, canonical(value), below, above, str(entry.test)))
            else:
                events.append(Reading(day, canonical(value), canonical(value), str(entry.test)))
    return events


def _assumptions(outlook: Outlook, since_s: float | None) -> list[str]:
    from tapwright.chemistry import reference

    days = reference.value("practice", "nitrate_log_days")
    looked = "from --since on" if since_s is not None else f"of the last {days:.0f} days"
    return [
        f"The log's readings and changes {looked} are used; the tank has made nitrate at one steady rate since.",
        f"Every refill brings the tap's {outlook.refill_mg_l:.3g} mg/L.",
        "A chart is read to its nearest step; how far its colours, or a meter, are off as a whole is unknown and weighed "
        "(tables/kits.csv, common practice).",
    ]


def _chart(path: Path | None, outlook: Outlook, *, force: bool) -> Path | None:
    """Write the outlook as a picture where one is asked for."""
    if path is None:
        return None
    from tapwright.cli.pages.nitrate_chart import written

    if path.suffix.lower() not in ("", ".svg"):
        said = f"{quoted(str(path))} is read; the picture is drawn as SVG."
        raise BadInput.of("--chart", said, f"Write --chart {path.with_suffix('.svg').name}.")

    written(path, outlook.steps, outlook.tank.nitrate_ceiling_mg_l, outlook.tank.name, force=force)
    return path


def _result(outlook: Outlook) -> dict[str, Any]:
    from tapwright.chemistry.units import from_canonical

    kept = outlook.regime
    least, most = outlook.loss_meq_l_day

    def as_n(mg_l: float) -> float:
        return from_canonical(mg_l, "nitrate", "mg/L N")

    return {
        "tank": outlook.tank.name,
        "readings": outlook.known.readings,
        "rate_mg_l_day": asdict(outlook.rate_mg_l_day),
        "rate_mg_n_l_day": {key: as_n(value) for key, value in asdict(outlook.rate_mg_l_day).items()},
        "tank_mg_l": asdict(outlook.tank_mg_l),
        "share": kept.share,
        "interval_days": kept.interval_days,
        "confidence": outlook.confidence,
        "chance_under_ceiling": kept.chance,
        "holds": kept.holds,
        "ceiling_mg_l": outlook.tank.nitrate_ceiling_mg_l,
        "refill_mg_l": outlook.refill_mg_l,
        "peak_mg_l": outlook.peak_mg_l.median,
        "peak_range_mg_l": asdict(outlook.peak_mg_l),
        "peak_at_confidence_mg_l": kept.peak_mg_l,
        "peak_mg_n_l": as_n(outlook.peak_mg_l.median),
        "trough_mg_l": outlook.trough_mg_l.median,
        "trough_range_mg_l": asdict(outlook.trough_mg_l),
        "trough_at_confidence_mg_l": kept.trough_mg_l,
        "changes_to_settle": outlook.changes_to_settle,
        "days_to_settle": outlook.changes_to_settle * kept.interval_days,
        "course": [
            {"day": day, "before_mg_l": asdict(before), "after_mg_l": asdict(after)}
            for day, before, after in outlook.steps
        ],
        "nitrate_rise_mg_l": outlook.rise_mg_l,
        "alkalinity_loss_meq_l_day": {"least": least, "most": most},
        "table": [asdict(cell) for cell in outlook.table],
    }
