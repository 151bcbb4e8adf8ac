"""A computation over many rows, some thousands at a time, so that a million need little more memory than one chunk."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.water.constants import Amount, Array

# Rows at a time: enough that a call costs little beside its work, few enough to stay in the processor's cache.
_CHUNK = 8000
# Numbers in a block that is taken and given back at once. After that the C library of Linux keeps the memory it has,
# where before it handed every few arrays back to the system and fetched them anew: that alone took a third of the time.
_KEPT = 4_000_000

# Takes the columns of some rows and whether to be patient; returns a record of arrays and which rows are solved.
Solve = Callable[[list[Amount], bool], tuple[Any, Any]]


def in_chunks(
    columns: Sequence[Array], shape: tuple[int, ...], solve: Solve, names: Sequence[str]
) -> tuple[dict[str, Array], NDArray[np.bool_]]:
    """The answers `names` to every row, each of `shape`, and which rows stay unsolved [rows].

    columns: each of a shape that broadcasts to `shape`; `solve` gets them as rows of one length.  The few rows that
    impatience leaves open are solved in the end, together and with patience.
    """
    size = math.prod(shape)
    rows_of = [_row(column, shape) for column in columns]
    np.empty(_KEPT)
    answers = {name: np.empty(size) for name in names}
    unsolved = np.zeros(size, dtype=bool)

    def answer(rows: Any, patient: bool) -> None:
        found, solved = solve([row[rows] for row in rows_of], patient)
        for name, column in answers.items():
            column[rows] = getattr(found, name)
        unsolved[rows] = ~np.asarray(solved)

    for start in range(0, size, _CHUNK):
        answer(slice(start, start + _CHUNK), False)
    left = np.flatnonzero(unsolved)
    for start in range(0, left.size, _CHUNK):
        answer(left[start : start + _CHUNK], True)
    return {name: column.reshape(shape) for name, column in answers.items()}, unsolved


def _row(column: Array, shape: tuple[int, ...]) -> Any:
    """A column as one row that can be indexed, without a copy."""
    if column.ndim == 0:
        return np.broadcast_to(column, (math.prod(shape),))
    if column.shape == shape and column.flags.c_contiguous:
        return column.reshape(-1)
    return np.broadcast_to(column, shape).flat
