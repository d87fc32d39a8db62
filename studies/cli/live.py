"""The command that serves the live page on this machine."""

from __future__ import annotations

import webbrowser
from importlib.util import find_spec
from typing import Annotated

import typer

from domemargin.profiles.errors import InputError


def live(
    profile: Annotated[
        str,
        typer.Argument(
            metavar="[PROFILE]", help="A profile file (TOML) or a ready profile.", show_default=True
        ),
    ] = "north",
    require: Annotated[
        str | None, typer.Option(metavar="PRESSURE", help='Pressure to hold, such as "90 psi".')
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """A page to drag a dimension and watch the pressure."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.options import required_pressure

    bottom = load_profile(profile)
    required = None if require is None else required_pressure(require, "--require")
    if find_spec("bokeh") is None:
        raise InputError("the live page needs the extra `live`: pip install 'domemargin[live]'")

    from domemargin.studies.live.server import live_server
    from domemargin.studies.text.printing import announce_compiling

    announce_compiling()
    server, link = live_server(bottom, required)
    server.start()
    print(f"Live page, for this machine only:\n{link}\nCtrl+C ends it.", flush=True)
    if browser:
        server.io_loop.add_callback(webbrowser.open, link)
    try:
        server.run_until_shutdown()
    except KeyboardInterrupt:
        print("ended")
