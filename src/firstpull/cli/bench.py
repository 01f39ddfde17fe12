"""The command that opens the bench in the browser."""

from __future__ import annotations

import click

from firstpull.cli.main import Session, json_option


@click.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8742, show_default=True, help="0 takes any free one.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@json_option
def bench(session: Session, port: int, no_browser: bool) -> None:
    """Open the bench in the browser. It listens on this machine only (127.0.0.1)."""
    from firstpull.web.serve import serve

    serve(session.workshop(), port=port, open_browser=not no_browser, tell=session.answer)
