"""Water in a drying layer against FAO-56.

Source: FAO56 (Allen, Pereira, Raes, Smith 1998), Example 31, p. 146: ten days of a drying bare loam.
"""

from __future__ import annotations

import numpy as np
import pytest

from mulchwright.season import physics

# day, De at the start, Kr, E in mm: as printed
EXAMPLE_31 = [
    (1, 0.00, 1.00, 4.73),
    (2, 4.73, 1.00, 4.73),
    (3, 9.45, 0.96, 4.53),
    (4, 13.98, 0.55, 2.59),
    (5, 16.57, 0.31, 1.47),
    (6, 18.04, 0.18, 0.84),
    (7, 18.88, 0.10, 0.48),
    (8, 19.36, 0.06, 0.27),
    (9, 19.64, 0.03, 0.16),
    (10, 19.79, 0.02, 0.09),
]


def test_one_cell_of_bare_loam_dries_as_fao56_example_31() -> None:
    """TEW 20 mm, REW 9 mm, Kc max 1.20 less Kcb 0.15, few 1, ETo 4.5 mm a day; printed to two digits.

    Half a unit of the last printed digit, and on De the printed sums of rounded figures: 0.01.
    """
    mass, capacity, floor = np.array([10.0]), 2.0, 0.0
    scale = np.array([1.0])
    water, saturation = np.array([20.0]), np.array([0.0])
    demand = np.array([(1.20 - 0.15) * 4.5])
    for day, depletion, reduction, evaporation in EXAMPLE_31:
        assert 20.0 - water[0] == pytest.approx(depletion, abs=0.011), day
        physics.relative_saturation(water, mass, scale, capacity, floor, saturation)
        assert min(1.0, saturation[0] / (1 - 9 / 20)) == pytest.approx(reduction, abs=0.0051), day
        lost = np.zeros(1)
        physics.evaporate_cell(water, saturation, mass, demand, floor, 1.0, 9 / 20, lost)
        assert lost[0] == pytest.approx(evaporation, abs=0.0051), day
