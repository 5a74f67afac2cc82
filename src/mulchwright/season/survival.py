"""What lives of a bed's threads and spawn: death by drought and by heat, and regrowth from what is left.

Nothing dies of standing still: growth stops at one water potential, death begins at another and takes its
time. What has died comes back only as threads that live grow over it. One small compiled function each, over
rows (member,), as in `physics`; the plain ones say once per bed where a material's water stands.
docs/science/spawn-run.md has the figures, their sources and what is not known.
"""

from __future__ import annotations

import math

from mulchwright.compiled import part_of_kernels
from mulchwright.season.physics import FloatRow

__all__ = [
    "lose_colonies",
    "lose_living",
    "loss_conditions",
    "moisture_at",
    "potential_of",
    "regrow",
]


def potential_of(kg_kg: float, scale_mpa: float, exponent: float) -> float:
    """Water potential of a material at a moisture per dry mass, MPa, below 0: `-scale · w ** -exponent`.

    The form of measured retention curves of residues (DANN2021); good between about -0.1 and -7 MPa.
    """
    return -scale_mpa * float(kg_kg**-exponent)


def moisture_at(potential_mpa: float, scale_mpa: float, exponent: float) -> float:
    """Moisture per dry mass [kg/kg] at which a material stands at a water potential, the inverse."""
    return float((-potential_mpa / scale_mpa) ** (-1.0 / exponent))


@part_of_kernels
def loss_conditions(
    saturation: FloatRow,
    temperature_c: FloatRow,
    swing_c: FloatRow,
    heat_death_c: FloatRow,
    onset_saturation: float,
    floor_dryness: float,
    swing_share: float,
    loss_q10: float,
    heat_loss_per_day: float,
    heat_span_c: float,
    dry_shield_c: float,
    drying: FloatRow,
    heating: FloatRow,
) -> None:
    """How a cell's day bears on what lives in it: `drying`, by which the losses in drought are multiplied,
    and `heating`, the loss by heat per day.

    `drying = D · (1 + (T - 20) ln(Q) / 80)⁸`, which rises Q-fold for 10 °C at 20 °C (a little less above);
    D is 0 as long as the cell is moister than `onset_saturation` and rises to `floor_dryness` where it is
    air-dry. `heating` is the mean of the day's two halves, `swing_share · swing_c` above and below the day's
    mean, of `k ((T - T_on) / span)⁴` above the onset `T_on = heat_death - span + shield · D`: k a day at
    `heat_death_c` in moist matter, and threads that are dry bear more heat.

    Estimate with the anchors that docs/science/spawn-run.md lists.
    """
    per_degree = math.log(loss_q10) / 80.0
    drier = floor_dryness / onset_saturation
    per_span = 1.0 / heat_span_c
    half = 0.5 * heat_loss_per_day
    for m in range(drying.shape[0]):
        dryness = max(floor_dryness - saturation[m] * drier, 0.0)
        warm = max(1.0 + (temperature_c[m] - 20.0) * per_degree, 0.0)
        warm *= warm
        warm *= warm
        drying[m] = dryness * warm * warm
        above = temperature_c[m] - (heat_death_c[m] - heat_span_c + dry_shield_c * dryness)
        swing = swing_share * swing_c[m]
        day = max(above + swing, 0.0) * per_span
        night = max(above - swing, 0.0) * per_span
        day *= day
        night *= night
        heating[m] = half * (day * day + night * night)


@part_of_kernels
def lose_living(
    living: FloatRow,
    drying: FloatRow,
    heating: FloatRow,
    drought_scale: FloatRow,
    dry_loss_per_day: float,
    weight: float,
    lost: FloatRow,
) -> None:
    """Let a cell's living threads die for a day; `lost` grows by `weight` times what died.

    The loss rate `k = scale · k_20 · drying + heating` acts on what lives by `(1 - k / 8)⁸`, which is exp(-k)
    for the rates of a drought and 0 where a day kills all; it needs no division.
    """
    for m in range(living.shape[0]):
        k = drought_scale[m] * dry_loss_per_day * drying[m] + heating[m]
        left = max(1.0 - 0.125 * k, 0.0)
        left *= left
        left *= left
        left *= left * living[m]
        lost[m] += weight * (living[m] - left)
        living[m] = left


@part_of_kernels
def lose_colonies(
    colonies: FloatRow,
    leap_left: FloatRow,
    drying_above: FloatRow,
    drying_below: FloatRow,
    heating_above: FloatRow,
    heating_below: FloatRow,
    drought_scale: FloatRow,
    spawn_loss_per_day: float,
    established_loss_per_day: float,
    establishing_days: float,
) -> None:
    """Let a plane's crumbs or pegs die for a day: the living share of the points from which fronts grow.

    They lie between two cells and fare as the better one. Until they have leapt off they die as spawn of
    their kind does, and over `establishing_days` at the best from then on they come to die as the threads in
    the wood beside them. `leap_left` is below 0 by the days at the best since they left.
    """
    per_day = 1.0 / establishing_days
    for m in range(colonies.shape[0]):
        established = min(max(-leap_left[m] * per_day, 0.0), 1.0)
        per_dryness = spawn_loss_per_day + (established_loss_per_day - spawn_loss_per_day) * established
        k = drought_scale[m] * per_dryness * min(drying_above[m], drying_below[m])
        k += min(heating_above[m], heating_below[m])
        left = max(1.0 - 0.125 * k, 0.0)
        left *= left
        left *= left
        colonies[m] *= left * left


@part_of_kernels
def regrow(
    covered_before: FloatRow,
    covered: FloatRow,
    pace: FloatRow,
    run_rate_m_per_day: FloatRow,
    per_reach: float,
    living_above: FloatRow,
    living_below: FloatRow,
    least_living: float,
    rivals_per_day: float,
    taken: FloatRow,
    fresh: FloatRow,
    living: FloatRow,
) -> None:
    """What a day's fronts add to the living share of a cell, and who takes what has died.

    What fronts have newly covered lives. Of the dead that no other fungus has yet, living threads of the cell
    and of its neighbors take back `pace · speed · per_reach · share alive`, all of it at most, and other
    fungi and molds take `pace · rivals_per_day` of the rest for good, which is `taken`. Where nothing has
    died this adds nothing to the fronts; from a share below `least_living` nothing comes back. `fresh` is
    the part of it that was added to what was run and has not lived yet; it is taken in the same way.
    """
    for m in range(living.shape[0]):
        alive = living[m] + covered[m] - covered_before[m]
        beside = living[m] + 0.5 * (living_above[m] + living_below[m])
        regrown = min(
            pace[m] * run_rate_m_per_day[m] * per_reach * max(beside - 2.0 * least_living, 0.0), 1.0
        )
        dead = max(covered[m] - taken[m] - alive, 0.0)
        living[m] = alive + regrown * dead
        to_rivals = pace[m] * rivals_per_day * (1.0 - regrown)
        taken[m] += to_rivals * dead
        fresh[m] *= 1.0 - regrown - to_rivals
