"""The sun's place and the length of the day against published and independently computed figures.

REDA2004: Reda and Andreas, Solar Position Algorithm, NREL/TP-560-34302, Table A5.1 (the worked example) and
A2.1. Figures marked SPA were computed with the pvlib library's implementation of it (version 0.16.1), which
agrees with the printed example in all its digits.
"""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest

from mulchwright.ground.sun import (
    air_refraction_rad,
    daylight,
    julian_day,
    shadow_tip_m,
    sun_days,
    sun_position,
)
from mulchwright.weather import extraterrestrial_radiation
from mulchwright.weather.evapotranspiration import daylight_hours

pytestmark = pytest.mark.outside_check(
    source="NREL's solar position algorithm (pvlib)", tolerance="0.02°; 5 s", shared="no parameter"
)

WITHIN_DEG = 0.02
"""What the short series promises against the full algorithm."""
WAGENINGEN = (51.97, 5.67)


def hours(clock: str) -> float:
    h, m, s = clock.split(":")
    return int(h) + int(m) / 60 + float(s) / 3600


@pytest.mark.outside_check(source="REDA2004, Table A5.1", tolerance="0.02°", shared="no parameter")
def test_worked_example_of_the_full_algorithm() -> None:
    """REDA2004 Table A5.1: 17 October 2003, 12:30:30 at UTC-7, 39.742476 N, 105.1786 W."""
    moment = julian_day(date(2003, 10, 17), hours("19:30:30"))
    assert float(moment) == pytest.approx(2452930.312847, abs=1e-6)
    sun = sun_position(moment, 39.742476, -105.1786)
    assert 90 - math.degrees(sun.altitude_rad) == pytest.approx(50.127954, abs=WITHIN_DEG)
    assert math.degrees(sun.bearing_rad) == pytest.approx(194.340241, abs=WITHIN_DEG)
    assert float(sun.distance_au) == pytest.approx(0.996542, abs=5e-5)
    lifted = air_refraction_rad(sun.altitude_rad, pressure_pa=82_000, temperature_c=11)
    assert math.degrees(lifted) == pytest.approx(50.127954 - 50.111622, abs=2e-4)


@pytest.mark.outside_check(source="REDA2004, Eq. 42", tolerance="0.1°", shared="no parameter")
def test_refraction_at_the_horizon() -> None:
    """REDA2004 takes 0.5667° for the horizon's refraction; its own Eq. 42 gives that within 0.1° there."""
    assert math.degrees(air_refraction_rad(np.array(0.0))) == pytest.approx(0.5667, abs=0.1)
    assert float(air_refraction_rad(np.array(math.radians(-2.0)))) == 0.0


@pytest.mark.outside_check(source="REDA2004, Table A5.1", tolerance="5 s", shared="no parameter")
def test_sunrise_and_sunset_of_the_worked_example() -> None:
    """REDA2004 Table A5.1: sunrise 06:12:43, transit 11:46:04.96 (SPA), sunset 17:20:19, local time.

    The algorithm reports the events of a day in universal time. The sunset that falls on 17 October there, at
    00:20 UT, is that of 16 October in Colorado.
    """
    day = daylight(date(2003, 10, 17), 39.742476, -105.1786)
    assert day.rise_h is not None
    assert day.rise_h - 7 == pytest.approx(hours("06:12:43"), abs=5 / 3600)
    assert day.noon_h - 7 == pytest.approx(hours("11:46:04.96"), abs=5 / 3600)
    evening = daylight(date(2003, 10, 16), 39.742476, -105.1786)
    assert evening.set_h is not None
    assert evening.set_h - 7 == pytest.approx(hours("17:20:19"), abs=5 / 3600)


@pytest.mark.parametrize(
    "day, latitude, rise, noon, fall",
    [
        (date(1994, 1, 2), 35, "07:08:12.7", "12:04:00.4", "16:59:55.7"),
        (date(1996, 7, 5), -35, "07:08:15.3", "12:04:35.7", "17:01:04.3"),
        (date(2004, 12, 4), -35, "04:38:56.9", "11:50:21.4", "19:02:02.3"),
    ],
)
def test_table_of_sunrises(day: date, latitude: float, rise: str, noon: str, fall: str) -> None:
    """SPA at 0° longitude; REDA2004 Table A2.1 has the same within 0.3 s. 0.02° is 5 s of the sun's way."""
    found = daylight(day, latitude, 0.0)
    assert found.rise_h == pytest.approx(hours(rise), abs=5 / 3600)
    assert found.noon_h == pytest.approx(hours(noon), abs=5 / 3600)
    assert found.set_h == pytest.approx(hours(fall), abs=5 / 3600)


@pytest.mark.parametrize(
    "day, hour, altitude, bearing, length, tip_east, tip_north",
    [
        (date(2025, 3, 20), 12.0, 37.977, 184.861, 2.306, 0.195, 2.298),
        (date(2025, 6, 21), 9.0, 48.386, 117.855, 1.599, -1.414, 0.747),
        (date(2025, 9, 22), 15.0, 22.059, 238.901, 4.442, 3.804, 2.294),
        (date(2025, 10, 15), 12.0, 28.796, 190.435, 3.275, 0.593, 3.221),
        (date(2025, 12, 21), 11.5, 14.580, 178.698, 6.920, -0.157, 6.919),
    ],
)
def test_position_and_shadow_through_the_year(
    day: date, hour: float, altitude: float, bearing: float, length: float, tip_east: float, tip_north: float
) -> None:
    """SPA at Wageningen; the shadow of 1.8 m is 1.8 / tan(altitude) long and points away from the sun."""
    sun = sun_position(julian_day(day, hour), *WAGENINGEN)
    assert math.degrees(sun.altitude_rad) == pytest.approx(altitude, abs=WITHIN_DEG)
    assert math.degrees(sun.bearing_rad) == pytest.approx(bearing, abs=WITHIN_DEG)
    # 0.02° at an altitude of 14.58° is 10 mm of shadow: d(cot h) = dh / sin² h, times 1.8 m
    loose = 1.8 * math.radians(WITHIN_DEG) / math.sin(math.radians(altitude)) ** 2 + 0.0005
    east, north = shadow_tip_m(1.8, sun.altitude_rad, sun.bearing_rad)
    assert math.hypot(east, north) == pytest.approx(length, abs=loose)
    assert float(east) == pytest.approx(tip_east, abs=loose + 0.002)
    assert float(north) == pytest.approx(tip_north, abs=loose)


@pytest.mark.parametrize(
    "day, noon_altitude",
    [
        (date(2025, 3, 20), 38.079),
        (date(2025, 9, 22), 38.133),
        (date(2025, 6, 21), 61.467),
        (date(2025, 12, 21), 14.589),
    ],
)
def test_noon_altitude(day: date, noon_altitude: float) -> None:
    """SPA at 51.97 N, 0 E. In words: 90° - latitude at the equinox (38.03°), ± 23.44° at the solstices."""
    noon = daylight(day, 51.97, 0.0).noon_h
    sun = sun_position(julian_day(day, noon), 51.97, 0.0)
    assert math.degrees(sun.altitude_rad) == pytest.approx(noon_altitude, abs=WITHIN_DEG)
    equinox = 90 - 51.97
    assert min(abs(noon_altitude - equinox - tilt) for tilt in (0, 23.44, -23.44)) < 0.11


DAYS_15TH = (
    # latitude, month, N by FAO-56 Eq. 34, sunrise to sunset by SPA (-0.833°), 2025, hours
    (0, 1, 12.00, 12.12), (0, 6, 12.00, 12.12), (0, 12, 12.00, 12.13),
    (30, 1, 10.27, 10.43), (30, 3, 11.79, 11.98), (30, 7, 13.75, 13.89), (30, 9, 12.16, 12.34),
    (40, 1, 9.47, 9.66), (40, 6, 14.83, 15.00), (40, 9, 12.24, 12.46), (40, 12, 9.17, 9.35),
    (50, 1, 8.33, 8.57), (50, 3, 11.57, 11.86), (50, 6, 16.12, 16.35), (50, 12, 7.88, 8.10),
    (60, 1, 6.37, 6.75), (60, 3, 11.37, 11.78), (60, 6, 18.44, 18.82), (60, 9, 12.49, 12.87),
    (60, 12, 5.56, 5.93),
)  # fmt: skip


@pytest.mark.outside_check(
    source="FAO56 Eq. 34; NREL's algorithm", tolerance="0.0051 h", shared="no parameter"
)
@pytest.mark.parametrize("latitude, month, fao, spa", DAYS_15TH)
def test_day_length(latitude: float, month: int, fao: float, spa: float) -> None:
    """FAO-56 Eq. 34 and SPA on the 15th; printed to 0.01 h."""
    day = date(2025, month, 15)
    assert daylight(day, latitude, 0.0).length_h == pytest.approx(spa, abs=0.0051)
    number = np.array([day.timetuple().tm_yday])
    assert float(daylight_hours(latitude, number)[0]) == pytest.approx(fao, abs=0.0051)
    # The sun's middle over a level horizon, as FAO means it. FAO's declination is up to 0.97° off, and
    # dN/d(dec) = 2 tan(lat) / 15 / sqrt(1 - (tan lat tan dec)²) hours per degree: 0.23 at 60° in September.
    assert daylight(day, latitude, 0.0, altitude_rad=0.0).length_h == pytest.approx(fao, abs=0.24)


@pytest.mark.outside_check(source="FAO56, Examples 8, 15, 17, 18", tolerance="0.05 MJ/m²", shared="no")
@pytest.mark.parametrize(
    "latitude, day, fao, from_position",
    [
        (-20.0, date(2025, 9, 3), 32.2, 31.906),
        (50.80, date(2025, 7, 6), 41.09, 41.047),
        (45.72, date(2025, 7, 15), 40.6, 40.503),
        (13.73, date(2025, 4, 15), 38.06, 38.150),
    ],
)
def test_sun_above_the_air(latitude: float, day: date, fao: float, from_position: float) -> None:
    """FAO-56 Examples 8, 18, 15, 17, MJ/m² a day; beside them the sum over SPA altitudes at 1366.67 W/m²."""
    number = np.array([day.timetuple().tm_yday])
    radiation = float(extraterrestrial_radiation(latitude, number)[0]) / 1e6
    assert radiation == pytest.approx(fao, abs=0.05)
    minutes = julian_day(day, (np.arange(1440) + 0.5) / 60)
    sun = sun_position(minutes, latitude, 0.0)
    strength = 1366.67 / sun.distance_au**2
    total = float((strength * np.maximum(np.sin(sun.altitude_rad), 0.0)).sum()) * 60 / 1e6
    # The year of the sum is not on record; a quarter day's way of the sun moves it by up to 0.1 %.
    assert total == pytest.approx(from_position, rel=1.2e-3)


@pytest.mark.outside_check(source="spherical geometry", tolerance="0.2°", shared="no parameter")
def test_the_sun_passes_east_and_west_at_the_known_altitude() -> None:
    """sin(altitude) = sin(declination) / sin(latitude) when the sun stands due east or west (geometry)."""
    minutes = julian_day(date(2025, 6, 21), np.arange(0, 1440) / 60)
    sun = sun_position(minutes, *WAGENINGEN)
    for quarter in (math.pi / 2, 3 * math.pi / 2):
        k = int(np.argmin(np.abs(sun.bearing_rad - quarter)))
        wanted = math.asin(math.sin(sun.declination_rad[k]) / math.sin(math.radians(51.97)))
        assert float(sun.altitude_rad[k]) == pytest.approx(wanted, abs=math.radians(0.2))


@pytest.mark.outside_check(source="almanacs, from memory", tolerance="2 days", shared="no parameter")
def test_beyond_the_polar_circles() -> None:
    """Tromsø, 69.65 N, 18.96 E: midnight sun from about 20 May to 22 July, no sun from about 27 November to
    15 January (almanacs, from memory; ± 2 days). The other hemisphere has it half a year later.
    """
    kinds = {
        day: daylight(date(2025, *day), 69.65, 18.96).kind
        for day in ((5, 16), (5, 24), (7, 18), (7, 26), (11, 23), (12, 1), (1, 11), (1, 19))
    }
    assert kinds == {
        (5, 16): "day and night", (5, 24): "polar day", (7, 18): "polar day", (7, 26): "day and night",
        (11, 23): "day and night", (12, 1): "polar night", (1, 11): "polar night", (1, 19): "day and night",
    }  # fmt: skip
    summer, winter = daylight(date(2025, 6, 21), -69.65, 0.0), daylight(date(2025, 12, 21), -69.65, 0.0)
    assert (summer.kind, summer.length_h, summer.rise_h) == ("polar night", 0.0, None)
    assert (winter.kind, winter.length_h, winter.set_h) == ("polar day", 24.0, None)


@pytest.mark.outside_check(source="geometry", tolerance="1.5 days", shared="no parameter")
@pytest.mark.parametrize("latitude", [90.0, -90.0])
def test_at_the_poles_the_sun_is_as_high_as_its_declination(latitude: float) -> None:
    """Geometry; and half of the year is day, a week more for refraction and the sun's breadth."""
    minutes = julian_day(date(2025, 6, 21), np.arange(0, 24.0))
    sun = sun_position(minutes, latitude, 0.0)
    parallax = math.radians(0.0025)
    assert sun.altitude_rad == pytest.approx(math.copysign(1, latitude) * sun.declination_rad, abs=parallax)
    days = sun_days(date(2025, 1, 1), 365, latitude, 0.0)
    assert set(days.length_h) == {0.0, 24.0}
    # From equinox to equinox the north has 186.4 days and the south 178.8 (seasons, from memory); 0.833° of
    # declination is 2.1 days at either end.
    wanted = (186.4 if latitude > 0 else 178.8) + 4.2
    assert (days.length_h == 24.0).sum() == pytest.approx(wanted, abs=1.5)
