"""Starting the page."""

from __future__ import annotations

import secrets
import socket
import tempfile
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from html import escape
from pathlib import Path

import uvicorn

from pipeline.errors import MatlineError
from pipeline.library import Library
from pipeline.review.app import create_app
from pipeline.settings import ReviewSettings

HOST = "127.0.0.1"


def _print_at_once(line: str) -> None:
    """Print a line that whoever reads it from a pipe has to see before the server ends."""
    print(line, flush=True)


def serve(
    library_root: Path | None = None,
    port: int = 0,
    *,
    bout_id: str | None = None,
    open_browser: bool = True,
    settings: ReviewSettings | None = None,
    say: Callable[[str], None] = _print_at_once,
) -> None:
    """Show a library in the browser until interrupted.

    Parameters
    ----------
    library_root : Path, optional
        By default the user's own library.
    port : int
        0 takes any free one.
    bout_id : str, optional
        Open this bout rather than the list.
    open_browser : bool
        Whether to open the page, besides printing its link.
    say : callable
        Gets the link, then how to stop, a line each.

    Raises
    ------
    MatlineError
        If the port is taken or the library can't be used.
    """
    library = Library(library_root)
    token = secrets.token_urlsafe(32)
    path = f"/bouts/{library.bout(bout_id).id}" if bout_id else "/"
    app = create_app(library, token, settings)
    with _listening(port) as listener, ExitStack() as stack:
        link = f"http://{HOST}:{listener.getsockname()[1]}{path}#token={token}"
        say(f"The page is at {link}")
        say("Ctrl C stops it; every correction is saved at once.")
        if open_browser:
            stack.enter_context(_opened(link))
        # A browser keeps connections open; on Ctrl-C we don't wait for it.
        config = uvicorn.Config(
            app,
            log_level="warning",
            server_header=False,
            lifespan="off",
            timeout_graceful_shutdown=1,
        )
        uvicorn.Server(config).run(sockets=[listener])


@contextmanager
def _opened(link: str) -> Iterator[None]:
    """Open a link in the browser by way of a file that only this user can read.

    What stands on a command line, everyone on the machine can read while the program runs.
    """
    page = f'<!doctype html><meta http-equiv="refresh" content="0; url={escape(link)}">'
    with tempfile.TemporaryDirectory(prefix="matline-") as folder:
        path = Path(folder) / "open.html"
        path.touch(mode=0o600)
        path.write_text(f'{page}<a href="{escape(link)}">Matline</a>', encoding="utf-8")
        webbrowser.open(path.as_uri())
        yield


def _listening(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((HOST, port))
    except (OSError, OverflowError) as error:
        listener.close()
        why = str(error).rstrip(".")
        raise MatlineError(
            f"Port {port} can't be used ({why}); choose another or 0 for any free one."
        ) from error
    listener.listen()
    return listener
