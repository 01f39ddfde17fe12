"""The dial-in adviser: what to do next with knob, insert and gauge, from the job and everything done so far.

``advise(request)`` speaks version 1 of the conversation: a dictionary in, a dictionary out, nothing kept between
calls, and the same request always brings the same reply. It never raises for anything that JSON can hold: a request
that cannot be used brings ``{"error": {"what", "where", "hint"}}``.

The method is a Gaussian-sum (Rao-Blackwellised) Bayesian filter, see ``mixture``; it is a sound first estimator and
claims no more. Its confidence is about its own model of tools; how far that holds on simulated benches written
separately is recorded in ``bench/results/dial_in_study.md``.
"""

from __future__ import annotations

from typing import Any

from firstpull.errors import BadInput

__all__ = ["advise", "expected_reading"]


def advise(request: object) -> dict[str, Any]:
    """The next action for one request (version 1). All lengths in and out are in ``job.units``.

    Beside the action's own fields every reply carries ``why``, ``belief`` and ``expected`` (the next pull's reading
    after the action). A turn past the aim also carries ``then``, the step that the next reply is going to order; a
    pull carries ``where`` when the job gives an air-to-stack shift. Fields this version does not know are ignored and
    named in ``ignored``.
    """
    from firstpull.statistics.dial_in.decide import decided
    from firstpull.statistics.dial_in.explain import reply
    from firstpull.statistics.dial_in.replay import replayed
    from firstpull.statistics.dial_in.request import read_request

    try:
        checked = read_request(request)
    except BadInput as problem:
        return {"error": problem.as_dict()}
    return reply(decided(replayed(checked), checked.job), checked)


def expected_reading(request: object) -> dict[str, float] | None:
    """Mean and standard deviation of the next pull's reading at the present knob, job units; ``None`` if unusable."""
    from firstpull.statistics.dial_in.belief import belief_now, next_reading
    from firstpull.statistics.dial_in.decide import next_where
    from firstpull.statistics.dial_in.replay import replayed
    from firstpull.statistics.dial_in.request import read_request

    try:
        checked = read_request(request)
    except BadInput:
        return None
    job = checked.job
    state = replayed(checked)
    where = next_where(state, job, belief=belief_now(state.mixture, job))
    reading = next_reading(state, job, where=where)
    return {"mean": round(reading.mean_mm / job.millimetres, 7), "sd": round(reading.sd_mm / job.millimetres, 7)}
