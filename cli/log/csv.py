"""The log as a CSV file: out exactly as it stands, in all or nothing with every bad row named."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from uuid import uuid4

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.words import nearest, quoted
from tapwright.cli.files.kinds import LOG_CSV
from tapwright.cli.files.writing import write_new
from tapwright.cli.log.entries import Entry, faults_of, moment

# Every field but the two that each logbook sets for itself.
COLUMNS = tuple(field for field in Entry._fields if field not in ("number", "at_s"))
_NEEDED = ("tank", "at", "kind")
_NUMBERS = ("value", "below", "above", "share", "volume_l")
# What a spreadsheet takes for a formula, which may send away what stands beside it, by its first letter; behind any number
# of apostrophes as well, so that one put before it can be taken away again whatever was written.
_FORMULA = re.compile(
    "'*[=+\\-@\t\r\n\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}"
    "\N{FULLWIDTH COMMERCIAL AT}]"
)


def written(entries: Iterable[Entry], path: Path, *, force: bool) -> int:
    """Write entries, in the order they were put down, to a new file; returns how many.

    Raises BadInput where the file stands already (forced: and is no log as CSV) or cannot be written.
    """
    rows = sorted(entries)
    text = io.StringIO(newline="")
    sheet = csv.writer(text, lineterminator="\n")
    sheet.writerow(COLUMNS)
    sheet.writerows([_cell(getattr(entry, column)) for column in COLUMNS] for entry in rows)
    write_new(path, text.getvalue(), LOG_CSV, force=force)
    return len(rows)


def _cell(value: object) -> object:
    """A figure so that it reads back as itself, and a text so that no spreadsheet runs it."""
    if isinstance(value, str):
        return f"'{value}" if _FORMULA.match(value) else value
    return "" if value is None else repr(value) if isinstance(value, float) else value


def _text(cell: str) -> str:
    """A text as it was before `_cell`; the bare one of another program is the same."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell


def read(path: Path, tanks: Sequence[str], now: datetime) -> list[Entry]:
    """The entries of a file. Raises BadInput with every fault as file:line: column."""
    rows, faults = _rows(path)
    entries: list[Entry] = []
    first_line: dict[str, int] = {}
    for line, row in rows:
        made, wrong = _entry(row, f"{path}:{line}", tanks, now)
        faults += wrong
        if made and made.uid in first_line:
            said = f"the same uid stands in line {first_line[made.uid]}."
            faults.append(Fault(f"{path}:{line}: uid", said, "Leave it empty for a new entry."))
        elif made:
            first_line[made.uid] = line
            entries.append(made)
    if faults:
        raise BadInput(faults)
    return entries


def _rows(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[Fault]]:
    """Every row with its line, and a fault for each of another width than the head.

    BadInput for a file that cannot be read or a head that is not ours.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            sheet = csv.reader(file, strict=True)
            head = [name.strip() for name in next(sheet, [])]
            _refuse_head(head, path)
            rows, faults = [], []
            for cells in sheet:
                if len(cells) not in (0, len(head)):
                    said = f"{len(cells)} cells are read; the head has {len(head)} columns."
                    faults.append(
                        Fault(f"{path}:{sheet.line_num}", said, "A cell with a comma in it stands in quotes.")
                    )
                elif any(cell.strip() for cell in cells):
                    rows.append((sheet.line_num, dict(zip(head, cells, strict=True))))
            return rows, faults
    except UnicodeDecodeError:
        raise BadInput.of(str(path), "is not text in UTF-8.", "Save it as CSV, UTF-8.") from None
    except csv.Error as error:
        raise BadInput.of(f"{path}:{sheet.line_num}", f"is no CSV: {error}.", "Quotes come in pairs.") from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadInput.of(str(path), f"cannot be read: {reason}.", "Give the name of a CSV file.") from None


def _refuse_head(head: Sequence[str], path: Path) -> None:
    where = f"{path}:1"
    if len(head) < 2:
        known = f"Write for example {','.join(_NEEDED)},quantity,value,unit,test,below,above with commas between."
        raise BadInput.of(where, f"{quoted(','.join(head))} is read; a head with columns is wanted.", known)
    faults = [
        Fault(where, f"there is no column {quoted(name)} here.", _nearest(name)) for name in head if name not in COLUMNS
    ]
    faults += [
        Fault(where, f"the column {quoted(name)} is missing.", f"Needed: {', '.join(_NEEDED)}.")
        for name in _NEEDED
        if name not in head
    ]
    faults += [Fault(where, f"{quoted(name)} stands twice.") for name in dict.fromkeys(head) if head.count(name) > 1]
    if faults:
        raise BadInput(faults)


def _nearest(name: str) -> str:
    near = nearest(name, COLUMNS, n=1, cutoff=0.5)
    return f"Did you mean '{near[0]}'?" if near else f"Known: {', '.join(COLUMNS)}."


def _entry(row: dict[str, str], where: str, tanks: Sequence[str], now: datetime) -> tuple[Entry | None, list[Fault]]:
    """The entry of a row, or what is wrong with it."""
    cells: dict[str, object] = {column: _text(row.get(column, "")) or None for column in COLUMNS}
    cells["note"] = _text(row.get("note", ""))
    faults = []
    for column in _NUMBERS:
        text = row.get(column, "").strip()
        try:
            cells[column] = float(text) if text else None
        except ValueError:
            cells[column] = math.nan
        if text and not math.isfinite(float(cells[column] or 0.0)):  # type: ignore[arg-type]
            hint = f"Write {text.replace(',', '.')}." if "," in text else "Write a number with a decimal point."
            faults.append(Fault(f"{where}: {column}", f"{quoted(text)} is no number.", hint))
    unreadable = bool(faults)
    if (tank := str(cells["tank"] or "")) not in tanks:
        choices = " or ".join(f"'{name}'" for name in nearest(tank, tanks, n=1, cutoff=0.4) or tanks)
        said = f"there is no tank named {quoted(tank)} in the household file."
        faults.append(Fault(f"{where}: tank", said, f"Write {choices}."))
    times = {}
    for column in ("at", "written", "undone"):
        if column == "at" or cells[column]:
            try:
                times[column] = moment(str(cells[column] or ""), f"{where}: {column}")
            except BadInput as error:
                faults += error.faults
    if unreadable:
        return None, faults
    at, at_s = times.get("at", ("", 0.0))
    cells |= {"at": at, "uid": cells["uid"] or str(uuid4()), "written": cells["written"] or now.isoformat()}
    entry = Entry(number=0, at_s=at_s, **cells)  # type: ignore[arg-type]
    faults += faults_of(entry, lambda field: f"{where}: {field}", now)
    return (None if faults else entry), faults


def _said(entry: Entry) -> tuple[object, ...]:
    """What an entry says, whenever it was written or taken back."""
    return entry._replace(number=0, written="", undone=None)


def new_among(entries: Sequence[Entry], known: Iterable[Entry]) -> tuple[list[Entry], list[Entry]]:
    """Entries the logbook has not, and those of the same uid that say something else than it has (taken back or not)."""
    by_uid = {entry.uid: entry for entry in known}
    new = [entry for entry in entries if entry.uid not in by_uid]
    differ = [entry for entry in entries if entry.uid in by_uid and _said(entry) != _said(by_uid[entry.uid])]
    return new, differ
