"""A small linear programme through HiGHS, with its banner kept off stdout."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Programme:
    """Minimise cost @ x with row_low <= matrix @ x <= row_high and 0 <= x <= upper.

    matrix: rows x columns; row_low, row_high: rows; cost, upper: columns; infinities allowed.
    """

    cost: Array
    matrix: Array
    row_low: Array
    row_high: Array
    upper: Array


def solve(programme: Programme) -> Array | None:
    """The minimiser, or None when no x satisfies the rows."""
    highspy, solver = _solver()
    rows, columns = programme.matrix.shape
    model = highspy.HighsLp()
    model.num_row_, model.num_col_ = rows, columns
    model.col_cost_ = programme.cost
    model.col_lower_, model.col_upper_ = np.zeros(columns), programme.upper
    model.row_lower_, model.row_upper_ = programme.row_low, programme.row_high
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = np.arange(rows + 1) * columns
    model.a_matrix_.index_ = np.tile(np.arange(columns), rows)
    model.a_matrix_.value_ = programme.matrix.ravel()
    solver.clear()  # a warm start would let the answer depend on what was asked before
    _quieten(solver)
    solver.passModel(model)
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    amounts: Array = np.maximum(np.array(solver.getSolution().col_value), 0.0)
    return amounts


@cache
def _solver() -> tuple[Any, Any]:
    """The module and one solver for the life of the process."""
    import highspy

    with _stdout_to_nowhere():
        make: Any = highspy.Highs  # untyped in its own package
        return highspy, make()


def _quieten(solver: Any) -> None:
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)


@contextmanager
def _stdout_to_nowhere() -> Iterator[None]:
    """File descriptor 1 to the null device: the solver writes its banner there, past Python, when it is made."""
    try:
        saved = os.dup(1)
    except OSError:  # no stdout at all
        yield
        return
    null = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(null, 1)
        yield
    finally:
        os.dup2(saved, 1)
        os.close(saved)
        os.close(null)
