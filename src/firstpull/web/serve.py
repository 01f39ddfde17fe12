"""Run the bench: a local server on 127.0.0.1 and the browser that shows it."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable, Mapping
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs.virtual_work import warm_up
from firstpull.jobs.workshop import Workshop

HOST = "127.0.0.1"


def serve(workshop: Workshop, *, port: int, open_browser: bool, tell: Callable[[Mapping[str, Any], str], None]) -> None:
    """Serve until interrupted. ``tell`` is given the address once the bench listens. Raises BadInput for a busy port."""
    import uvicorn

    from firstpull.web.bench import create_bench

    listener = _listen(port)
    address = f"http://{HOST}:{listener.getsockname()[1]}/"
    config = uvicorn.Config(create_bench(workshop), log_level="warning", access_log=False, server_header=False)
    server = uvicorn.Server(config)
    tell(
        {"schema": "firstpull/bench/1", "address": address, "data": str(workshop.folder)},
        f"The bench is open at {address} (record in {workshop.folder}). Ctrl+C closes it.",
    )
    end_warm_up = warm_up()
    if open_browser:
        threading.Timer(0.4, webbrowser.open, [address]).start()
    try:
        server.run(sockets=[listener])
    finally:
        end_warm_up()


def _listen(port: int) -> socket.socket:
    # named TCP, since asyncio switches Nagle's wait off only for sockets that say so: 40 ms a page
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
    except OSError as problem:
        listener.close()
        raise BadInput(
            f"Port {port} is in use ({problem.strerror}).",
            where="--port",
            hint="Is the bench open already? Or choose another with --port, 0 for any.",
        )
    listener.listen(128)
    return listener
