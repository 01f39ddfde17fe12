"""firstpull: the setting technician's bench for blind rivet nuts.

The library in four lines::

    import firstpull
    job = firstpull.read_job(open("job.toml").read())
    print(firstpull.setting_of_file(job).set_length_mm)
    print(firstpull.advise({"v": 1, "job": {...}, "history": []})["why"])
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from firstpull.exchange.job_file import read_job as read_job
    from firstpull.jobs.open_job import setting_of_file as setting_of_file
    from firstpull.jobs.workshop import Workshop as Workshop
    from firstpull.mechanics.choose import choose as choose
    from firstpull.mechanics.identify import identify as identify
    from firstpull.mechanics.standardise import standardise as standardise
    from firstpull.statistics.dial_in import advise as advise
    from firstpull.trade.lookup import lookup as lookup

__all__ = [
    "Workshop",
    "__version__",
    "advise",
    "choose",
    "identify",
    "lookup",
    "read_job",
    "setting_of_file",
    "standardise",
]

# the heavy parts are imported when they are first asked for, so that the command line starts quickly
_PLACES = {
    "Workshop": "firstpull.jobs.workshop",
    "advise": "firstpull.statistics.dial_in",
    "choose": "firstpull.mechanics.choose",
    "identify": "firstpull.mechanics.identify",
    "lookup": "firstpull.trade.lookup",
    "read_job": "firstpull.exchange.job_file",
    "setting_of_file": "firstpull.jobs.open_job",
    "standardise": "firstpull.mechanics.standardise",
}


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"firstpull has no “{name}”; it has {', '.join(__all__)}.")
    from importlib import import_module

    return getattr(import_module(_PLACES[name]), name)
