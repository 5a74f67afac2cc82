"""Sun and shade in a real browser: months, reading off, the slider, the keyboard, no scripts."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from mulchwright.book import open_book
from mulchwright.garden import Crown, Wall
from mulchwright.ground import crown_shadow, wall_shadow
from mulchwright.ground.geometry import inside

pytestmark = pytest.mark.browser


def test_another_month_comes_without_loading_and_is_read_off_by_keys(ground_journey: Any) -> None:
    page = ground_journey.open("/ground/sun?month=6")
    answer = page.locator("[data-answer]")
    expect(answer).to_contain_text("In June")
    page.get_by_role("link", name="December").click()
    expect(answer).to_contain_text("In December")
    assert "month=12" in page.url
    shown = page.locator("svg.light-map:visible")
    assert "month=12" in shown.locator("image").get_attribute("href")
    shown.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-read-out]")).to_contain_text("in December")
    name = shown.locator("text.name", has_text="House")
    name.scroll_into_view_if_needed()
    house = name.bounding_box()
    assert house
    page.mouse.click(house["x"] + house["width"] / 2, house["y"] + house["height"] / 2)
    expect(page.locator("[data-read-out]")).to_have_text("Under a building.")


def test_the_slider_moves_the_shadows_by_keyboard(ground_journey: Any) -> None:
    page = ground_journey.open("/ground/sun?day=2031-06-10&hour=09:00#day")
    slider = page.get_by_role("slider", name="Hour of the day")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("high in the east"))
    shade = page.locator("svg.shadow-map:visible [data-shade=walls]")
    before = shade.get_attribute("d")
    slider.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-shadow-words]")).to_contain_text("9:05")
    expect(shade).not_to_have_attribute("d", before)
    page.get_by_label("Day", exact=True).fill("2031-12-21")
    expect(page.locator("[data-day-words]")).to_contain_text("21 December")


def covered(outlines: Any) -> Any:
    """Points of a lattice that lie in one of the outlines."""
    x, y = np.meshgrid(np.arange(-40, 60, 0.2) + 0.0131, np.arange(-60, 60, 0.2) + 0.0077)
    within = np.zeros(x.shape, dtype=bool)
    for outline in outlines:
        within |= inside(tuple(tuple(point) for point in outline), x, y)
    return within


def test_browser_and_program_throw_the_same_shadows(ground_journey: Any) -> None:
    """Two writings of one formula: every 20 cm of the ground lies in both shadows or in neither."""
    ell = Wall("l", "L", ((0, 0), (4, 0), (4, 1), (1, 1), (1, 3), (0, 3)), 2.5)
    with open_book(ground_journey.book) as book:
        garden = book.garden()
    page = ground_journey.open("/ground/sun")
    for altitude, bearing in ((0.2, 1.0), (0.7, 3.3), (1.1, 5.9)):
        flat = math.cos(altitude)
        sun = [flat * math.sin(bearing), flat * math.cos(bearing), math.sin(altitude)]
        for wall in (*garden.walls, ell):
            drawn = page.evaluate(
                """async ([wall, sun]) => {
                    const m = await import('/static/ground/shadows.mjs');
                    return m.wallShadow(m.readyWall(wall), sun);
                }""",
                [{"outline": wall.outline, "height": wall.height_m}, sun],
            )
            ours = covered(wall_shadow(wall, altitude, bearing))
            assert ours.sum() > 100
            assert (covered(drawn) != ours).sum() <= 2
        crown: Crown = garden.crowns[0]
        drawn = page.evaluate(
            """async ([crown, sun]) =>
                (await import('/static/ground/shadows.mjs')).crownShadow(crown, sun)""",
            [
                {"center": crown.center, "radius": crown.radius_m, "base": crown.base_m,
                 "height": crown.height_m},
                sun,
            ],
        )  # fmt: skip
        assert np.array(drawn) == pytest.approx(
            np.array(crown_shadow(crown, altitude, bearing, corners=48)), abs=1e-6
        )


def test_without_scripts_the_shadows_of_a_typed_hour_are_drawn(ground_journey: Any) -> None:
    ground_journey.open("/ground/sun")  # the map is made
    page = ground_journey.open("/ground/sun?month=6", java_script_enabled=False)
    expect(page.locator("[data-awake]")).to_be_hidden()
    page.get_by_label("Day", exact=True).fill("2031-06-10")
    page.get_by_label("Hour", exact=True).fill("18:30")
    page.get_by_role("button", name="Draw the shadows").click()
    expect(page.locator("[data-shadow-words]")).to_contain_text("18:30: the sun is")
    page.get_by_role("link", name="January").click()
    expect(page.locator("[data-answer]")).to_contain_text("In January")
    page.locator("summary", has_text="The figures as a table").click()
    expect(page.get_by_role("rowheader", name="Open ground")).to_be_visible()
