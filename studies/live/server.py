"""The server of the live page: this machine only, a token in the link, known origins only.

Nothing that a page sends is used as a path, and the server writes no file.
"""

from __future__ import annotations

import hmac
import logging
import secrets
import socket
from collections.abc import Callable
from importlib import resources
from typing import Any
from urllib.parse import urlencode

from bokeh.application import Application
from bokeh.application.handlers.function import FunctionHandler
from bokeh.document import Document
from bokeh.server.auth_provider import AuthProvider
from bokeh.server.server import Server
from jinja2 import Environment
from tornado.web import HTTPError

from domemargin.profiles import InputError, Profile
from domemargin.studies.live.desk import desk_of, required_of
from domemargin.studies.live.fields import GROUPS
from domemargin.studies.live.link import unpacked
from domemargin.studies.live.tab import Tab

HOST = "127.0.0.1"  # the loopback address: no other machine can reach it
PAGE = "/bottom"
MOST_MESSAGE = 1_000_000  # bytes of a message from a page; a larger one ends that tab only


class Token(AuthProvider):
    """Lets in who has the token, in the link or in the cookie that the link leaves; status 403 for
    all others, also for a web socket, before anything is opened.

    The cookie bears the port's name, since cookies are shared by all ports of a machine.
    """

    def __init__(self, token: str, port: int) -> None:
        self._token, self._cookie = token, f"domemargin_{port}"
        self._host = f"{HOST}:{port}"
        super().__init__()

    @property
    def get_user_async(self) -> Callable[[Any], Any]:
        """Judges a request."""
        return self._judge

    async def _judge(self, handler: Any) -> str:
        given = handler.get_argument("token", "") or handler.get_cookie(self._cookie, "")
        right = hmac.compare_digest(str(given).encode(), self._token.encode())
        # a foreign name that leads to this machine (DNS rebinding) is turned away
        if handler.request.host != self._host or not right:
            raise HTTPError(403, reason="This page opens with the whole link of the command")
        handler.set_cookie(self._cookie, self._token, httponly=True, samesite="Strict")
        return "here"

    get_user = None
    get_login_url = None
    login_url = "/closed"
    login_handler = None
    logout_url = None
    logout_handler = None


def page_source(name: str) -> str:
    """A file of the page: "page.html.j2", "page.css" or "page.js"."""
    return (resources.files("domemargin.studies.live") / name).read_text(encoding="utf-8")


def live_server(profile: Profile, required: float | None = None) -> tuple[Server, str]:
    """A server that is not yet running, and the link to its page.

    profile : the bottom a tab begins with.  required : MPa or None.
    Raises OSError where no port can be had.
    """
    for name in ("bokeh", "tornado"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    template = Environment(autoescape=True).from_string(page_source("page.html.j2"))
    style, script = page_source("page.css"), page_source("page.js")

    def open_tab(document: Document) -> None:
        desk, trouble = desk_of(profile, required), ""
        arguments = document.session_context.request.arguments  # type: ignore[union-attr]

        def argument(name: str) -> str:
            return b"".join(arguments.get(name, [])[:1]).decode("utf-8", "replace")

        try:
            bottom = unpacked(argument("bottom")) if argument("bottom") else profile
            asked = required_of(argument("require")) if argument("require") else required
            desk = desk_of(bottom, asked)
        except InputError as error:
            trouble = str(error)
        document.title = "domemargin: live bottom"
        document.template = template
        document.template_variables.update(
            style=style, script=script, groups=GROUPS, trouble=trouble, required=_psi(desk.required)
        )
        Tab(document, desk).open()

    port = _free_port()
    token = secrets.token_urlsafe(24)
    server = Server(
        {PAGE: Application(FunctionHandler(open_tab))},
        address=HOST,
        port=port,
        allow_websocket_origin=[f"{HOST}:{port}"],
        auth_provider=Token(token, port),
        sign_sessions=True,
        secret_key=secrets.token_bytes(32),
        include_headers=[],
        include_cookies=[],
        websocket_max_message_size=MOST_MESSAGE,
        http_server_kwargs={"max_body_size": MOST_MESSAGE, "max_buffer_size": 2 * MOST_MESSAGE},
        use_index=False,
        redirect_root=False,
    )
    return server, f"http://{HOST}:{port}{PAGE}?{urlencode({'token': token})}"


def _psi(required: float | None) -> str:
    from domemargin.profiles.units import PSI

    return "" if required is None else f"{required / PSI:.6g} psi"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])
