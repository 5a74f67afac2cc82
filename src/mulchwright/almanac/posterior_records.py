"""What was learned as plain arrays and back, so that a shell can keep it: no files here, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.learning import POOL, Taught
from mulchwright.almanac.outlook_result import FirstPicking
from mulchwright.season.draws import LATENT_ROWS
from mulchwright.season.learn import ACTIVE_SPECIES_ROWS, Cloud, Factor
from mulchwright.season.observing import Notes

__all__ = ["packed", "unpacked"]

Arrays = dict[str, npt.NDArray[Any]]

_CLOUD, _TAUGHT, _PICKINGS = 1, 2, 3
_NO_DAY = 0
"""Stands for a picking that does not come; ordinals of days begin at 1."""
_NOTES = ("look_day", "seen", "share", "pick_day", "pick_kg_m2")
_MEMBERS = ("log_weight", "log_chance", "pins", "flushes")


def packed(made: object) -> Arrays | None:
    """A cloud, a bed's lesson or a pair of pickings as arrays; None for anything else."""
    if isinstance(made, Cloud):
        return {"kind": np.array(_CLOUD), **_packed_cloud(made)}
    if isinstance(made, Taught):
        return {
            "kind": np.array(_TAUGHT),
            **_packed_cloud(made.cloud),
            "fits": np.array(made.fits),
            "weight": np.array(made.weight, dtype=np.float64),
            "odd": _ordinals(made.odd),
            "precision": made.factor.precision,
            "shift": made.factor.shift,
            "beds": np.array([made.factor.beds, made.factor.members], dtype=np.int64),
        }
    if isinstance(made, tuple) and made and all(isinstance(one, FirstPicking) for one in made):
        out: Arrays = {"kind": np.array(_PICKINGS), "count": np.array(len(made))}
        for n, one in enumerate(made):
            weekly = one.probability_by_date
            out |= {
                f"quantiles{n}": _ordinals((one.p10, one.p50, one.p90)),
                f"weeks{n}": _ordinals([day for day, _ in weekly]),
                f"chances{n}": np.array([chance for _, chance in weekly], dtype=np.float64),
                f"twenty{n}": _ordinals(one.twenty),
            }
        return out
    return None


def unpacked(arrays: Mapping[str, npt.NDArray[Any]]) -> Cloud | Taught | tuple[FirstPicking, ...]:
    """What `packed` made arrays of, the same to the last bit.

    `KeyError` or `ValueError` where an array lacks or is not of its kind and shape.
    """
    kind = int(_array(arrays, "kind", np.int64, ()))
    if kind == _CLOUD:
        return _cloud(arrays)
    if kind == _TAUGHT:
        rows = len(ACTIVE_SPECIES_ROWS)
        beds = _array(arrays, "beds", np.int64, (2,))
        factor = Factor(
            _array(arrays, "precision", np.float64, (rows, rows)),
            _array(arrays, "shift", np.float64, (rows,)),
            int(beds[0]),
            int(beds[1]),
        )
        odd = tuple(day for day in _days(_array(arrays, "odd", np.int64, (None,))) if day is not None)
        fits, weight = _array(arrays, "fits", np.bool_, ()), _array(arrays, "weight", np.float64, ())
        return Taught(_cloud(arrays), bool(fits), odd, factor, float(weight))
    if kind == _PICKINGS:
        return tuple(_picking(arrays, n) for n in range(int(_array(arrays, "count", np.int64, ()))))
    raise ValueError(f"nothing is kept as kind {kind}")


def _array(
    arrays: Mapping[str, npt.NDArray[Any]], name: str, kind: npt.DTypeLike, shape: tuple[int | None, ...]
) -> npt.NDArray[Any]:
    found = arrays[name]
    fits = len(found.shape) == len(shape) and all(
        wanted is None or wanted == size for size, wanted in zip(found.shape, shape, strict=True)
    )
    if not fits or found.dtype != kind or (kind is np.float64 and np.isnan(found).any()):
        raise ValueError(f"{name} is not as it was written")
    return found


def _ordinals(days: Sequence[date | None]) -> npt.NDArray[np.int64]:
    return np.array([_NO_DAY if day is None else day.toordinal() for day in days], dtype=np.int64)


def _days(ordinals: npt.NDArray[Any]) -> tuple[date | None, ...]:
    return tuple(None if day == _NO_DAY else date.fromordinal(int(day)) for day in ordinals)


def _packed_cloud(cloud: Cloud) -> Arrays:
    out: Arrays = {"z": cloud.z, **{name: getattr(cloud, name) for name in _MEMBERS}}
    out["fitting"] = np.array(cloud.fitting, dtype=np.float64)
    out["counts"] = np.array(
        [cloud.refreshed, cloud.runs, -1 if cloud.notes is None else cloud.notes.until], dtype=np.int64
    )
    if cloud.notes is not None:
        out |= {name: getattr(cloud.notes, name) for name in _NOTES}
        none = np.zeros(len(cloud.notes.pick_day), dtype=np.int64)
        out["substantial"] = none if cloud.notes.substantial is None else cloud.notes.substantial
    return out


def _cloud(arrays: Mapping[str, npt.NDArray[Any]]) -> Cloud:
    z = _array(arrays, "z", np.float64, (LATENT_ROWS, POOL))
    kinds: tuple[npt.DTypeLike, ...] = (np.float64, np.float64, np.int64, np.int64)
    rows = [_array(arrays, name, kind, (POOL,)) for name, kind in zip(_MEMBERS, kinds, strict=True)]
    refreshed, runs, until = (int(count) for count in _array(arrays, "counts", np.int64, (3,)))
    notes = None
    if until >= 0:
        of_look, of_pick = arrays["look_day"].shape, arrays["pick_day"].shape
        notes = Notes(
            _array(arrays, "look_day", np.int64, (None,)),
            _array(arrays, "seen", np.int64, of_look),
            _array(arrays, "share", np.float64, of_look),
            _array(arrays, "pick_day", np.int64, (None,)),
            _array(arrays, "pick_kg_m2", np.float64, of_pick),
            until,
            _array(arrays, "substantial", np.int64, of_pick),
        )
    fitting = float(_array(arrays, "fitting", np.float64, ()))
    return Cloud(z, rows[0], rows[1], rows[2], rows[3], notes, fitting, bool(refreshed), runs)


def _picking(arrays: Mapping[str, npt.NDArray[Any]], n: int) -> FirstPicking:
    p10, p50, p90 = _days(_array(arrays, f"quantiles{n}", np.int64, (3,)))
    weeks = _days(_array(arrays, f"weeks{n}", np.int64, (None,)))
    chances = _array(arrays, f"chances{n}", np.float64, (len(weeks),))
    weekly = tuple(
        (day, float(chance)) for day, chance in zip(weeks, chances, strict=True) if day is not None
    )
    return FirstPicking(p10, p50, p90, weekly, _days(_array(arrays, f"twenty{n}", np.int64, (None,))))
