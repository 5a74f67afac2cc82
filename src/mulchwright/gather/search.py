"""The search behind `allocate`: one option for each patch, several stocks, the largest sum of yields.

Branch and bound, compiled. HiGHS proves such plans too, but took 0.7 to 5.5 seconds for one plan of 20
patches, 8 options and 4 stocks, and six plans are needed (the best, the next best, and one more unit of
each stock); this search took 0.01 to 0.6. HiGHS still gives the prices to start from, and the tests hold
the two against each other.

The bound is the Lagrangian one: put a price on every stock, let each patch choose for itself, and no plan
can be worth more than those choices and the stocks at their prices. At every node the inherited prices
are bettered by a few subgradient steps (Held, Wolfe and Crowder 1974; from memory) with the step length of
Polyak, aimed at the value that would cut the node off.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled

__all__ = ["search_plan"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

NEVER = -1e300
"""Stands for minus infinity: the kernels are compiled for finite numbers only."""
LESS_THAN_ONE = 1e-6
"""Worths are whole, so a bound this close below the next whole number cannot reach it."""
ROOT_STEPS = 200
NODE_STEPS = 4
PATIENCE_STEPS = 3
SHORTER = 0.6
"""Steps at the root and at other nodes, and when and how the step shrinks: found by trying, no source."""


@compiled
def _each_for_itself(
    worth: IntArray,
    demand: IntArray,
    share: FloatArray,
    left: IntArray,
    price: FloatArray,
    settled: BoolArray,
    lowest: IntArray,
    pick: IntArray,
    slack: FloatArray,
) -> tuple[float, int]:
    """Sum of the best priced worths of the patches not settled (NEVER if one has none), and their worth.

    Fills `pick` with the choices and takes their shares off `slack`.
    """
    priced_sum = 0.0
    worth_sum = 0
    for patch in range(worth.shape[0]):
        if settled[patch]:
            continue
        best = NEVER
        best_option = -1
        for option in range(lowest[patch], worth.shape[1]):
            fits = True
            priced = float(worth[patch, option])
            for stock in range(left.shape[0]):
                if demand[patch, option, stock] > left[stock]:
                    fits = False
                    break
                priced -= price[stock] * share[patch, option, stock]
            if fits and priced > best:
                best = priced
                best_option = option
        if best_option < 0:
            return NEVER, 0
        pick[patch] = best_option
        priced_sum += best
        worth_sum += worth[patch, best_option]
        for stock in range(left.shape[0]):
            slack[stock] -= share[patch, best_option, stock]
    return priced_sum, worth_sum


@compiled
def _may_replace(
    demand: IntArray,
    left: IntArray,
    settled: BoolArray,
    chosen: IntArray,
    pick: IntArray,
    excluded: IntArray,
) -> bool:
    """Whether the settled choices with `pick` for the rest fit the stock and are not the excluded plan."""
    for stock in range(left.shape[0]):
        rest = left[stock]
        for patch in range(pick.shape[0]):
            if not settled[patch]:
                rest -= demand[patch, pick[patch], stock]
        if rest < 0:
            return False
    for patch in range(pick.shape[0]):
        if (chosen[patch] if settled[patch] else pick[patch]) != excluded[patch]:
            return True
    return False


@compiled
def search_plan(
    worth: IntArray,
    demand: IntArray,
    stock: IntArray,
    like: IntArray,
    first_price: FloatArray,
    floor: int,
    plan: IntArray,
    excluded: IntArray,
    most_nodes: int,
) -> tuple[int, int, int]:
    """The largest worth above `floor`, a bound no plan exceeds, and the nodes visited; fills `plan`.

    worth (patch, option), demand (patch, option, stock), stock (stock,): whole numbers. An option that
    does not exist has a demand above every stock. like (patch,) : the patch before it with the very same
    options, or -1; like patches are only searched with their options in rising order, since any other
    order is the same plan. first_price (stock,) : worth of the whole stock at the starting price.
    excluded (patch,) : a plan that is not taken, -1 for none. Where nothing is better than `floor`, it is
    given back and `plan` is left as it was. The bound equals the worth unless `most_nodes` ended the search.
    """
    patches, options = worth.shape
    stocks = stock.shape[0]
    share = np.empty((patches, options, stocks))
    for one in range(stocks):
        for patch in range(patches):
            for option in range(options):
                share[patch, option, one] = demand[patch, option, one] / max(stock[one], 1)
    left = np.zeros((patches + 1, stocks), np.int64)
    left[0] = stock
    price = np.zeros((patches + 1, stocks))
    price[0] = first_price
    reached = np.zeros(patches + 1, np.int64)
    branched = np.full(patches + 1, -1, np.int64)
    settled = np.zeros(patches, np.bool_)
    chosen = np.full(patches, -1, np.int64)
    order = np.zeros((patches, options), np.int64)
    promise = np.zeros((patches, options))
    tried = np.zeros(patches, np.int64)
    lowest = np.zeros(patches, np.int64)
    pick = np.zeros(patches, np.int64)
    trial = np.zeros(stocks)
    kept = np.zeros(stocks)
    slack = np.zeros(stocks)
    priced = np.zeros(options)
    best_priced = np.zeros(options)

    best = floor
    nodes = 0
    depth = 0
    entering = True
    while depth >= 0:
        if entering:
            nodes += 1
            if nodes > most_nodes:
                break
            for patch in range(patches):
                lowest[patch] = 0
                if like[patch] >= 0:
                    twin = like[patch]
                    lowest[patch] = chosen[twin] if settled[twin] else lowest[twin]
            # Better the prices until the node is cut off or the steps are used up.
            trial[:] = price[depth]
            kept[:] = trial
            bound = -NEVER
            cut = False
            length = 1.0
            without_gain = 0
            for _ in range(ROOT_STEPS if depth == 0 else NODE_STEPS):
                at_prices = float(reached[depth])
                for one in range(stocks):
                    slack[one] = left[depth, one] / max(stock[one], 1)
                    at_prices += trial[one] * slack[one]
                theirs, sum_of_worth = _each_for_itself(
                    worth, demand, share, left[depth], trial, settled, lowest, pick, slack
                )
                if theirs == NEVER:
                    cut = True
                    break
                at_prices += theirs
                if at_prices < bound - 1e-9:
                    bound = at_prices
                    kept[:] = trial
                else:
                    without_gain += 1
                    if without_gain >= PATIENCE_STEPS:
                        length *= SHORTER
                        without_gain = 0
                total = reached[depth] + sum_of_worth
                if total > best and _may_replace(demand, left[depth], settled, chosen, pick, excluded):
                    best = total
                    for patch in range(patches):
                        plan[patch] = chosen[patch] if settled[patch] else pick[patch]
                if bound < best + 1 - LESS_THAN_ONE:
                    cut = True
                    break
                steepness = 0.0
                for one in range(stocks):
                    if not (trial[one] <= 0.0 and slack[one] > 0.0):
                        steepness += slack[one] * slack[one]
                if steepness < 1e-15:
                    break
                step = length * (at_prices - (best + 1)) / steepness
                for one in range(stocks):
                    trial[one] = max(trial[one] - step * slack[one], 0.0)
            if cut or depth == patches:
                depth -= 1
                if depth >= 0:
                    settled[branched[depth]] = False
                entering = False
                continue
            # Branch where the fewest options are left; among these, where the second best loses most.
            price[depth] = kept
            fewest = options + 1
            largest_loss = -1.0
            for patch in range(patches):
                if settled[patch] or (like[patch] >= 0 and not settled[like[patch]]):
                    continue
                top = NEVER
                for option in range(options):
                    value = float(worth[patch, option])
                    for one in range(stocks):
                        if option < lowest[patch] or demand[patch, option, one] > left[depth, one]:
                            value = NEVER
                            break
                        value -= kept[one] * share[patch, option, one]
                    priced[option] = value
                    top = max(top, value)
                alive = 0
                loss = -NEVER
                for option in range(options):
                    if bound - (top - priced[option]) >= best + 1 - LESS_THAN_ONE:
                        alive += 1
                    if 0.0 < top - priced[option] < loss:
                        loss = top - priced[option]
                if alive < fewest or (alive == fewest and loss > largest_loss):
                    fewest = alive
                    largest_loss = loss
                    branched[depth] = patch
                    best_priced[:] = priced
            ranking = np.argsort(-best_priced)
            for rank in range(options):
                order[depth, rank] = ranking[rank]
                promise[depth, rank] = bound - (best_priced[ranking[0]] - best_priced[ranking[rank]])
            tried[depth] = 0
            entering = False
        if tried[depth] < options and promise[depth, tried[depth]] >= best + 1 - LESS_THAN_ONE:
            patch = branched[depth]
            option = order[depth, tried[depth]]
            tried[depth] += 1
            chosen[patch] = option
            settled[patch] = True
            for one in range(stocks):
                left[depth + 1, one] = left[depth, one] - demand[patch, option, one]
            reached[depth + 1] = reached[depth] + worth[patch, option]
            price[depth + 1] = price[depth]
            depth += 1
            entering = True
        else:
            depth -= 1
            if depth >= 0:
                settled[branched[depth]] = False
    # Cut short: what is still open on the way down is all that could be better.
    open_bound = float(best)
    if depth == 0:  # not even the first node was looked at: each patch its best, as if stocks had no end
        open_bound = max(open_bound, 0.0)
        for patch in range(patches):
            open_bound += worth[patch].max()
    for level in range(depth):
        for rank in (tried[level] - 1, tried[level]):
            if rank < options:
                open_bound = max(open_bound, promise[level, rank])
    return best, int(np.floor(open_bound + LESS_THAN_ONE)), nodes
