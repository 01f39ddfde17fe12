"""firstpull: the setting technician's bench for blind rivet nuts."""

__version__ = "0.1.0"
