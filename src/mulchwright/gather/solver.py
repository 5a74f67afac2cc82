"""Mixed-integer programs, solved by HiGHS through scipy: whole numbers out, proved or told how far off.

One door to the solver, because three things are easily forgotten at it. HiGHS prints lines of its own to
standard output from C, which would corrupt every `--json`; it gives whole numbers as 0.9999999; and it
stops at a gap of one in ten thousand unless told otherwise. `quiet_output` keeps the first in, `solve`
sees to the other two.
"""

from __future__ import annotations

import ctypes
import math
import os
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError

__all__ = [
    "Limit", "Mixed", "Program", "Solved", "Unknown", "best_mixed", "limit_prices", "quiet_output", "solve",
]  # fmt: skip

FloatArray = npt.NDArray[np.float64]

PATIENCE_S = 20.0
"""How long HiGHS may search before the best plan so far is told with its gap; our own judgement."""
TOLERANCE = 1e-6
"""HiGHS' own feasibility tolerance; coefficients should lie between 0.001 and 1000 times one."""
STANDARD_OUTPUT = 1

_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True)
class Unknown:
    """One number to be found: its name in words, its share in the aim, its bounds, whole or not."""

    name: str
    worth: float = 0.0
    least: float = 0.0
    most: float = math.inf
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Limit:
    """A sum that must lie between two bounds: `terms` maps the place of an unknown to its coefficient.

    `name` is said to the grower when this limit is what cannot be met; `hard` ones are the frame of the
    question (at most one recipe a patch) and are never named as the culprit.
    """

    name: str
    terms: Mapping[int, float]
    at_least: float = -math.inf
    at_most: float = math.inf
    hard: bool = False


@dataclass(frozen=True, slots=True)
class Program:
    """What is to be made largest (the sum of worth times number) and within which limits."""

    unknowns: tuple[Unknown, ...]
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class Solved:
    """The best numbers found and how surely they are the best.

    values : rounded where whole. worth : of these values, summed anew. bound : no plan can be worth more.
    gap : bound less worth, 0 where proved. proved : no better plan exists (within `tolerance` of `solve`).
    status : the same in words.
    """

    values: tuple[float, ...]
    worth: float
    bound: float
    gap: float
    proved: bool
    status: str

    def whole(self, place: int) -> int:
        """One value as an integer."""
        return round(self.values[place])


@contextmanager
def quiet_output() -> Iterator[None]:
    """Nothing that C code prints reaches standard output inside; one thread at a time.

    C keeps what it printed in a buffer of its own when standard output is a file or a pipe, so the
    buffer is emptied before the output is put back; otherwise the line would come out at the end of
    the program. Where there is no standard output (a windowed start), there is nothing to keep quiet.
    What another thread prints meanwhile is lost with it: the program's shells print when work is done.
    """
    with _one_at_a_time:
        try:
            if sys.stdout is not None:
                sys.stdout.flush()
            _flush_c_buffers()
            kept = os.dup(STANDARD_OUTPUT)
        except (OSError, ValueError):
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, STANDARD_OUTPUT)
            yield
        finally:
            _flush_c_buffers()
            os.dup2(kept, STANDARD_OUTPUT)
            os.close(nowhere)
            os.close(kept)


def _flush_c_buffers() -> None:
    library = "ucrtbase" if sys.platform == "win32" else None
    ctypes.CDLL(library).fflush(None)


def _matrix(program: Program) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The limits as a dense matrix (limit, unknown) with lower and upper bounds (limit,)."""
    table = np.zeros((len(program.limits), len(program.unknowns)))
    for row, limit in enumerate(program.limits):
        for place, coefficient in limit.terms.items():
            table[row, place] = coefficient
    lower = np.array([limit.at_least for limit in program.limits], dtype=np.float64)
    upper = np.array([limit.at_most for limit in program.limits], dtype=np.float64)
    return table, lower, upper


def solve(program: Program, *, tolerance: float = TOLERANCE, patience_s: float = PATIENCE_S) -> Solved:
    """The numbers of largest worth within the limits, whole where they must be.

    tolerance : a difference in worth that does not matter (half a cent, half a gram): the plan counts as
        proved when the bound lies within it.
    patience_s : when it is over, the best plan so far is given with its gap and `proved` False.

    Raises `InputError` where the limits cannot be met together (naming those that cannot, and by how
    much), where the worth has no upper bound (naming what may grow for ever), or where nothing was found
    in time.

    >>> bags = Program(
    ...     (Unknown("large bags", 3, most=9), Unknown("small bags", 2, most=9)),
    ...     (Limit("the purse", {0: 4.0, 1: 3.0}, at_most=10),),
    ... )
    >>> solve(bags).values, solve(bags).status
    ((1.0, 2.0), 'proved best')
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # a third of a second: only who asks pays

    if not program.unknowns:
        return Solved((), 0.0, 0.0, 0.0, True, "proved best")
    table, lower, upper = _matrix(program)
    worth = np.array([one.worth for one in program.unknowns])
    whole = np.array([one.whole for one in program.unknowns])
    bounds = Bounds([one.least for one in program.unknowns], [one.most for one in program.unknowns])
    limits = LinearConstraint(table, lower, upper) if program.limits else None
    with quiet_output():
        found = milp(
            -worth,
            integrality=whole.astype(int),
            bounds=bounds,
            constraints=limits,
            options={"mip_rel_gap": 0.0, "time_limit": patience_s},
        )
    if found.x is None:
        _refuse(program, int(found.status), patience_s)
    values = np.where(whole, np.round(found.x), found.x)
    reached = math.fsum(worth * values)
    dual = getattr(found, "mip_dual_bound", None)
    bound = reached if dual is None or not np.any(whole) else max(-float(dual), reached)
    gap = bound - reached
    proved = gap <= tolerance
    status = (
        "proved best" if proved else f"best found in {patience_s:g} s; at most {gap:g} better is possible"
    )
    return Solved(tuple(float(one) for one in values), reached, bound, 0.0 if proved else gap, proved, status)


def _refuse(program: Program, status: int, patience_s: float) -> None:
    """Raise the `InputError` that fits: infeasible, unbounded, or out of time."""
    timed_out = 1
    if status == timed_out:
        raise InputError(
            f"No plan was found in {patience_s:g} s. Give it longer, or fewer patches, offers or options."
        )
    binding = _what_cannot_be_met(program)
    if binding:
        raise InputError(f"These cannot be met together: {'; '.join(binding)}. Loosen one of them.")
    endless = [
        one.name
        for one in program.unknowns
        if (one.worth > 0 and math.isinf(one.most)) or (one.worth < 0 and math.isinf(one.least))
    ]
    infeasible = 2
    if status == infeasible or not endless:
        names = "; ".join(limit.name for limit in program.limits)
        raise InputError(f"These cannot be met together: {names}. Loosen one of them.")
    raise InputError(f"Nothing limits {', '.join(endless)}. Give a stock or a largest number.")


def _what_cannot_be_met(program: Program) -> list[str]:
    """Each soft limit that must be broken, and by how much at the least; empty where all can be met.

    Every limit may be broken at a price of one per unit, relative to its own size, and the sum of
    breaches is made smallest. Where several sets of breaches are equally small, one of them is named.
    """
    unknowns = [replace(one, worth=0.0) for one in program.unknowns]
    limits = []
    breaches: list[tuple[Limit, int, str]] = []
    for limit in program.limits:
        terms = dict(limit.terms)
        if not limit.hard:
            for bound, sign, words in ((limit.at_least, 1.0, "short"), (limit.at_most, -1.0, "too much")):
                if math.isfinite(bound):
                    breaches.append((limit, len(unknowns), words))
                    terms[len(unknowns)] = sign
                    unknowns.append(Unknown("breach", worth=-1.0 / max(abs(bound), 1.0), whole=False))
        limits.append(replace(limit, terms=terms, hard=True))  # hard, so that this is not asked of it again
    try:
        eased = solve(Program(tuple(unknowns), tuple(limits))) if breaches else None
    except InputError:  # the frame itself does not hold; nothing soft is to blame
        return [limit.name for limit in program.limits]
    if eased is None:
        return []
    return [
        f"{limit.name} ({eased.values[place]:.4g} {words})"
        for limit, place, words in breaches
        if eased.values[place] > TOLERANCE * 10
    ]


@dataclass(frozen=True, slots=True)
class Mixed:
    """The numbers of largest worth, None where there are none or none were found in time; and a bound."""

    values: FloatArray | None
    bound: float


def best_mixed(
    worth: FloatArray,
    table: FloatArray,
    at_least: FloatArray,
    at_most: FloatArray,
    most: FloatArray,
    whole: npt.NDArray[np.bool_],
    *,
    relative_gap: float,
    patience_s: float,
) -> Mixed:
    """Numbers from 0 to `most`, whole where `whole` says so, of the largest worth within the limits.

    worth, most, whole (number,); table (limit, number) with its bounds (limit,). relative_gap : between worth
    and bound, at which the proof may end. The arrays of `solve`, for who has no use for names.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    if not len(worth):
        possible = bool(np.all(at_least <= 0) and np.all(at_most >= -TOLERANCE))
        return Mixed(np.zeros(0) if possible else None, 0.0)
    with quiet_output():
        found = milp(
            -worth,
            integrality=whole.astype(int),
            bounds=Bounds(np.zeros(len(worth)), most),
            constraints=LinearConstraint(csr_matrix(table), at_least, at_most) if len(table) else None,
            options={"mip_rel_gap": relative_gap, "time_limit": patience_s},
        )
    dual = getattr(found, "mip_dual_bound", None)
    if found.x is None:
        return Mixed(None, math.inf)
    reached = float(worth @ found.x)
    return Mixed(found.x, reached if dual is None or not whole.any() else max(-float(dual), reached))


def limit_prices(
    worth: FloatArray,
    takes: FloatArray,
    limit: FloatArray,
    group: npt.NDArray[np.int64],
    must: npt.NDArray[np.bool_],
    most: FloatArray,
) -> FloatArray:
    """What one more unit of each limit would be worth if everything could be had in parts, (limit,).

    worth, group, most (number,), takes (number, limit), limit (limit,), must (group,): the numbers of a group
    sum to one at most, or to just that where it must; those of group -1 belong to none. All zero where the
    limits cannot be met even so.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix, vstack

    grouped = np.flatnonzero(group >= 0)
    ones = csr_matrix((np.ones(len(grouped)), (group[grouped], grouped)), shape=(len(must), len(worth)))
    with quiet_output():
        found = linprog(
            -worth,
            A_ub=vstack([csr_matrix(takes.T), ones[~must]]),
            b_ub=np.concatenate([limit, np.ones(int((~must).sum()))]),
            A_eq=ones[must] if must.any() else None,
            b_eq=np.ones(int(must.sum())) if must.any() else None,
            bounds=np.column_stack([np.zeros(len(worth)), most]),
            method="highs",
        )
    if found.status != 0:
        return np.zeros(len(limit))
    prices: FloatArray = np.maximum(-np.asarray(found.ineqlin.marginals)[: len(limit)], 0.0)
    return prices
