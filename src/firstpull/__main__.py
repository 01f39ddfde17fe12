"""``python -m firstpull`` is the command ``firstpull``."""

from firstpull.cli import main

main()
