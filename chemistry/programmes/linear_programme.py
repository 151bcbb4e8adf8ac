"""A small linear or integer programme through HiGHS, with its banner kept off stdout."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.programmes.budget import OutOfWork, current

Array = NDArray[np.float64]

# Units of work (`chemistry.programmes.budget`), as measured: of a call with every coefficient that is passed on, and of an
# iteration of a relaxed programme.
_CALL, _PASSED_ON, _ITERATION = 250.0, 0.02, 60.0
# The same of one in whole numbers, and of a node of its search tree. The solver counts no iteration of the smaller
# searches it begins at the root; what these take is seen to grow with the cube of the columns.
_WHOLE_CALL, _WHOLE_ITERATION, _CUBE, _NODE = 4000.0, 250.0, 0.02, 200.0
# A search in whole numbers does not stop before its root is done, which takes about so many iterations a column.
_ITERATIONS_AT_ROOT = 2.0
# What a node takes is seen only afterwards: so many iterations are allowed for in what is left.
_ITERATIONS_A_NODE = 5.0
_MOST_NODES = 200_000
# A call that is not over by then hangs; its clock goes on from call to call [s].
_HUNG_S = 30.0
# What the largest cost is brought to where the solver breaks down over the costs as they came.
_LARGEST_COST = 1e6


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


def solve(programme: Programme, gap: float = 0.0) -> Array | None:
    """The minimiser, or None when no x satisfies the rows.

    gap: how far above the least, as a share of it, an answer in whole numbers may lie.  Raises OutOfWork, with the best x
    that was found, where the budget of the question ends before either is proven.
    """
    if len(programme.upper) == 0:  # nothing to choose: the rows hold at 0 or not at all
        return programme.upper if np.all((programme.row_low <= 0) & (programme.row_high >= 0)) else None
    budget = current()
    columns = int(np.count_nonzero(programme.upper))
    call, iteration = _CALL + _PASSED_ON * programme.matrix.size, _ITERATION
    if programme.whole:
        call, iteration = call + _WHOLE_CALL, _WHOLE_ITERATION + _CUBE * columns**3
    budget.ask(call + _ITERATIONS_AT_ROOT * iteration * columns if programme.whole else 0.0)
    highspy, solver = _solver()
    options = {
        "output_flag": False,
        "threads": 1,
        "mip_rel_gap": gap,
        "mip_max_nodes": int(min(budget.left / (_NODE + _ITERATIONS_A_NODE * iteration) + 1, _MOST_NODES)),
        "simplex_iteration_limit": int(min(budget.left / iteration + 100, 1e6)),
    }
    status = _run(highspy, solver, options, programme)
    if status == highspy.HighsModelStatus.kSolveError:  # costs too far apart: seen where they spanned thirteen decades
        largest = float(np.abs(programme.cost).max())
        status = _run(highspy, solver, options, replace(programme, cost=programme.cost * (_LARGEST_COST / largest)))
    info = solver.getInfo()
    nodes, iterations = max(info.mip_node_count, 0), max(info.simplex_iteration_count, 0)
    budget.take(call + _NODE * nodes + iteration * iterations)
    found = None
    if info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible:
        found = np.maximum(np.array(solver.getSolution().col_value), 0.0)
        found[: programme.whole] = np.round(found[: programme.whole])
    if status == highspy.HighsModelStatus.kInfeasible:
        return None
    if status == highspy.HighsModelStatus.kOptimal:
        return found
    raise OutOfWork(found if programme.whole else None)  # a limit, or the solver gave up: nothing is proven


def _run(highspy: Any, solver: Any, options: Mapping[str, object], programme: Programme) -> Any:
    solver.clear()  # a warm start would let the answer depend on what was asked before
    for option, value in options.items():
        solver.setOptionValue(option, value)
    solver.passModel(_model(highspy, programme))
    solver.setOptionValue("time_limit", solver.getRunTime() + _HUNG_S)
    solver.run()
    return solver.getModelStatus()


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
