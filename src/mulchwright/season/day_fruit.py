"""The crop of one day in a compiled season: the bed ripens, pins form, mushrooms are picked."""

from __future__ import annotations

from mulchwright.compiled import part_of_kernels
from mulchwright.season import physics as ph
from mulchwright.season.layout import (
    BED_C,
    BED_PACE,
    BED_SATURATION,
    BED_SHARE,
    CROPS,
    DIGESTION,
    FLUSH,
    FLUSH_SHARE,
    FLUSHES,
    FOOD_LEFT,
    FOOD_MASS,
    FOOD_TO_OTHERS,
    FRUIT_FROST,
    FRUIT_MAX,
    GROWTH_MAX,
    GROWTH_MIN,
    GROWTH_OPT,
    HAZARD,
    PICK_BASE,
    PIN_AGE,
    PIN_DEGREES,
    PIN_MAX,
    PIN_MIN,
    PIN_OPT,
    PIN_TO_PICK,
    RECENT_C,
    REFRACTORY,
    RESERVE,
    RESPONSE,
    REST_LEFT,
    RIPE_DAYS,
    RIPENING,
    RISING_HAZARD,
    SEASON_C,
    SHARE_TO_FRUIT,
    SMALLEST_FLUSH_KG_M2,
    SUMMED_HAZARD,
    SURFACE_C,
    UNDIGESTED,
    WET_INDEX,
    BedArrays,
    Floats,
    ModelConstants,
    Records,
    State,
)

__all__ = ["fruit", "ripen"]


@part_of_kernels
def ripen(model_constants: ModelConstants, par: Floats, state: State) -> None:
    """Temperature memory of the pins, ripening, and the reserve that threads build from what they digest."""
    surface_c = state.row[SURFACE_C]
    recent_c = state.row[RECENT_C]
    season_c = state.row[SEASON_C]
    response = state.row[RESPONSE]
    ripe_days = state.row[RIPE_DAYS]
    bed_c = state.row[BED_C]
    bed_pace = state.row[BED_PACE]
    undigested = state.row[UNDIGESTED]
    food_left = state.row[FOOD_LEFT]
    food_mass = state.row[FOOD_MASS]
    food_to_others = state.row[FOOD_TO_OTHERS]
    bed_share = state.row[BED_SHARE]
    reserve = state.row[RESERVE]
    for m in range(surface_c.shape[0]):
        recent_c[m] += (surface_c[m] - recent_c[m]) / model_constants.pin_temperature_memory_days
        season_c[m] += (surface_c[m] - season_c[m]) / model_constants.season_memory_days
    # Ripening is told in days at the optimum temperature, whatever the moisture.
    ph.cardinal_temperature_response(bed_c, par[GROWTH_MIN], par[GROWTH_OPT], par[GROWTH_MAX], response)
    ph.add_scaled(response, 1.0, ripe_days)
    ph.window_response(recent_c, par[PIN_MIN], par[PIN_OPT], par[PIN_MAX], response)
    digestion = par[DIGESTION]
    for m in range(surface_c.shape[0]):
        # Tables count a crop for each kilogram laid, in beds that rotted under it: what the sown threads rot
        # is how they feed, and only what others took is lost to the crop.
        kept = undigested[m] * (1.0 - food_to_others[m] / food_mass[m])
        taken_up = kept * min(digestion[m] * bed_pace[m] * bed_share[m], 1.0)
        undigested[m] = kept - taken_up
        reserve[m] += taken_up
    ph.copy(food_left, food_mass)


@part_of_kernels
def fruit(
    patch: int,
    day: int,
    first: int,
    hazard_draws: Floats,
    flush_noise: Floats,
    bed: BedArrays,
    model_constants: ModelConstants,
    par: Floats,
    state: State,
    records: Records,
) -> None:
    """Pins when the summed hazard passes its draw, a pick when their thermal time is full."""
    smallest = bed.site[patch, SMALLEST_FLUSH_KG_M2]
    surface_c = state.row[SURFACE_C]
    bed_saturation = state.row[BED_SATURATION]
    flush = state.row[FLUSH]
    pin_age = state.row[PIN_AGE]
    pin_degrees = state.row[PIN_DEGREES]
    reserve = state.row[RESERVE]
    recent_c = state.row[RECENT_C]
    season_c = state.row[SEASON_C]
    summed_hazard = state.row[SUMMED_HAZARD]
    rest_left = state.row[REST_LEFT]
    bed_share = state.row[BED_SHARE]
    ripe_days = state.row[RIPE_DAYS]
    wet_index = state.row[WET_INDEX]
    response = state.row[RESPONSE]
    span = model_constants.pin_saturation_full - model_constants.pin_saturation_low
    for m in range(surface_c.shape[0]):
        k = int(flush[m])
        if pin_age[m] >= 0:
            pin_age[m] += 1
            if surface_c[m] <= par[FRUIT_MAX, m]:
                pin_degrees[m] += max(surface_c[m] - par[PICK_BASE, m], 0.0)
            ended = False
            if surface_c[m] - model_constants.night_below_mean_c < par[FRUIT_FROST, m]:
                ended = True  # spoiled by frost; their food is not
            elif pin_degrees[m] >= par[PIN_TO_PICK, m]:
                # A dry bed lets fewer of the pins swell.
                wetness = min(max(bed_saturation[m] / model_constants.pin_saturation_full, 0.1), 1.0)
                # Warm flushes are small and scattered, cool ones large.
                warm = 2.0 * (par[PIN_MAX, m] - recent_c[m]) / (par[PIN_MAX, m] - par[PIN_OPT, m])
                coolness = min(max(warm, 0.1), 1.0)
                factor = min(flush_noise[patch, k, first + m], model_constants.largest_flush_factor)
                pick = min(par[FLUSH_SHARE, m] * wetness * coolness * factor, 0.95) * reserve[m]
                if pick >= smallest:
                    reserve[m] -= pick
                    records.flush_day[patch, k, first + m] = day
                    records.flush_kg_m2[patch, k, first + m] = pick
                    flush[m] = k + 1
                ended = True  # of too little to make a mushroom nothing comes; the food is not spent
            elif pin_age[m] > model_constants.pins_lost_after_days:
                ended = True  # held back by cold for so long, the pins are gone; their food is not
            if ended:
                pin_age[m] = -1
                summed_hazard[m] = 0.0
                rest_left[m] = par[REFRACTORY, m]
        elif k < FLUSHES and bed_share[m] >= par[SHARE_TO_FRUIT, m] and ripe_days[m] >= par[RIPENING, m]:
            if rest_left[m] > 0.0:
                rest_left[m] -= 1.0
            else:
                recent_wet = wet_index[m] / (wet_index[m] + model_constants.wet_index_half_mm)
                bed_wet = min(max((bed_saturation[m] - model_constants.pin_saturation_low) / span, 0.0), 1.0)
                wetness = (
                    model_constants.dry_hazard_share + (1.0 - model_constants.dry_hazard_share) * recent_wet
                ) * bed_wet
                # Autumn's kinds wait for weather that cools down.
                cooling = 1.0 if recent_c[m] < season_c[m] else par[RISING_HAZARD, m]
                summed_hazard[m] += par[HAZARD, m] * par[CROPS, m] * response[m] * wetness * cooling
                if summed_hazard[m] >= hazard_draws[patch, k, first + m]:
                    pin_age[m] = 0
                    pin_degrees[m] = 0.0
                    records.pin_day[patch, k, first + m] = day
