"""Running the bench page on this machine or in this room."""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from tilestudy.bench.access import Access
from tilestudy.bench.app import make_app
from tilestudy.bench.guard import LOOPBACK
from tilestudy.errors import TilestudyError, WrongRequestError
from tilestudy.studio import Studio

THREADS = 8


def room_address() -> str:
    """Return this machine's address in the room's network; nothing is sent. "" where there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737): only the route is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def access_of(folder: Path, *, shared: bool, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Access:
    """Return what the server remembers, kept beside the study book."""
    experiments = Studio(folder).experiments
    experiments.mkdir(parents=True, exist_ok=True)
    return Access(experiments / "bench.json", shared=shared, now=now)


def serve(
    folder: Path,
    access: Access,
    *,
    bind: str,
    port: int,
    names: Sequence[str] = (),
    address: str = "",
    ready: Callable[[], None],
) -> None:
    """Serve until stopped.

    Raises WrongRequestError when the port is taken.
    """
    from waitress.server import create_server

    app = make_app(folder, access, hosts=(*LOOPBACK, *names), address=address)
    try:
        server = create_server(
            app, host=bind, port=port, threads=THREADS, ident=None, max_request_body_size=26 * 1024 * 1024
        )
    except OSError as error:
        raise WrongRequestError(
            f"Port {port} of {bind} cannot be used: {error.strerror}. Another tilestudy bench may run there; or give --port."
        ) from error
    # one connection stays open: tables are brought up to date before the first visitor, and what others write is not folded
    # into the book's file anew each time one of them closes
    with Studio(folder).book():
        _load(folder)
        ready()
        try:
            server.run()
        finally:
            server.close()


def _load(folder: Path) -> None:
    """Load what is slow to load before the first visitor waits for it."""
    from tilestudy.study.units import stored_unit

    stored_unit("g/L")
    studio = Studio(folder)
    studio.bench_today()
    for name in studio.bench_studies()[:1]:
        with suppress(TilestudyError):  # whoever opens it is told
            studio.bench_run(name, 1)
            studio.bench_board(name)
