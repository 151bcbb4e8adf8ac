"""A small linear or integer programme through HiGHS, with its banner kept off stdout."""

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

# Nodes of the search tree: a bound that does not depend on the machine, far above what a cupboard needs.
_MOST_NODES = 20_000


@dataclass(frozen=True)
class Programme:
    """Minimise cost @ x with row_low <= matrix @ x <= row_high and 0 <= x <= upper.

    matrix: rows x columns; row_low, row_high: rows; cost, upper: columns; infinities allowed.  whole: how many of the
    first columns must be whole numbers.
    """

    cost: Array
    matrix: Array
    row_low: Array
    row_high: Array
    upper: Array
    whole: int = 0


def solve(programme: Programme) -> Array | None:
    """The minimiser, or None when no x satisfies the rows."""
    if len(programme.upper) == 0:  # nothing to choose: the rows hold at 0 or not at all
        return programme.upper if np.all((programme.row_low <= 0) & (programme.row_high >= 0)) else None
    highspy, solver = _solver()
    solver.clear()  # a warm start would let the answer depend on what was asked before
    for option, value in (("output_flag", False), ("threads", 1), ("mip_rel_gap", 0.0), ("mip_max_nodes", _MOST_NODES)):
        solver.setOptionValue(option, value)
    solver.passModel(_model(highspy, programme))
    solver.run()
    feasible = solver.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    if not feasible or solver.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return None
    amounts: Array = np.maximum(np.array(solver.getSolution().col_value), 0.0)
    amounts[: programme.whole] = np.round(amounts[: programme.whole])
    return amounts


def _model(highspy: Any, programme: Programme) -> Any:
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
    if programme.whole:
        whole, free = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
        model.integrality_ = [whole] * programme.whole + [free] * (columns - programme.whole)
    return model


@cache
def _solver() -> tuple[Any, Any]:
    """The module and one solver for the life of the process."""
    import highspy

    with _stdout_to_nowhere():
        make: Any = highspy.Highs  # untyped in its own package
        return highspy, make()


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
