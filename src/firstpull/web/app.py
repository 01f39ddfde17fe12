"""The bench as a web application: the frame that every page shares. It translates; the work is done in ``jobs``."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Collection, Sequence
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from firstpull import __version__
from firstpull.web import pages, person, problems
from firstpull.web.guard import LOCAL_HOSTS, Guard
from firstpull.web.render import STATIC, environment


def create_app(
    *,
    routers: Sequence[APIRouter] = (),
    hosts: Collection[str] = LOCAL_HOSTS,
    close: Callable[[], None] = lambda: None,
) -> FastAPI:
    """The application.

    ``routers`` bring the pages that act on jobs; they come before the frame's own pages. ``hosts`` are the names the
    bench answers to, at any port. ``close`` is called when the server ends. Makes no outside request and serves no
    page of another's (the OpenAPI description is at /openapi.json, without a viewer).
    """

    @asynccontextmanager
    async def until_it_ends(_app: FastAPI) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(close)

    app = FastAPI(
        title="firstpull",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        lifespan=until_it_ends,
    )
    for router in (*routers, person.router, pages.router):
        app.include_router(router)
    app.mount("/static", _Static(directory=STATIC), name="static")
    problems.add_handlers(app)
    app.add_middleware(GZipMiddleware, minimum_size=1024)
    app.add_middleware(Guard, hosts=hosts)
    environment()
    return app


class _Static(StaticFiles):
    """Files named with the mark of their content may be kept for good; others are asked for again."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        marked = scope["query_string"].startswith(b"v=")
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable" if marked else "no-cache"
        return response
