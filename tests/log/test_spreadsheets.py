"""The log as CSV, opened in a spreadsheet: nothing in it runs, and all of it comes back as it was written."""

from __future__ import annotations

import csv
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given
from hypothesis import strategies as st

from log.test_log_commands import ANY, NOW, TANKS
from log.test_logbook import MEMORY
from tapwright.cli.files.kinds import LOG_CSV
from tapwright.cli.log import csv as log_csv
from tapwright.cli.log.entries import Entry

RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@given(st.text(st.characters()), st.sampled_from(["", *RUN]), st.integers(0, 3))
def test_no_text_is_a_formula_and_every_one_comes_back(rest: str, first: str, apostrophes: int) -> None:
    text = "'" * apostrophes + first + rest
    cell = str(log_csv._cell(text))
    assert not cell.startswith(RUN)
    assert log_csv._text(cell) == text
    assert cell == text or cell == f"'{text}"


@given(st.lists(ANY, max_size=8), st.sampled_from(["=1+1", "'=1+1", "''@x", "-3 fry", "'quoted'", "+"]))
def test_no_cell_of_a_log_runs(entries: list[Entry], note: str) -> None:
    written = [entry._replace(note=note, tank=TANKS[0]) for entry in entries]
    with TemporaryDirectory(dir=MEMORY) as folder:
        path = Path(folder, "log.csv")
        log_csv.written(written, path, force=False)
        text = path.read_text(encoding="utf-8")
        assert [cell for row in csv.reader(text.splitlines()) for cell in row if cell.startswith(RUN)] == []
        assert [entry._replace(number=0) for entry in log_csv.read(path, TANKS, NOW)] == sorted(written)


def test_the_rows_of_an_evening_are_no_log() -> None:
    assert LOG_CSV.knows(",".join(log_csv.COLUMNS).encode())
    assert not LOG_CSV.knows(b"uid,tank,at,kind,share,dosed,part,note\n")
