"""The whole bench: the frame with every page that acts on the workshop."""

from __future__ import annotations

from fastapi import FastAPI

from firstpull.jobs import standardise_search, virtual_work
from firstpull.jobs.workshop import Workshop
from firstpull.web import (
    choose,
    confirm,
    dial_in,
    find_allowance,
    gauge_budget,
    gauge_study,
    gauge_study_begin,
    gauge_study_hub,
    hand_over,
    identify,
    in_hand,
    insert_import,
    inserts,
    job,
    learn_knob,
    look_after,
    operator,
    overview,
    papers,
    practice,
    pressure,
    proof,
    prove,
    record,
    run,
    set_up,
    standardise,
    strike,
    tool_forms,
    tools,
    tour,
    virtual_learn,
    virtual_pull,
)
from firstpull.web.app import create_app

ROUTERS = (
    overview.router,
    practice.router,
    tour.router,
    record.router,
    papers.router,
    look_after.router,
    tool_forms.router,
    learn_knob.router,
    gauge_study_begin.router,
    gauge_study_hub.router,
    gauge_study.router,
    gauge_budget.router,
    tools.router,
    identify.router,
    in_hand.router,
    insert_import.router,
    standardise.router,
    virtual_pull.router,
    virtual_learn.router,
    inserts.router,
    choose.router,
    find_allowance.router,
    job.router,
    dial_in.router,
    strike.router,
    prove.router,
    confirm.router,
    proof.router,
    pressure.router,
    hand_over.router,
    run.router,
    operator.router,
    set_up.router,
)


def create_bench(workshop: Workshop) -> FastAPI:
    """The application on ``workshop``; closing the workshop is the caller's. Searches end when the server does."""
    searches = standardise_search.searches()
    pulls = virtual_work.virtual_pulls()

    def close() -> None:
        searches.close()
        pulls.close()

    app = create_app(routers=ROUTERS, close=close)
    app.state.virtual_pulls = pulls
    app.state.workshop = workshop
    app.state.searches = searches
    return app
