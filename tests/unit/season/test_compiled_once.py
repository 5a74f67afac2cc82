"""However an outlook comes about, each kernel on its way is compiled for one kind of arrays only.

A second kind costs the first start as long again: once it was a read-only rain that doubled it.
"""

from __future__ import annotations

import os
import subprocess
import sys

PROGRAM = """
from collections import defaultdict
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
import gc
import numpy as np
from numba.core import event
from numba.core.dispatcher import Dispatcher

kinds = defaultdict(set)

class Watch(event.Listener):
    def on_start(self, happened):
        function = happened.data["dispatcher"].py_func
        kinds[f"{function.__module__}.{function.__name__}"].add(happened.data["args"])
    def on_end(self, happened):
        pass

event.register("numba:compile", Watch())

from mulchwright.almanac import outlook
from mulchwright.book.demo import demo_garden
from mulchwright.garden import LogEntry, LogKind, Sight
from mulchwright.season import bed_arrays, draw_parameters, forcing_of, model_constants_of, simulate
from mulchwright.season.prepare import prepare_engine
from mulchwright.trade import load_trade
from mulchwright.weather import Forecast, mean_annual_wave, normals_of

trade = load_trade()
garden, series = demo_garden()
today = date(2015, 6, 10)
def forecast():
    ahead = replace(series.slice(series.end - timedelta(days=9), series.end), start=today)
    return Forecast(datetime(2015, 6, 10, 6, tzinfo=timezone.utc), ahead)

def look(garden, record=series, **more):
    outlook(garden, record, trade, today=today, **more)

one = garden.patches[0]
bare = replace(garden, log=(), patches=(one,), checks=(), uses=(), jars=(), dryers=(), dryings=())
many = tuple(replace(one, key=f"copy-{n}", name=f"Copy {n}") for n in range(12))

def alone(members):
    # The engine by itself, on one weather for all members, which broadcasting makes read-only.
    start, days = one.built_on, 30
    air, rain, dry = (np.broadcast_to(np.full((days, 1), x), (days, members)) for x in (15.0, 2.0, 3.0))
    wave = mean_annual_wave(series)
    simulate(
        bed_arrays([one], trade, start=start, days=days, today=today),
        draw_parameters([one], trade, members=members, seed=1),
        forcing_of(air, rain, dry, start=start, wave=wave, trade=trade),
        model_constants_of(trade), start=start,
    )

alone(1)
alone(7)
look(bare, members=20)
look(bare, members=20, forecast=forecast())
look(replace(bare, normals=normals_of(series)), None, members=20)
look(replace(bare, patches=many), members=300)
noted = tuple(
    LogEntry(f"n{n}", one.key, one.built_on + timedelta(days=20 + n), LogKind.LOOKED, sight=Sight.NOTHING)
    for n in range(2)
)
look(replace(bare, log=noted), members=20)
look(replace(bare, log=noted, normals=normals_of(series)), None, members=20)
look(garden, members=20, forecast=forecast())
prepare_engine()  # last: it must know the very kinds that were there

for thing in gc.get_objects():
    if isinstance(thing, Dispatcher) and thing.py_func.__module__.startswith("mulchwright.season"):
        kinds[f"{thing.py_func.__module__}.{thing.py_func.__name__}"].update(thing.signatures)
for name, found in sorted(kinds.items()):
    if name.startswith("mulchwright.season") and found:
        print(name, len(found))
"""


def test_each_kernel_of_an_outlook_is_compiled_for_one_kind_of_arrays() -> None:
    """One bed, many, one member, several blocks, with and without record, forecast and entries."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, env=dict(os.environ), check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    counts = {name: int(count) for name, count in (line.split() for line in done.stdout.splitlines())}
    entries = {"kernel.run_block", "observing._score", "observing._fit", "standing._by_day"}
    assert {f"mulchwright.season.{name}" for name in entries} <= set(counts)
    assert {name: count for name, count in counts.items() if count != 1} == {}
