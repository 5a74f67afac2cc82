"""Outlooks held against field observations that nothing in the program was fitted to.

    python bench/held_against.py [--write]

Runs the engine on the climate of each place, sees whether what was seen lies within the forecast range, and
scores the members by the continuous ranked probability score against a plain forecast that needs no model.
`--write` puts the table, misses included, into docs/science/held-against.md.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from held_observations import (  # type: ignore[import-not-found]
    Observation,
    Run,
    left_out,
    observations,
)
from held_runs import FEW_MEMBERS, MEMBERS, Floats  # type: ignore[import-not-found]

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "science" / "held-against.md"
COMMAND = "python bench/held_against.py --write"
LEVELS = (0.05, 0.10, 0.50, 0.90, 0.95)
STEPS_OF_A_RANGE = 11

TEMPLATE = """\
# Held against the field

Made by `{command}`; a test compares it with the program.

## Limits first

- These are beds and plots that others laid. Loads, depths, spawn and care are seldom printed in an abstract;
  what is assumed is stated with each. A miss may be the assumption's.
- Weather is drawn from the climate of the place (ERA5 months 2000 to 2025, as shipped), not that of the year.
- Published trials are those that went well. A bed that never crops is in the engine's range and hardly ever
  in print.
- What the observations show was not used to change a figure. Beds were laid down before the first run; after
  it bare soil was given a centimeter of chips far below, since the engine refuses a bed without food, and a
  future without a picking was made to count.

## How it is scored

{members} futures for each, {few} where each needs a run of its own. *Within the range*: the middle of what
was seen lies between the 10 and 90 % points. A future that brings nothing in the run counts as later than all
others, and in the score as the last day of the run; its season has no days. The score is the continuous
ranked probability score, in the unit of the row: the mean distance of the futures from what was seen, less
half their mean distance from each other. Where a range was printed, it is the mean over that range. The plain
forecast is named with each; for crops and days it is what the other trials had, which is hard to beat.

## The table

| | what, where | seen | engine: middle (10 to 90 %) | in 10 to 90 %? | nothing | score | plain | ratio |
|---|---|---|---|---|---|---|---|---|
{rows}

{summary}

## One by one

{notes}
## Looked at and left out

{left_out}
"""


def crps(sample: Floats, seen: float) -> float:
    """Continuous ranked probability score of a sample, in its unit; 0 is perfect, smaller is better.

    Mean |x - y| less half the mean |x - x'| (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102, Eq. 21,
    from memory). Of a single value it is the distance. It is proper: honest chances score best.
    """
    ordered = np.sort(sample)
    n = ordered.size
    half_spread = float((ordered * (2 * np.arange(1, n + 1) - n - 1)).sum()) / n**2
    return float(np.abs(ordered - seen).mean()) - half_spread


def crps_of_range(sample: Floats, seen: tuple[float, float]) -> float:
    """The mean score over a range of which nobody said where in it the truth lies."""
    return float(np.mean([crps(sample, value) for value in np.linspace(*seen, STEPS_OF_A_RANGE)]))


@dataclass(frozen=True, slots=True)
class Held:
    """One observation against the engine.

    quantiles : its 5, 10, 50, 90 and 95 % points, infinite where so many futures bring nothing in the run.
    none : share of the futures that bring nothing. score, plain : in the observation's unit.
    """

    observation: Observation
    quantiles: tuple[float, ...]
    none: float
    score: float
    plain: float

    def within(self, low: int, high: int) -> bool:
        """Whether the middle of what was seen lies between two of the quantiles."""
        middle: float = sum(self.observation.seen) / 2
        return self.quantiles[low] <= middle <= self.quantiles[high]

    @property
    def in_80(self) -> bool:
        return self.within(1, 3)

    @property
    def in_90(self) -> bool:
        return self.within(0, 4)

    @property
    def ratio(self) -> float:
        return self.score / self.plain


def held(observation: Observation, run: Run) -> Held:
    """Run and score one."""
    members = run.members()
    missing = np.isnan(members)
    quantiles = np.quantile(np.where(missing, np.inf, members), LEVELS, method="higher")
    scored = np.where(missing, run.none_counts, members)
    return Held(
        observation, tuple(float(x) for x in quantiles), float(missing.mean()),
        crps_of_range(scored, observation.seen), crps_of_range(run.plain(), observation.seen),
    )  # fmt: skip


def shown(value: float, digits: int) -> str:
    """A figure of the table."""
    return "none" if math.isinf(value) else f"{value:.{digits}f}"


def table_row(number: int, one: Held) -> str:
    """One observation's row."""
    observation = one.observation
    digits = 0 if max(map(abs, observation.seen)) >= 20 else 2
    low, high = (shown(end, digits) for end in observation.seen)
    early, middle, late = (shown(one.quantiles[n], digits) for n in (1, 2, 3))
    cells = (
        str(number),
        f"{observation.what}; {observation.where}",
        (low if low == high else f"{low} to {high}") + f" {observation.unit}",
        f"{middle} ({early} to {late})",
        "yes" if one.in_80 else ("5 to 95 only" if one.in_90 else "**no**"),
        f"{100 * one.none:.0f} %" if one.none else "",
        f"{one.score:.2g}",
        f"{one.plain:.2g}",
        f"{one.ratio:.2f}",
    )
    return "| " + " | ".join(cells) + " |"


def note(number: int, one: Held) -> str:
    """What one observation says, with its source and its bed."""
    observation = one.observation
    verdict = "Held."
    if not one.in_80:
        verdict = f"**{'At the edge' if one.in_90 else 'Missed'}.** {observation.missed}"
    return "\n".join(
        (
            f"### {number}. {observation.what[0].upper()}{observation.what[1:]}: {observation.where}",
            "",
            f"{verdict} {observation.kept}".rstrip(),
            "",
            f"- Source: {observation.source}.",
            f"- Shared with the program's figures: {observation.shared}.",
            f"- Here: {observation.bed}.",
            f"- Plain forecast: {observation.plain}.",
            "",
        )
    )


def summary(results: list[Held]) -> str:
    """Coverage and the ratio of the scores, in words."""
    count = len(results)
    in_80, in_90 = sum(one.in_80 for one in results), sum(one.in_90 for one in results)
    ratio = math.exp(math.fsum(math.log(one.ratio) for one in results) / count)
    better = sum(one.ratio < 1 for one in results)
    return (
        f"**{in_80} of {count}** observations lie within 10 to 90 %, where {0.8 * count:.0f} would if\n"
        f"ranges were honest, and **{in_90}** within 5 to 95 %, where {0.9 * count:.0f} would. The engine\n"
        f"scores better than the plain forecast in **{better} of {count}**; the geometric mean of the\n"
        f"ratios is **{ratio:.2f}**, where less than 1 is better. {count} cases, several from one trial,\n"
        "are too few for more than that."
    )


def page(results: list[Held]) -> str:
    """The page, as Markdown."""
    numbered = list(enumerate(results, start=1))
    return TEMPLATE.format(
        command=COMMAND, members=MEMBERS, few=FEW_MEMBERS,
        rows="\n".join(table_row(number, one) for number, one in numbered),
        summary=summary(results),
        notes="\n".join(note(number, one) for number, one in numbered),
        left_out="\n".join(f"- {line}" for line in left_out()),
    )  # fmt: skip


def made() -> str:
    """The page as the program has it now."""
    return page([held(observation, run) for observation, run in observations()])


def main() -> int:
    """Print the page, or write it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--write", action="store_true", help=f"write {PAGE.relative_to(ROOT)}")
    if parser.parse_args().write:
        PAGE.write_text(made(), encoding="utf-8")
    else:
        print(made())
    return 0


if __name__ == "__main__":
    sys.exit(main())
