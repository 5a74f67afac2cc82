"""How fast Mulchwright is on this machine: `./dev bench`, or `./dev bench --json` for one flat object.

Medians of several runs; beside each figure stand the fastest and the slowest run (`_min`, `_max`). A
patch-day is one day of one patch in one member. The engine is compiled before anything is timed,
except where the start itself is the figure.
"""

from __future__ import annotations

import json
import os
import random
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plan_frames import WAYS, crowded, frame_gaps_ms  # type: ignore[import-not-found]
from sample_bed import DEMO_DAY, bench_patch  # type: ignore[import-not-found]

if TYPE_CHECKING:
    from collections.abc import Iterator

    from mulchwright.garden import Garden

COMMAND = (sys.executable, "-m", "mulchwright")
PATIENCE_S = 120.0

Figures = dict[str, float]


NO_KITCHEN: dict[str, Any] = {"checks": (), "uses": (), "jars": (), "dryers": (), "dryings": ()}
"""What became of picks goes with the beds they came from."""


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def timed(act: Callable[..., object], *arguments: object) -> float:
    """Seconds that one call takes."""
    began = time.perf_counter()
    act(*arguments)
    return time.perf_counter() - began


def put(figures: Figures, name: str, runs: list[float], scale: float = 1.0) -> None:
    """The median under `name`, with the extremes beside it."""
    figures[name] = statistics.median(runs) * scale
    figures[f"{name}_min"] = min(runs) * scale
    figures[f"{name}_max"] = max(runs) * scale


# ---- the engine ---------------------------------------------------------------------------------


def bench_garden(patches: int) -> Garden:
    from mulchwright.book.demo import demo_garden

    garden, _ = demo_garden()
    return replace(
        garden, beds=(), log=(), patches=tuple(bench_patch(number) for number in range(patches)), **NO_KITCHEN
    )


def engine_run(patches: int, members: int, days: int) -> Callable[[int], object]:
    """The engine alone on prepared weather and draws; call it with the number of threads."""
    import numpy as np

    from mulchwright.book.demo import demo_garden
    from mulchwright.season import bed_arrays, draw_parameters, forcing_of, model_constants_of, simulate
    from mulchwright.trade import load_trade
    from mulchwright.weather import mean_annual_wave, weather_futures

    trade = load_trade()
    garden = bench_garden(patches)
    _, series = demo_garden()
    start = garden.patches[0].built_on
    assert start is not None
    futures = weather_futures(
        series, garden.normals, garden.place,
        start=start, days=days, members=members, rng=np.random.default_rng(1),
    )  # fmt: skip
    forcing = forcing_of(
        (futures.temperature_min_c + futures.temperature_max_c) / 2,
        futures.rain_mm,
        futures.reference_evapotranspiration_mm,
        start=start,
        wave=mean_annual_wave(series),
        trade=trade,
    )
    bed = bed_arrays(garden.patches, trade, start=start, days=days, today=DEMO_DAY, log=())
    draws = draw_parameters(garden.patches, trade, members=members, seed=1)
    model_constants = model_constants_of(trade)
    return lambda threads: simulate(bed, draws, forcing, model_constants, start=start, threads=threads)


def measure_engine(figures: Figures) -> None:
    say("the engine alone")
    whole = engine_run(20, 200, 730)
    whole(2)  # compile, or load what was compiled
    patch_days = 20 * 200 * 730
    for name, threads in (("one_core", 1), ("two_cores", 2)):
        runs = [timed(whole, threads) for _ in range(5)]
        put(figures, f"engine_ns_per_patch_day_{name}", runs, 1e9 / patch_days)
    # Growth: the cost of a patch-day when one size is doubled, against that at the size above.
    doubled = {"patches": (40, 200, 730), "members": (20, 400, 730), "days": (20, 200, 1460)}
    for name, sizes in doubled.items():
        large = engine_run(*sizes)
        large(1)
        pairs = [
            (timed(whole, 1), timed(large, 1)) for _ in range(5)
        ]  # in turn, so that a busy spell hits both
        figures[f"engine_growth_{name}"] = statistics.median(after / before for before, after in pairs) / 2


def measure_outlook(figures: Figures) -> None:
    say("a whole outlook: 20 patches x 200 members x 730 days")
    from mulchwright.almanac import outlook
    from mulchwright.almanac.outlook import OutlookOptions
    from mulchwright.book.demo import demo_garden
    from mulchwright.trade import load_trade

    trade = load_trade()
    garden = bench_garden(20)
    _, series = demo_garden()
    start = garden.patches[0].built_on

    def act() -> object:
        return outlook(
            garden,
            series,
            trade,
            today=DEMO_DAY,
            start=start,
            days=730,
            members=200,
            options=OutlookOptions(threads=2),
        )

    act()
    put(figures, "outlook_20x200x730_s", [timed(act) for _ in range(5)])


# ---- the ground ---------------------------------------------------------------------------------

GROUND_M = (0.0, 0.0, 30.0, 20.0)


def ground_garden() -> Garden:
    """30 m x 20 m with 25 obstacles: 15 crowns, a corner house, 9 walls, scattered by a fixed seed."""
    from mulchwright.book.demo import demo_garden
    from mulchwright.garden import Crown, Wall

    garden, _ = demo_garden()
    chance = random.Random(7)
    crowns = tuple(
        Crown(
            key=f"crown-{k}",
            name=f"Crown {k}",
            center=(chance.uniform(0, 30), chance.uniform(0, 20)),
            radius_m=chance.uniform(0.8, 3.0),
            height_m=chance.uniform(3.0, 9.0),
            base_m=1.2,
            evergreen=k % 4 == 0,
            leaf_from=105 + 2 * (k % 5),
        )
        for k in range(15)
    )
    corner = ((0.0, 20.0), (0.0, 12.0), (5.0, 12.0), (5.0, 15.0), (9.0, 15.0), (9.0, 20.0))
    walls = [Wall("house", "House", corner, 6.0, house=True)]
    for k in range(9):
        x, y = chance.uniform(0, 26), chance.uniform(0, 16)
        width, depth = chance.uniform(0.2, 4.0), chance.uniform(0.2, 3.0)
        outline = ((x, y), (x + width, y), (x + width, y + depth), (x, y + depth))
        walls.append(Wall(f"wall-{k}", f"Wall {k}", outline, chance.uniform(1.0, 4.0)))
    return replace(garden, crowns=crowns, walls=tuple(walls))


def measure_ground(figures: Figures, folder: Path) -> None:
    say("the light map: 9,600 cells, 25 obstacles, 12 months, steps of 15 minutes")
    import numpy as np

    from mulchwright.ground import light_map, light_map_key, pack_light_map, unpack_light_map

    garden = ground_garden()
    light_map(garden, GROUND_M, cell_m=2.0)  # compile, or load what was compiled
    put(figures, "sun_map_cold_s", [timed(light_map, garden, GROUND_M) for _ in range(5)])
    figures["sun_map_one_core_s"] = timed(lambda: light_map(garden, GROUND_M, threads=1))

    def kept() -> Path:
        return folder / f"{light_map_key(garden, GROUND_M)}.npz"

    np.savez(kept(), **pack_light_map(light_map(garden, GROUND_M)))  # type: ignore[arg-type]

    def read() -> object:
        with np.load(kept()) as arrays:
            return unpack_light_map(arrays)

    put(figures, "sun_map_cached_ms", [timed(read) for _ in range(9)], 1e3)


def measure_siting(figures: Figures) -> None:
    say("the siting map of that garden: light, then 12 classes of it run for a year")
    from mulchwright.almanac import propose_spots, site_map
    from mulchwright.book.demo import demo_garden
    from mulchwright.ground import light_map, limits_on
    from mulchwright.trade import load_trade

    garden, trade = replace(ground_garden(), patches=(), log=(), **NO_KITCHEN), load_trade()
    _, series = demo_garden()

    def act() -> object:
        light = light_map(garden, GROUND_M)
        sites = site_map(
            light, garden, series, trade, species="king-stropharia",
            template=trade.recipes["chips-straw-chips"], built_on=DEMO_DAY, today=DEMO_DAY,
        )  # fmt: skip
        limits = limits_on(sites.grid, garden, trade)
        return propose_spots(sites, limits=limits, count=4, total_area_m2=8.0)

    act()
    put(figures, "siting_map_s", [timed(act) for _ in range(5)])


def measure_pockets(figures: Figures) -> None:
    say("pockets on a plan of two hundred objects, its light map at hand")
    from mulchwright.ground import PocketWish, find_pockets, light_map, map_extent
    from mulchwright.trade import load_trade

    garden, trade = crowded(replace(ground_garden(), patches=(), log=(), **NO_KITCHEN)), load_trade()
    light = light_map(garden, map_extent(garden))
    ground = ((-1.0, -1.0), (30.0, -1.0), (30.0, 37.0), (-1.0, 37.0))
    wish = PocketWish(16.0, 0.9, most=8)
    found = find_pockets((ground,), garden, trade, wish, light)
    figures["pockets_found"] = float(len(found.pockets))
    runs = [timed(find_pockets, (ground,), garden, trade, wish, light) for _ in range(5)]
    put(figures, "pockets_8_s", runs)


SLIDE_FRAMES = """() => new Promise((done) => {
  const slide = document.querySelector('#s-slide');
  const shades = [...document.querySelectorAll('[data-shade=walls]')];
  const shade = shades.find((path) => path.getClientRects().length);
  let minute = 7 * 60, frames = 0, last = '';
  const began = performance.now();
  function step() {
    const now = shade.getAttribute('d');
    if (now !== last) frames += 1;
    last = now;
    const passed = performance.now() - began;
    if (passed > 3000) return done(frames / passed * 1000);
    minute = minute > 18 * 60 ? 7 * 60 : minute + 5;
    slide.value = minute;
    slide.dispatchEvent(new Event('input'));
    requestAnimationFrame(step);
  }
  requestAnimationFrame(step);
})"""


def measure_slider(figures: Figures, folder: Path) -> None:
    """Frames a second in which the shadows of 25 obstacles were drawn anew; nothing without a browser."""
    from mulchwright.book import create_book

    say("the shadow slider in a browser")
    book = folder / "slider.garden"
    create_book(book, replace(ground_garden(), patches=(), log=(), **NO_KITCHEN))
    with browser_page(book) as (page, address):
        if page is None:
            return
        page.goto(f"{address}/ground/sun?day=2015-06-21&hour=10:00")
        page.locator("main:not([data-waiting])").wait_for(timeout=PATIENCE_S * 1e3)
        page.locator("#s-slide[aria-valuetext]").wait_for()
        put(figures, "shadow_slider_fps", [float(page.evaluate(SLIDE_FRAMES)) for _ in range(3)])


def measure_plan(figures: Figures, folder: Path) -> None:
    """The middle frame while a plan of two hundred objects is moved; nothing without a browser."""
    from mulchwright.book import create_book

    say("a plan of two hundred objects in a browser")
    book = folder / "plan.garden"
    create_book(book, crowded(replace(ground_garden(), patches=(), log=(), **NO_KITCHEN)))
    with browser_page(book) as (page, address):
        if page is None:
            return
        page.goto(f"{address}/ground")
        page.locator("[data-plan][data-ready]").wait_for(timeout=PATIENCE_S * 1e3)
        for way in WAYS:
            put(
                figures,
                f"plan_frame_{way}_ms",
                [statistics.median(frame_gaps_ms(page, way)) for _ in range(3)],
            )


@contextmanager
def browser_page(book: Path) -> Iterator[tuple[Any, str]]:
    """A page of a browser, and the address of a server of this book; None where there is no browser."""
    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError:
        say("  left out: the browser driver is not installed")
        yield None, ""
        return
    named = os.environ.get("MULCHWRIGHT_BROWSER")
    places = ("/usr/bin/chromium", "/usr/bin/chromium-browser")
    usual = next((path for path in places if Path(path).exists()), None)
    with server(book) as (address, _, _), sync_playwright() as playwright:
        try:
            browser = playwright.chromium.launch(executable_path=named or usual, args=["--no-sandbox"])
        except Error as error:
            say(f"  left out: no browser ({str(error).splitlines()[0]})")
            yield None, ""
            return
        yield browser.new_page(viewport={"width": 1440, "height": 900}), address
        browser.close()


# ---- sheets -------------------------------------------------------------------------------------


def measure_sheets(figures: Figures) -> None:
    say("a build sheet of 10 patches, amounts included")
    from mulchwright.sheets.build_sheet import build_sheet_of, build_sheet_pdf
    from mulchwright.trade import load_trade

    trade = load_trade()

    def act(run: int) -> object:
        # Other areas each time: the typesetter remembers what it has set.
        patches = [replace(patch, area_m2=2.0 + run + n) for n, patch in enumerate(bench_garden(10).patches)]
        return build_sheet_pdf(build_sheet_of(patches, trade, garden="Bench", day=DEMO_DAY, system="us"))

    put(figures, "build_sheet_10_s", [timed(act, run) for run in range(5)])  # the first loads the typesetter


# ---- choosing and buying ------------------------------------------------------------------------


def measure_gathering(figures: Figures) -> None:
    """Each with all it tells: gains of one more unit, ties, the second best; five different questions."""
    say("making the most of what there is: 20 patches x 8 options x 4 stocks")
    import numpy as np

    from mulchwright.gather.allocate import allocate
    from mulchwright.gather.allocation import Candidate, PlanOption, Stock
    from mulchwright.gather.buy import Offer, Seller, plan_purchase
    from mulchwright.gather.purchase import Need

    def choosing(seed: int) -> Callable[[], object]:
        rng = np.random.default_rng(seed)
        area_m2 = rng.uniform(1, 8, 20)
        rate = rng.uniform(0.2, 1, (8, 4)) * np.array([0.5, 100, 3, 6])  # spawn, chips, straw, money per m2
        rich = (rate / rate.mean(axis=0)).mean(axis=1) ** 0.6 * rng.uniform(0.8, 1.2, 8)
        likely = area_m2[:, None] * rich * rng.uniform(0.6, 1.4, (20, 1))
        stock = np.outer(area_m2, rate.mean(axis=0)).sum(axis=0) * 0.5
        stocks = [Stock(f"stock-{n}", f"stock {n}", "", float(amount)) for n, amount in enumerate(stock)]
        patches = []
        for patch in range(20):
            options = []
            for option in range(8):
                demand = {one.key: float(area_m2[patch] * rate[option, n]) for n, one in enumerate(stocks)}
                kg = float(likely[patch, option])
                options.append(PlanOption(f"option-{option}", f"option {option}", demand, kg, kg / 3))
            patches.append(Candidate(f"patch-{patch}", f"Patch {patch}", tuple(options)))
        return lambda: allocate(patches, stocks)

    choosing(0)()  # compile, and import the solver
    put(figures, "allocate_20x8_s", [timed(choosing(seed)) for seed in range(5)])

    say("buying: 10 items x 6 sellers x 5 packages")

    def buying(seed: int) -> Callable[[], object]:
        rng = np.random.default_rng(seed)
        sellers = [
            Seller(
                f"seller-{n}", f"Seller {n}", int(rng.integers(5, 40)) * 100,
                int(rng.integers(80, 300)) * 100 if n % 2 else None, int(rng.integers(0, 3)) * 2000,
            )
            for n in range(6)
        ]  # fmt: skip
        needs, offers = [], []
        for item in range(10):
            amount, share = float(rng.integers(5, 60)), float(rng.choice([0, 0.3, 0.7]))
            needs.append(Need(f"item-{item}", f"Item {item}", amount, "kg", share))
            cents = rng.uniform(100, 900)
            for seller in sellers:
                for size in (1.0, 2.5, 5.0, 10.0, 25.0):  # larger packages are cheaper by the kilogram
                    price = int(cents * size**0.85 * rng.uniform(0.8, 1.2))
                    offers.append(Offer(seller.key, f"item-{item}", size, price))
        return lambda: plan_purchase(needs, offers, sellers)

    buying(0)()
    put(figures, "buy_10x6x5_s", [timed(buying(seed)) for seed in range(5)])


# ---- the program as a user meets it -------------------------------------------------------------


def measure_build_weeks(figures: Figures) -> None:
    say("the build-date curve: 40 weeks x 200 members")
    from mulchwright.almanac import RunSettings, build_weeks
    from mulchwright.book.demo import demo_garden
    from mulchwright.trade import load_trade

    trade = load_trade()
    garden, series = demo_garden()
    patch = bench_garden(1).patches[0]

    def act() -> object:
        return build_weeks(
            garden,
            series,
            trade,
            patch,
            first=DEMO_DAY,
            weeks=40,
            today=DEMO_DAY,
            settings=RunSettings(200),
        )

    act()
    put(figures, "build_weeks_40x200_s", [timed(act) for _ in range(5)])


def measure_start(figures: Figures, folder: Path) -> None:
    say("start-up")

    def words(*rest: str) -> Callable[[], object]:
        return lambda: subprocess.run([*COMMAND, *rest], check=True, capture_output=True)

    words("--help")()
    put(figures, "help_s", [timed(words("--help")) for _ in range(9)])
    book = folder / "start.garden"
    words("demo", str(book), "--no-open")()
    put(figures, "outlook_command_s", [timed(words("outlook", str(book), "--json")) for _ in range(3)])
    clock, processor = zip(*(compiling(folder / f"code-{n}", book) for n in range(2)), strict=True)
    put(figures, "compile_s", list(clock))
    put(figures, "compile_cpu_s", list(processor))


def compiling(code: Path, book: Path) -> tuple[float, float]:
    """What the first outlook on a machine takes beyond the second, which finds the engine compiled.

    Seconds by the clock and of processor time, of new processes that keep compiled code in an empty folder.
    """
    command = [*COMMAND, "outlook", str(book), "--json"]

    def spent() -> tuple[float, float]:
        began, before = time.perf_counter(), os.times()
        subprocess.run(
            command, check=True, capture_output=True, env={**os.environ, "NUMBA_CACHE_DIR": str(code)}
        )
        after = os.times()
        processor = (after.children_user - before.children_user) + (
            after.children_system - before.children_system
        )
        return time.perf_counter() - began, processor

    first, second = spent(), spent()
    return first[0] - second[0], first[1] - second[1]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def fetch(address: str) -> str:
    with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
        text: str = answer.read().decode("utf-8")
    return text


def fetch_bytes(address: str) -> bytes:
    with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
        content: bytes = answer.read()
    return content


@contextmanager
def server(book: Path) -> Iterator[tuple[str, int, float]]:
    """A running server: its address, its process, and the seconds until its first page."""
    port = free_port()
    began = time.perf_counter()
    process = subprocess.Popen(
        [*COMMAND, "open", str(book), "--port", str(port), "--no-browser"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        while True:
            try:
                fetch(f"{address}/")
                break
            except (urllib.error.URLError, ConnectionError) as error:
                if process.poll() is not None or time.perf_counter() - began > PATIENCE_S:
                    raise SystemExit("bench: the server did not start") from error
                time.sleep(0.01)
        yield address, process.pid, time.perf_counter() - began
    finally:
        process.terminate()
        process.wait(timeout=20)


def resident_mb(process: int) -> float:
    """Resident memory of a process; not a number where the system does not tell (it does on Linux)."""
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        return float("nan")
    found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text(encoding="utf-8"))
    return int(found[1]) / 1024 if found else float("nan")


def measure_server(figures: Figures, folder: Path) -> None:
    say("the server and its pages")
    from mulchwright.book.demo import demo_garden

    book = folder / "served.garden"
    subprocess.run([*COMMAND, "demo", str(book), "--no-open"], check=True, capture_output=True)
    keys = [patch.key for patch in demo_garden()[0].patches]
    ready = []
    for _ in range(4):
        with server(book) as (_, _, seconds):
            ready.append(seconds)
    put(figures, "server_ready_s", ready[1:])  # the first may have had to make caches
    with server(book) as (address, process, _):
        began = time.perf_counter()
        wait_for_outlook(address, keys[0], began)
        figures["server_first_outlook_s"] = time.perf_counter() - began
        pages = [timed(fetch, f"{address}/beds/{key}") for _ in range(8) for key in keys]
        put(figures, "bed_page_ms", pages[len(keys) :], 1e3)
        lists = [timed(fetch, f"{address}/beds") for _ in range(9)]
        put(figures, "bed_list_ms", lists[1:], 1e3)
        figures["server_rss_mb"] = resident_mb(process)


def wait_for_outlook(address: str, key: str, began: float) -> None:
    """Until the bed's page shows its outlook instead of how far the calculation has come."""
    while "<progress" in fetch(f"{address}/beds/{key}"):
        if time.perf_counter() - began > PATIENCE_S:
            raise SystemExit("bench: the outlook did not come")
        time.sleep(0.05)


def measure_now(figures: Figures, folder: Path) -> None:
    say("what today asks: 20 beds, five years of entries")
    from five_years import make_five_year_book  # type: ignore[import-not-found]

    book = folder / "five-years.garden"
    garden = make_five_year_book(book)
    figures["today_logbook_entries"] = float(len(garden.log))
    with server(book) as (address, _, _):
        wait_for_outlook(address, garden.patches[0].key, time.perf_counter())
        pages = [timed(fetch, f"{address}/now") for _ in range(25)]
        put(figures, "today_page_ms", pages[3:], 1e3)


def measure_pantry(figures: Figures, folder: Path) -> None:
    say("pantry and dryer: five years of picks, each looked at, dried into a jar and eaten of")
    from five_years import TODAY, five_year_garden
    from kept_years import keep_picks  # type: ignore[import-not-found]
    from mulchwright.book import create_book

    book = folder / "five-years-kept.garden"
    garden, series = five_year_garden()
    kept = keep_picks(garden, TODAY)
    create_book(book, kept, series)
    figures["pantry_jars"], figures["pantry_uses"] = float(len(kept.jars)), float(len(kept.uses))
    with server(book) as (address, _, _):
        wait_for_outlook(address, garden.patches[0].key, time.perf_counter())
        for name in ("pantry", "dryer"):
            pages = [timed(fetch, f"{address}/stores/{name}") for _ in range(25)]
            put(figures, f"{name}_page_ms", pages[3:], 1e3)


def dated(text: str, made_on: date, day: date) -> str:
    """What was kept of a bed as if it had been said on another day."""
    months = 12 * (made_on.year - day.year) + made_on.month - day.month

    def earlier(found: re.Match[str]) -> str:
        year, month = divmod(12 * int(found[1]) + int(found[2]) - 1 - months, 12)
        return f'"{year}-{month + 1:02d}"'

    moved = re.sub(r'"(\d{4})-(\d\d)"', earlier, text)
    return re.sub(r'"(\d{4})":', lambda found: f'"{int(found[1]) - made_on.year + day.year}":', moved)


def measure_review(figures: Figures, folder: Path) -> None:
    say("the year's review: 20 beds, five years of picks and uses, an outlook kept each week")
    from five_years import TODAY, five_year_garden
    from kept_years import keep_picks
    from mulchwright.book import create_book, open_book
    from mulchwright.garden import SavedOutlook

    path = folder / "five-years-review.garden"
    garden, series = five_year_garden()
    create_book(path, keep_picks(garden, TODAY), series)
    with server(path) as (address, _, _):  # keeps one outlook by itself
        wait_for_outlook(address, garden.patches[0].key, time.perf_counter())
    with open_book(path) as book:
        (last,) = book.saved_outlooks()
        for weeks in range(1, 261):  # the same words each week, but for their months and years
            day = last.made_on - timedelta(weeks=weeks)
            words = [(key, dated(text, last.made_on, day)) for key, text in last.patches]
            book.keep_outlook(SavedOutlook(day, last.model_version, tuple(words)))
    with server(path) as (address, _, _):
        wait_for_outlook(address, garden.patches[0].key, time.perf_counter())
        years = [TODAY.year - 1 - n for n in range(5)]
        pages = [timed(fetch, f"{address}/year/{years[0]}") for _ in range(15)]
        put(figures, "review_page_ms", pages[3:], 1e3)
        sheets = [timed(fetch_bytes, f"{address}/year/{year}/review.pdf") for year in years]
        put(figures, "review_pdf_s", sheets)  # the first loads the typesetter
        anew = []
        for hours in range(9):  # the book is another each time, so the year is gone through anew
            with open_book(path) as book:
                book.set_setting(f"hours_{years[0]}", str(hours))
            anew.append(timed(fetch, f"{address}/year/{years[0]}"))
        put(figures, "review_page_anew_ms", anew[1:], 1e3)


# ---- learning -----------------------------------------------------------------------------------


def measure_learning(figures: Figures, folder: Path) -> None:
    """The long ones: an entry's way to the outlook, then the calibration over 400 made-up seasons."""
    from calibration import measure as calibrate  # type: ignore[import-not-found]
    from learning import measure_entry  # type: ignore[import-not-found]

    say("from an entry to the outlook: 20 beds, five years of entries (the first calculation takes a while)")
    times, first, again, entries = measure_entry(folder)
    put(figures, "entry_to_outlook_s", times)
    figures["entry_first_outlook_s"], figures["entry_kept_outlook_s"] = first, again
    figures["entry_logbook_entries"] = float(entries)
    say("calibration of what is learned: 400 made-up seasons, some three minutes on two cores")
    found = calibrate()
    for name in (
        "calibration_cover_90", "calibration_seasons", "learning_error_ratio",
        "learning_error_ratio_fixed_looks", "shared_cover_90", "shared_error_ratio",
        "other_line_cover_90", "other_line_error_ratio",
    ):  # fmt: skip
        figures[name if name.startswith(("cal", "learn")) else f"learning_{name}"] = float(found[name])
    for name, one in found["quantities"].items():
        figures[f"calibration_rank_p_{name}"] = one["p"]


# ---- telling it ---------------------------------------------------------------------------------


def whole_outlook(figures: Figures) -> str:
    lines = ["| figure | median | fastest | slowest |", "|---|---|---|---|"]
    for name, value in figures.items():
        if not name.endswith(("_min", "_max")):
            spread = [figures.get(f"{name}_{end}") for end in ("min", "max")]
            cells = ["" if one is None else f"{one:.3g}" for one in spread]
            lines.append(f"| `{name}` | {value:.3g} | {cells[0]} | {cells[1]} |")
    return "\n".join(lines)


def main(words: list[str]) -> int:
    if set(words) - {"--json"}:
        say("usage: ./dev bench [--json]")
        return 2
    figures: Figures = {"cores": float(os.cpu_count() or 1)}
    with tempfile.TemporaryDirectory() as folder:
        measure_start(figures, Path(folder))
        measure_engine(figures)
        measure_outlook(figures)
        measure_gathering(figures)
        measure_build_weeks(figures)
        measure_ground(figures, Path(folder))
        measure_siting(figures)
        measure_pockets(figures)
        measure_slider(figures, Path(folder))
        measure_plan(figures, Path(folder))
        measure_sheets(figures)
        measure_server(figures, Path(folder))
        measure_now(figures, Path(folder))
        measure_pantry(figures, Path(folder))
        measure_review(figures, Path(folder))
        measure_learning(figures, Path(folder))
    rounded = {name: float(f"{value:.4g}") if value == value else None for name, value in figures.items()}
    print(json.dumps(rounded, indent=1) if words else whole_outlook(figures))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
