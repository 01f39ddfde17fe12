"""``firstpull stats``: every calculation of the statistics by itself, with plain numbers of any one unit."""

from __future__ import annotations

import click

from firstpull.cli import statistics_data, statistics_proof


@click.group()
def stats() -> None:
    """Statistics by themselves: factors, plans, charts, capability, gauges, lives. Plain numbers of any one unit."""


for _command in (*statistics_proof.COMMANDS, *statistics_data.COMMANDS):
    stats.add_command(_command)
