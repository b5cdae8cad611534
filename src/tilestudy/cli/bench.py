"""`bench`: the page for phones and a tablet at the bench."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from tilestudy.cli.app import cli, note, tell


@cli.command()
@click.option("--port", default=8765, show_default=True, type=click.IntRange(1, 65535), help="Port to serve on.")
@click.option("--share", is_flag=True, help="Let devices in the room's network in, by a pairing code of one day.")
@click.option(
    "--host",
    "names",
    multiple=True,
    help="Name under which a server in front (TLS) passes requests on; then only that server reaches the page.",
)
@click.option("--new-codes", is_flag=True, help="Deal new codes; devices paired before must pair again.")
@click.pass_context
def bench(ctx: click.Context, port: int, share: bool, names: tuple[str, ...], new_codes: bool) -> None:
    """Serve a page for the bench: run sheet with timers, rub scores, photos, the sample board.

    Without --share only this computer reaches it. Stop it with Ctrl-C; nothing that was saved is lost.

    \b
    Examples:
      tilestudy bench
      tilestudy bench --share
    """
    from tilestudy.bench.serve import access_of, room_address, serve

    if names and not share:
        raise click.UsageError(
            "--host is for a server in front of the page. Add --share, so that its visitors need a code."
        )
    access = access_of(Path(ctx.obj), shared=share)
    here = room_address() if share and not names else ""
    address = f"https://{names[0]}" if names else f"http://{here or '127.0.0.1'}:{port}"

    def tell_codes() -> None:
        _tell_codes(address, access.code("scorer"), access.code("keeper"), access.until)

    def ready() -> None:
        if new_codes:
            access.renew(force=True)
        if share:
            tell_codes()
            access.renewed = tell_codes  # a page that runs over night deals new ones
        else:
            tell(f"The bench page is at {address}, for this computer only. --share lets the room in.")
        if names:
            tell(f"It answers on 127.0.0.1:{port} only: let the server in front pass requests on to that.")
        note("Ctrl-C stops it.")

    bind = "0.0.0.0" if share and not names else "127.0.0.1"
    serve(Path(ctx.obj), access, bind=bind, port=port, names=(*names, here), address=address, ready=ready)


def _tell_codes(address: str, scorer: str, keeper: str, until: datetime) -> None:
    import segno

    code = segno.make(f"{address}/pair?code={scorer}", micro=False, error="m")
    code.terminal(compact=True)
    tell(f"The bench page is at {address}. Scan the code, or open the address and type: {scorer}")
    tell(f"Keeper's code, for yourself only: {keeper}")
    tell(
        f"Both hold until {until:%H:%M on %Y-%m-%d}. Traffic is not encrypted: use the room's own network, and see docs/how-to/bench-page.md."
    )
    tell(f'So that the codes on printed labels open here: bench_address = "{address}" in experiments/studio.toml.')
