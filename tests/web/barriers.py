"""What keeps a page from being read and used: axe-core's rules, small letters, low targets, a page too wide.

A page is loaded once and looked at in both sizes and both color schemes. What depends on neither is
tried once, wide and in light; a size may change what is shown, how large a target is and what
scrolls; a scheme changes colors alone. axe-core's time grows with the square of what is shown, so that of
neighbors built alike, such as the rows of a table, it gets the first three.
"""

from __future__ import annotations

from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import expect

PHONE, WIDE_SCREEN = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
LETTER_PX, TARGET_PX = 17, 46
OF_THE_SCHEME = ["color-contrast", "link-in-text-block"]
OF_THE_SIZE = ["target-size", "scrollable-region-focusable"]

ALIKE = 3
"""Of neighbors that differ in their words alone, how many axe-core gets to see."""

_RUN = """async ([rules, new_alone]) => {
    const all = [...document.querySelectorAll("body *")].filter((e) => e.checkVisibility());
    window.lookedAt ??= new Set(all);
    const fresh = all.filter((e) => !window.lookedAt.has(e));
    if (new_alone && !fresh.length) return [];
    const { violations } = await axe.run(new_alone ? { include: fresh } : document, {
        resultTypes: ["violations"], ...(rules ? { runOnly: { type: "rule", values: rules } } : {}),
    });
    return violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.target} ${n.failureSummary}`)}`);
}"""

_HIDE_ALIKE = """(most) => {
    const ways = ["class", "role", "type", "hidden", "scope", "fill", "stroke", "aria-hidden"];
    const shapes = new Map();
    const shape = (e) => {
        if (!shapes.has(e)) {
            const says = [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
            const own = `${e.tagName} ${ways.map((n) => e.getAttribute(n))} ${says}`;
            shapes.set(e, `${own} (${[...e.children].map(shape)})`);
        }
        return shapes.get(e);
    };
    for (const parent of document.querySelectorAll("main *")) {
        const counts = new Map();
        for (const child of parent.children) {
            const count = (counts.get(shape(child)) ?? 0) + 1;
            counts.set(shape(child), count);
            if (count > most) child.style.setProperty("display", "none", "important");
            if (count > most) child.dataset.alike = "";
        }
    }
}"""

_SHOW_ALIKE = """() => {
    for (const e of document.querySelectorAll("[data-alike]")) {
        e.style.removeProperty("display");
        delete e.dataset.alike;
    }
}"""

_MEASURES = """([letter, target]) => {
    const seen = (e) => e.getClientRects().length > 0;
    const say = (e) => e.outerHTML.slice(0, 90);
    const words = [...document.querySelectorAll("main *, header *, footer *")]
        .filter((e) => seen(e) && !e.closest("svg"))
        .filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
        .filter((e) => parseFloat(getComputedStyle(e).fontSize) < letter).map(say);
    const targets = [...document.querySelectorAll(
        "button, input, select, textarea, summary, nav a, .button, .tick, .choice")]
        .filter((e) => !["hidden", "checkbox", "radio", "range"].includes(e.type))
        .filter((e) => e.offsetParent && e.getBoundingClientRect().height < target)
        .map((e) => `${say(e)} ${e.getBoundingClientRect().height}`);
    // Drawings may be scaled: what counts is the size on the screen.
    const drawn = [...document.querySelectorAll("svg.dots, svg.cross-section, svg.ground-map, svg.ramp")]
        .filter((s) => s.getBoundingClientRect().width)
        .map((s) => [s, letter * s.getBoundingClientRect().width / s.viewBox.baseVal.width])
        .filter(([, size]) => size < letter - 1).map(([s, size]) => `${say(s)} ${size}`);
    const charted = [...document.querySelectorAll(".plot text")]
        .filter((t) => parseFloat(getComputedStyle(t).fontSize) < letter).map(say);
    return { words, targets, drawn, charted, width: document.documentElement.scrollWidth };
}"""


def settled(page: Any) -> None:
    """Waits until nothing of a page is still being worked out or drawn."""
    page.wait_for_load_state()  # a click may just have led to a page whose style sheet is still on its way
    expect(page.locator("main[data-waiting]")).to_have_count(0)
    charts = page.locator("figure[data-chart]").count()
    expect(page.locator("figure[data-ready], figure:has(.plot.no-chart)")).to_have_count(charts)


def barriers(page: Any, rules: list[str] | None = None, *, new_alone: bool = False) -> list[str]:
    """What axe-core finds on a page as it stands, by these rules or by all, one line for each rule.

    new_alone : look only at what was not shown when this page was first looked at.
    """
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found: list[str] = page.evaluate(_RUN, [rules, new_alone])
    return found


def _measured(page: Any, width: int) -> None:
    measures = page.evaluate(_MEASURES, [LETTER_PX, TARGET_PX])
    assert measures["width"] <= width, f"{page.url} is {measures['width']} px wide, the window {width} px"
    for what, faults in (
        ("letters too small", measures["words"] + measures["drawn"] + measures["charted"]),
        ("targets too low", measures["targets"]),
    ):
        assert not faults, f"{what} on {page.url} at {width} px: {faults}"


def assert_none_found(page: Any, rules: list[str] | None = None, *, new_alone: bool = False) -> None:
    """axe-core finds nothing on the page as it stands."""
    found = barriers(page, rules, new_alone=new_alone)
    assert not found, f"barriers on {page.url}: {found}"


def assert_open_to_all(page: Any, *, opened: bool = True) -> None:
    """Nothing on this page keeps anybody out, small or wide, light or dark; it is left small and light.

    opened : unfold all that is folded first.
    """
    page.set_viewport_size(PHONE)
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    if opened:
        page.evaluate("for (const d of document.querySelectorAll('main details')) d.open = true")
    settled(page)
    _measured(page, PHONE["width"])
    page.set_viewport_size(WIDE_SCREEN)
    settled(page)
    _measured(page, WIDE_SCREEN["width"])
    page.evaluate(_HIDE_ALIKE, ALIKE)
    assert_none_found(page)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    settled(page)
    assert_none_found(page, OF_THE_SCHEME)
    page.set_viewport_size(PHONE)
    settled(page)
    assert_none_found(page, OF_THE_SIZE)
    assert_none_found(page, OF_THE_SCHEME, new_alone=True)
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    settled(page)
    assert_none_found(page, OF_THE_SCHEME, new_alone=True)
    page.evaluate(_SHOW_ALIKE)
