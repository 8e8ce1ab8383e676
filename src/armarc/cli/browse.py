"""``armarc browse``: the log as pages in the browser of this machine."""

from __future__ import annotations

from typing import Annotated

import typer

from armarc.cli.log_options import LogFile, say


def browse(
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for a free one.")] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser.")] = False,
    log_file: LogFile = None,
) -> None:
    """Look through the log in the browser: filter, open reports, compare sets. Only this machine can reach it."""
    import socket

    from armarc.computer import hold_alone, how_to_add
    from armarc.errors import UsageError
    from armarc.log.store import open_log

    try:
        import uvicorn

        from armarc.log.coaching import load_coaching
        from armarc.report.page_server import Entry, make_app
    except ModuleNotFoundError as error:
        if error.name is None or error.name.startswith("armarc"):
            raise
        raise UsageError(f"browsing needs the package {error.name}", how_to_add("web")) from None
    coaching = load_coaching()
    with open_log(log_file, create=False) as store, socket.socket() as listening:
        hold_alone(listening)
        try:
            listening.bind(("127.0.0.1", port))
            # Whoever opens the address before the pages are ready waits instead of being refused.
            listening.listen()
        except OSError as error:
            raise UsageError(
                f"port {port} cannot be used: {error.strerror}", "choose another --port"
            ) from None
        entry = Entry()
        address = f"http://127.0.0.1:{listening.getsockname()[1]}{entry.first_address}"
        typer.echo(address)
        say("The address opens once, in one browser of this machine. Stop with Ctrl-C.")
        if not no_open:
            import webbrowser

            webbrowser.open(address)
        config = uvicorn.Config(
            make_app(store, entry, coaching),
            log_level="warning",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=2,
        )
        uvicorn.Server(config).run(sockets=[listening])
