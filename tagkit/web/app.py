"""The web app: put together from its pages."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from tagkit import __version__
from tagkit.jobs.site import system_clock
from tagkit.language.catalogue import LANGUAGES
from tagkit.web.access.gate import Gate
from tagkit.web.access.store import AccessStore
from tagkit.web.booth.floor import Floor
from tagkit.web.changes import Changes
from tagkit.web.depends import ENTER
from tagkit.web.door import SiteDoor
from tagkit.web.exchanging import Exchanging
from tagkit.web.judged import JudgingAtStart
from tagkit.web.language import templates
from tagkit.web.options import ServeOptions
from tagkit.web.problems import add_handlers
from tagkit.web.routes import (
    api,
    assets,
    care,
    charger_log,
    corrections,
    current_log,
    delivery,
    guide,
    health,
    incidents,
    labels,
    live,
    marrying,
    new_asset,
    number,
    people,
    planning,
    rotation,
    rounds,
    shift,
    station,
    stations,
    steps,
    today,
)
from tagkit.web.runs import Runs
from tagkit.web.shared import Shared

STATIC = Path(__file__).parent / "static"


def create_app(options: ServeOptions, clock: Callable[[], datetime] = system_clock) -> FastAPI:
    """The app for one site; raises NotFound or WrongInput when the site can't be opened."""
    door = SiteDoor(options.directory, clock)
    with door.borrow():
        pass  # a site that can't be opened is told before anything listens
    access = AccessStore(options.directory, for_now=True)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        judging = JudgingAtStart(door)
        judging.start()
        exchanging = Exchanging(door)
        exchanging.start()
        yield
        exchanging.stop()
        judging.stop()
        app.state.floor.close()
        app.state.runs.close()
        app.state.shared.close()
        door.close()
        access.close()

    app = FastAPI(
        title="tagkit",
        version=__version__,
        lifespan=life,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.state.options = options
    app.state.door = door
    app.state.access = access
    app.state.floor = Floor(options)
    app.state.runs = Runs(door)
    app.state.changes = Changes(options.directory)
    app.state.shared = Shared(options.directory)
    app.state.environments = {name: templates(name) for name in LANGUAGES}
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for pages in (
        assets.router,
        number.router,
        corrections.router,
        rotation.router,
        shift.router,
        stations.router,
        health.router,
        station.router,
        delivery.router,
        new_asset.router,
        marrying.router,
        labels.router,
        today.router,
        planning.router,
        people.router,
        steps.router,
        incidents.router,
        rounds.router,
        care.router,
        charger_log.router,
        current_log.router,
        guide.router,
    ):
        app.include_router(pages, dependencies=[ENTER], include_in_schema=False)
    for described in (api.router,):  # what programs are told of: paths under /api
        app.include_router(described, dependencies=[ENTER])
    # Without ENTER: each says itself who may come in. Nothing that takes forms.
    for own_door in (health.open_router, number.links, live.router, station.live):
        app.include_router(own_door, include_in_schema=False)
    add_handlers(app)
    app.add_middleware(Gate, options=options)
    return app
