"""The `log` commands: add, list, import, export, undo."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from math import isfinite, nan
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.files.writing import STDOUT
from tapwright.cli.log import csv as log_csv
from tapwright.cli.log.entries import CHARTS, KINDS, TESTS, Entry, faults_of, moment, said
from tapwright.cli.log.logbook import Logbook, path_of
from tapwright.cli.log.owner import backup_findings, known_tank, refuse_anothers, shown_time, tanks_of
from tapwright.cli.options.of_log import EntryOptions
from tapwright.cli.pages import pieces as pages
from tapwright.cli.reading import Reader
from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console

_READING_EXAMPLE = 'Write "nitrate 20 mg/L NO3, chart, below 10, above 40", or "ph 8.2, meter".'
_STEP = re.compile(r"(below|above)\s+(\S+)$", re.IGNORECASE)
_FIGURE = re.compile(r"(\w+)\s+([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(.*)$")
_NOTHING = Entry(**dict.fromkeys(Entry._fields))._replace(number=0, kind="note")  # type: ignore[arg-type]


def now() -> datetime:
    """The time of this machine, with its zone."""
    return datetime.now().astimezone()


def add_answer(options: EntryOptions) -> Answer:
    """Write what was read, changed, serviced or seen."""
    today = now()
    tank = known_tank(options.file, options.tank)
    at, at_s = (today.isoformat(), today.timestamp()) if options.at is None else moment(options.at, "--at")
    blank = _NOTHING._replace(tank=tank, at=at, at_s=at_s, written=today.isoformat(), note=options.note or "")
    entries = [entry._replace(uid=str(uuid4())) for entry in _entries(options, blank)]
    faults = [
        fault
        for entry in entries
        for fault in faults_of(entry, _option_of(entry), today) or _beyond(entry, _option_of(entry))
    ]
    if faults:
        raise BadInput(dict.fromkeys(faults))
    tanks = tanks_of(options.file)
    with Logbook(path_of(options.file), create=True) as book:
        refuse_anothers(book, options.file, tanks)
        found = backup_findings(book)
        numbers = book.add(entries, tanks=tanks)
    stand = [entry._replace(number=number) for entry, number in zip(entries, numbers, strict=True)]

    def show(screen: Console) -> None:
        for entry in stand:
            screen.print(f"Entry {entry.number}, {_when(entry)}, {entry.tank}: {said(entry)}", soft_wrap=True)
        pages.findings(screen, found)

    done = f"It is entered all the same: {_entries_of(numbers)} in the log."
    return Answer("log add", {"entries": [entry._asdict() for entry in stand]}, show, found, done=done, as_written=True)


def _entries_of(numbers: Sequence[int]) -> str:
    first, last = numbers[0], numbers[-1]
    return f"entry {first} stands" if first == last else f"entries {first} to {last} stand"


def _entries(options: EntryOptions, blank: Entry) -> list[Entry]:
    """The entries that the options ask for; BadInput for none, or several kinds at once."""
    kinds = [bool(options.readings), options.change is not None, options.service is not None]
    if sum(kinds) > 1 or (not any(kinds) and options.note is None):
        raise BadInput.of(
            "log add",
            "one of --reading, --change, --service or --note is wanted.",
            f"For a reading: {_READING_EXAMPLE}",
        )
    if options.dosed and options.change is None:
        raise BadInput.of("--dosed", "belongs to a change.", "Give --change as well.")
    if options.readings:
        reader = Reader()
        read = [reader.tried(lambda text=text: _reading(text, blank)) for text in options.readings or ()]  # type: ignore[misc]
        reader.done()
        return [entry for entry in read if entry]
    if options.change is not None:
        return [_change(options.change, options.dosed or (), blank)]
    if options.service is not None:
        return [blank._replace(kind="service", part=options.service.strip().lower())]
    return [blank]


def _reading(text: str, blank: Entry) -> Entry:
    """'nitrate 20 mg/L NO3, chart, below 10, above 40' as an entry."""
    where = "--reading"
    first, *others = (part.strip() for part in re.split(r",(?!\d)", text))
    match = _FIGURE.match(first)
    if not match:
        raise BadInput.of(where, f"{quoted(first)} is read; what, how much and its unit are wanted.", _READING_EXAMPLE)
    if "," in match[2]:
        raise BadInput.of(where, f"{quoted(match[2])} has a comma; the decimal sign is a point.", _READING_EXAMPLE)
    quantity = match[1].lower()
    found: dict[str, Any] = {"quantity": quantity, "value": _number(match[2], where), "unit": match[3].strip() or None}
    for part in others:
        step = _STEP.match(part)
        key = step[1].lower() if step else "test"
        if key in found:
            raise BadInput.of(where, f"{quoted(part)}: {key} is given twice.", _READING_EXAMPLE)
        if step:
            found[key] = None if step[2].lower() == "none" else _number(step[2], where)
        elif part.lower() in TESTS:
            found["test"] = part.lower()
        else:
            raise BadInput.of(where, f"{quoted(part)} is no kind of test and no step of a chart.", _READING_EXAMPLE)
    if "test" not in found:
        raise BadInput.of(where, f"{quoted(text)} does not say how it was read.", f"Add {', '.join(TESTS)}.")
    if found["test"] in CHARTS and "above" not in found:
        said = "the step above it on the chart is not given."
        raise BadInput.of(where, said, "Add for example 'above 40', or 'above none' for the last step.")
    return blank._replace(kind="reading", **found)


def _number(text: str, where: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = nan
    if not isfinite(number):
        raise BadInput.of(where, f"{quoted(text)} is no number.", _READING_EXAMPLE)
    return number


def _change(text: str, dosed: Sequence[str], blank: Entry) -> Entry:
    """'40%' or '230 L', with what was dosed."""
    from tapwright.chemistry.allowed import amount_of, read_within
    from tapwright.chemistry.units import kind_of

    kind = kind_of(text)
    if kind not in ("share", "volume"):
        read_within(text, "share", "--change")  # says what is wrong with it
    amount = read_within(text, kind or "share", "--change")
    for dose in dosed:
        match = _FIGURE.match(f"dose {dose}")
        amount_text = " ".join(f"{match[2]} {match[3]}".split()[:2]) if match else ""
        if not match or not _names_something(match) or kind_of(amount_text) not in ("mass", "volume"):
            said = f"{quoted(dose)} is read; how much and of what are wanted."
            raise BadInput.of("--dosed", said, 'Write "4 g sodium thiosulfate pentahydrate".')
        amount_of(amount_text, "--dosed")
    sizes = {"share": amount} if kind == "share" else {"volume_l": amount}
    return blank._replace(kind="change", dosed="; ".join(dosed) or None, **sizes)  # type: ignore[arg-type]


def _names_something(dose: re.Match[str]) -> bool:
    """Whether a dose says of what it is, and is more than nothing: '4 g sodium thiosulfate pentahydrate'."""
    return len(dose[3].split()) >= 2 and not dose[2].startswith("-")


def _option_of(entry: Entry) -> Any:
    """The option a field of an entry was written with."""
    own = {"reading": "--reading", "change": "--change", "service": "--service", "note": "--note"}
    named = {"at": "--at", "note": "--note", "dosed": "--dosed", "tank": "--tank"}
    which = f"{own[entry.kind]} '{entry.quantity}'" if entry.kind == "reading" else own[entry.kind]
    return lambda field: named.get(field, which)


def _beyond(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    """What a household file would not take: a log may hold it from elsewhere, but nobody reads it off a test today."""
    from tapwright.chemistry.allowed import read_within

    reader = Reader()
    figures = {field: getattr(entry, field) for field in ("value", "below", "above")}
    for field, figure in figures.items():
        if figure is None:
            continue
        if entry.quantity == "ph":
            reader.number(f"{figure:g}", "ph", where(field))
        else:
            name = "water" if entry.quantity == "temperature" else str(entry.quantity)
            reader.tried(partial(read_within, f"{figure:g} {entry.unit}", name, where(field)))
    return reader.faults


def list_answer(file: Path, tank: str | None, kind: str | None, last: int, *, undone: bool) -> Answer:
    """The last entries, oldest first."""
    if tank is not None:
        known_tank(file, tank)
    if kind is not None and kind not in KINDS:
        raise BadInput.of("--kind", f"{quoted(kind)} is no kind of entry.", f"Write {', '.join(KINDS)}.")
    if last < 1:
        raise BadInput.of("--last", f"{last} entries.", "Write 1 or more.")
    with Logbook(path_of(file), create=False, reading=True) as book:
        every, found = book.entries(tank, kind), backup_findings(book)
    standing = [entry for entry in every if undone or entry.undone is None]
    shown = standing[-last:]

    def show(screen: Console) -> None:
        hidden = len(every) - len(standing)
        entries = f"{len(shown)} entr{'y' if len(shown) == 1 else 'ies'}"
        of_all = f"the last {len(shown)} of {len(standing)}" if len(shown) < len(standing) else entries
        pages.heading(
            screen, f"Log of {visible(str(file))}: {of_all}" + (f", {hidden} taken back not shown" if hidden else "")
        )
        rows = [
            (
                (f"{entry.number:>4}  {_when(entry)}", ""),
                f"{entry.tank}: {'TAKEN BACK: ' if entry.undone else ''}{said(entry)}",
            )
            for entry in shown
        ]
        pages.hanging(screen, rows, indent=0, gap=2)
        pages.findings(screen, found)

    result = {"entries": [entry._asdict() for entry in shown], "of": len(standing)}
    return Answer("log list", result, show, found, as_written=True)


def import_answer(file: Path, sheet: Path) -> Answer:
    """Take in a CSV file, all of it or nothing; entries that stand already are left as they are."""
    tanks = tanks_of(file)
    entries = log_csv.read(sheet, tanks, now())
    if not entries:
        raise BadInput.of(str(sheet), "holds no entry below its head.", "Write one row for each entry.")
    with Logbook(path_of(file), create=True) as book:
        refuse_anothers(book, file, tanks)
        found = backup_findings(book)
        new, differ = log_csv.new_among(entries, book.entries())
        if differ:
            raise BadInput(
                Fault(
                    f"{sheet}: uid {entry.uid}",
                    "the logbook has another entry under this uid.",
                    "Leave uid empty for a new one.",
                )
                for entry in differ
            )
        book.add(new, skip_known=True, tanks=tanks)
    known = len(entries) - len(new)

    def show(screen: Console) -> None:
        stood = f" {known} stood in it already." if known else ""
        screen.print(f"{len(new)} entries of {visible(str(sheet))} are in the log.{stood}", soft_wrap=True)
        pages.findings(screen, found)

    result = {"file": str(sheet), "added": len(new), "known": known}
    return Answer(
        "log import", result, show, found, done=f"They are entered all the same: {len(new)} entries of {sheet}."
    )


def export_answer(file: Path, sheet: Path, *, force: bool) -> Answer:
    """Write the whole log, entries taken back included, to a CSV file; never over the household file or the log itself."""
    if sheet.resolve() in (file.resolve(), path_of(file).resolve()):
        raise BadInput.of(str(sheet), "is the household file or its log.", "Give another name.")
    with Logbook(path_of(file), create=False, reading=True) as book:
        every = book.entries()
    count = log_csv.written(every, sheet, force=force)

    def show(screen: Console) -> None:
        if sheet == STDOUT:
            return
        screen.print(
            f"{count} entries are in {visible(str(sheet))}. Take them in elsewhere with: tapwright log import",
            soft_wrap=True,
        )

    return Answer("log export", {"file": str(sheet), "entries": count}, show, done=f"{sheet} is written.")


def undo_answer(file: Path, number: int | None) -> Answer:
    """Take back one entry; it is kept and marked."""
    tanks = tanks_of(file)
    with Logbook(path_of(file), create=False) as book:
        refuse_anothers(book, file, tanks)
        entry = book.undo(number, now().isoformat())

    def show(screen: Console) -> None:
        screen.print(
            f"Taken back, and kept: entry {entry.number}, {_when(entry)}, {entry.tank}: {said(entry)}", soft_wrap=True
        )

    done = f"It is taken back all the same: entry {entry.number}."
    return Answer("log undo", {"entry": entry._asdict()}, show, done=done, as_written=True)


def _when(entry: Entry) -> str:
    return shown_time(entry.at)
