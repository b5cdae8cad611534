"""`bench`: the page for phones and a tablet at the bench."""

from __future__ import annotations

from pathlib import Path

import click

from tilestudy.cli.app import cli, note, tell


@cli.command()
@click.option("--port", default=8765, show_default=True, type=click.IntRange(1, 65535), help="Port to serve on.")
@click.option("--share", is_flag=True, help="Let devices in the room's network in, by a pairing code of one day.")
@click.option(
    "--host", "names", multiple=True, help="A further name or address that the page is asked under (a proxy's)."
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

    folder = Path(ctx.obj)
    access = access_of(folder, shared=share)
    if new_codes:
        access.renew(force=True)
    here = room_address() if share else ""
    address = f"http://{here or '127.0.0.1'}:{port}"

    def ready() -> None:
        if share:
            _tell_codes(address, access.code("scorer"), access.code("keeper"), f"{access.until.astimezone():%H:%M}")
        else:
            tell(f"The bench page is at {address}, for this computer only. --share lets the room in.")
        note("Ctrl-C stops it.")

    serve(folder, access, bind="0.0.0.0" if share else "127.0.0.1", port=port, names=(*names, here), ready=ready)


def _tell_codes(address: str, scorer: str, keeper: str, until: str) -> None:
    import segno

    code = segno.make(f"{address}/pair?code={scorer}", micro=False, error="m")
    code.terminal(compact=True)
    tell(f"The bench page is at {address}. Scan the code, or open the address and type: {scorer}")
    tell(f"Keeper's code, for yourself only: {keeper}")
    tell(
        f"Both hold until {until} tomorrow. Traffic is not encrypted: use the room's own network, and see docs/how-to/bench-page.md."
    )
    tell(f'So that the codes on printed labels open here: bench_address = "{address}" in experiments/studio.toml.')
