"""Every address of the app, in one table: the path, who answers it, and whether it takes a form.

A page stands in the folder named for the first word of its path, in the module named for its last word, or
for the page it belongs to. Fixed paths come before those with a key in them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.routing import BaseRoute, Route

from mulchwright.services.running import PROOF_PATH
from mulchwright.web.beds import beds, built, log, renew, signs, what_if, when
from mulchwright.web.ground import acts, backdrop, choose, ground, look, plan, pockets, spots, sun, survey
from mulchwright.web.more import backups, changes, more, search
from mulchwright.web.now import calendar, month, now
from mulchwright.web.phones import phones
from mulchwright.web.picks import check, picks
from mulchwright.web.shared import common_pages
from mulchwright.web.start import climate, place, start
from mulchwright.web.stores import best_use, buying, dryer, needs, pantry, recipes, sheets, stores
from mulchwright.web.weather import choose_service, weather
from mulchwright.web.year import how_good, year

Handler = Callable[..., Any]


def page(path: str, handler: Handler) -> Route:
    """An address that is only read."""
    return Route(path, handler)


def form(path: str, handler: Handler) -> Route:
    """An address that takes a form."""
    return Route(path, handler, methods=["POST"])


def both(path: str, handler: Handler) -> Route:
    """An address that shows a form and takes it."""
    return Route(path, handler, methods=["GET", "POST"])


def routes() -> list[BaseRoute]:
    """All addresses in the order in which they are tried."""
    return [
        page("/", common_pages.front),
        form("/units", common_pages.set_units),
        page("/outlook-progress", common_pages.outlook_progress),
        page("/charts.js", common_pages.charts_script),
        page(PROOF_PATH, common_pages.serving),
        # beds
        page("/beds", beds.beds),
        page("/beds/{key}", beds.one_bed),
        page("/beds/{key}/charts/{name}", beds.chart),
        page("/beds/{key}/what-if", what_if.what_if_page),
        page("/beds/{key}/what-if/comparison", what_if.what_if_comparison),
        form("/beds/{key}/keep", what_if.keep),
        form("/beds/{key}/plan", what_if.plan),
        # now
        page("/now", now.page),
        page("/month", month.page),
        # calendar
        page("/calendar/{token}.ics", calendar.feed),
        page("/now/calendar", calendar.page),
        form("/now/calendar", calendar.renew),
        # signs
        page("/beds/{key}/signs", signs.signs_page),
        # renew
        page("/beds/{key}/renew", renew.renew_page),
        # how good
        page("/year/how-good", how_good.how_good),
        # year
        page("/year", year.this_year),
        page("/year/{year:whole}", year.one_year),
        page("/year/{year:whole}/charts/crop", year.chart),
        page("/year/{year:whole}/review.pdf", year.pdf),
        form("/year/{year:whole}/sums", year.keep_sums),
        form("/year/{year:whole}/plan", year.write_plan),
        # sun
        page("/ground/sun", sun.page),
        page("/ground/sun/map.png", sun.picture),
        page("/ground/sun/cells.json", sun.cells),
        page("/ground/sun/shadows.json", sun.shadows_json),
        page("/ground/jobs/{key}", sun.job_progress),
        # spots
        page("/ground/spots", spots.page),
        page("/ground/spots/one", spots.one),
        page("/ground/spots/map.png", spots.picture),
        form("/ground/spots/plan", spots.plan_here),
        # choose
        page("/ground/pockets", pockets.page),
        form("/ground/pockets/plan", pockets.plan_them),
        page("/ground/choose", choose.page),
        form("/ground/choose/plan", choose.plan_here),
        # look
        both("/ground/look", look.look),
        # start
        page("/start", start.start),
        both("/start/place", place.place_step),
        page("/start/map.svg", place.map_picture),
        both("/start/climate", climate.climate_step),
        both("/start/ground", start.ground_step),
        page("/start/bed", start.bed_step),
        # needs
        page("/stores/needs", needs.page),
        # recipes
        page("/stores/recipes", recipes.page),
        form("/stores/recipes/lay", recipes.lay),
        both("/stores/recipes/new", recipes.new),
        both("/stores/recipes/{number:whole}", recipes.one),
        form("/stores/recipes/{number:whole}/remove", recipes.remove),
        # buying
        page("/stores/buying", buying.buying_page),
        page("/stores/sharing", buying.sharing_page),
        page("/stores/sharing/note.txt", buying.sharing_note),
        # best use
        page("/stores/best-use", best_use.page),
        form("/stores/best-use/accept", best_use.accept),
        # sheets
        page("/stores/sheets", sheets.page),
        page("/stores/build-sheet.pdf", sheets.build_sheet),
        page("/stores/labels.pdf", sheets.labels),
        page("/stores/label.png", sheets.label),
        page("/stores/calendar.ics", sheets.calendar),
        page("/beds/{key}/build-sheet.pdf", sheets.bed_build_sheet),
        page("/beds/{key}/calendar.ics", sheets.bed_calendar),
        # when
        page("/beds/{key}/when", when.page),
        form("/beds/{key}/when", when.choose),
        page("/beds/{key}/when/chart", when.chart),
        # built
        both("/beds/{key}/built", built.built),
        # dryer
        page("/stores/dryer", dryer.page),
        form("/stores/dryer/loads", dryer.start),
        form("/stores/dryer/loads/{key}/weigh", dryer.weigh),
        form("/stores/dryer/loads/{key}/end", dryer.end),
        both("/stores/dryer/own/new", dryer.own),
        both("/stores/dryer/own/{key}", dryer.own),
        form("/stores/dryer/own/{key}/remove", dryer.remove_own),
        # pantry
        page("/stores/pantry", pantry.page),
        both("/stores/pantry/new", pantry.new),
        page("/stores/pantry/labels.pdf", pantry.labels),
        form("/stores/pantry/undo/{step:whole}", pantry.take_back),
        both("/stores/pantry/{key}", pantry.one),
        form("/stores/pantry/{key}/use", pantry.use),
        form("/stores/pantry/{key}/remove", pantry.remove),
        page("/stores/pantry/{key}/label.png", pantry.label),
        # stores
        page("/stores", stores.at_hand),
        both("/stores/lots/new", stores.new_lot),
        both("/stores/lots/{key}", stores.one_lot),
        form("/stores/lots/{key}/remove", stores.remove_lot),
        form("/stores/lots/{key}/chipped", stores.chip_lot),
        *(
            route
            for name in stores.THINGS
            for route in (
                both(f"/stores/{name}/new", stores.new_thing),
                both(f"/stores/{name}/{{key}}", stores.one_thing),
                form(f"/stores/{name}/{{key}}/remove", stores.remove_thing),
            )
        ),
        # weather
        page("/weather", weather.page),
        form("/weather/reading", weather.put_reading),
        form("/weather/reading/remove", weather.remove_reading),
        form("/weather/undo", weather.undo),
        form("/weather/append", weather.append),
        form("/weather/folder", weather.set_folder),
        form("/weather/feed", weather.set_feed),
        form("/weather/feed/on", weather.feed_on),
        form("/weather/feed/off", weather.feed_off),
        form("/weather/feed/now", weather.feed_now),
        form("/weather/services", choose_service.get_forecasts),
        form("/weather/services/details", choose_service.set_details),
        form("/weather/consent", weather.answer_wish),
        # more
        page("/more", more.page),
        page("/search", search.page),
        page("/changes", changes.page),
        form("/changes/{step:whole}/undo", changes.undo),
        page("/backups", backups.page),
        form("/backups", backups.make),
        page("/backups/export.json", backups.export),
        page("/backups/file/{name}", backups.download),
        # phones
        page("/pair", phones.pair_page),
        form("/pair", phones.pair),
        page("/phones", phones.phones_page),
        page("/phones/address.svg", phones.address_code),
        form("/phones/on", phones.let_in),
        form("/phones/off", phones.shut_out),
        form("/phones/code", phones.make_code),
        form("/phones/{key}/revoke", phones.revoke),
        # log
        page("/log", log.whole_log),
        page("/beds/{key}/log", log.bed_log),
        page("/beds/{key}/log/write", log.write_page),
        form("/log/{patch}", log.enter),
        page("/log/entry/{key}", log.entry_page),
        form("/log/entry/{key}", log.change),
        form("/log/entry/{key}/remove", log.remove),
        form("/log/step/{step:whole}/undo", log.take_back),
        page("/log/photo/{key}", log.picture),
        # picks
        page("/pick", picks.round_page),
        form("/pick", picks.note_round),
        page("/picks", picks.basket_page),
        form("/picks", picks.act_on_basket),
        page("/picks/{key}", picks.pick_page),
        form("/picks/{key}", picks.note_use),
        # check
        page("/picks/{key}/check", check.check_page),
        form("/picks/{key}/check", check.note_check),
        # backdrop
        form("/ground/backdrop/check", backdrop.check),
        page("/ground/backdrop/image", backdrop.image),
        form("/ground/backdrop", backdrop.take_in(ground.show)),
        form("/ground/backdrop/place", backdrop.place(ground.show)),
        form("/ground/backdrop/remove", backdrop.remove),
        # survey
        page("/ground/survey", survey.show),
        form("/ground/survey", survey.posted(survey.save, ground.add_things)),
        form("/ground/survey/make", survey.posted(survey.make, ground.add_things)),
        form("/ground/survey/offsets", survey.posted(survey.offsets, ground.add_things)),
        form("/ground/survey/triangles", survey.posted(survey.triangles, ground.add_things)),
        # ground
        page("/ground", ground.ground),
        page("/ground/plan.json", plan.plan_json),
        form("/ground/acts", acts.acts),
        form("/ground/north", ground.north),
        both("/ground/new/{kind}", ground.new_thing),
        both("/ground/{kind}/{key}", ground.thing),
        form("/ground/{kind}/{key}/copy", ground.copy),
        form("/ground/{kind}/{key}/remove", ground.remove),
        form("/ground/{kind}/{key}/off", ground.take_off),
    ]
