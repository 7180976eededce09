"""Start the app on this machine only and open the browser."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from phototemplate.errors import InputError, InstallationError
from phototemplate.web.access import OPEN_PATH, Keys
from phototemplate.web.app import build_app
from phototemplate.web.open_job import OpenJob

HOST = "127.0.0.1"


def serve(folder: Path, port: int = 0, browser: bool = True, say: Callable[[str], None] = print) -> None:
    """Serve one job folder until Ctrl-C. ``port`` 0 takes a free one.

    Raises ``InputError`` where there is no such folder, ``InstallationError`` where the port is taken.
    """
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}; make it, or give the folder that holds the photos.")
    with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as listener:
        if sys.platform == "win32":  # there SO_REUSEADDR would let another program share the port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:  # elsewhere it allows the port of a server that has just ended
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, port))
        except OSError as exc:
            raise InstallationError(f"Port {port} cannot be used here ({exc.strerror}); choose another with --port.") from exc
        listener.listen(256)  # whoever follows the address at once waits in line
        port = listener.getsockname()[1]
        keys = Keys()
        hosts = frozenset({f"{HOST}:{port}", f"localhost:{port}"})
        app = build_app(OpenJob(folder), hosts, keys, cookie=f"phototemplate-{port}")
        config = uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=1,
                                loop="asyncio", http="h11", ws="none", lifespan="on", proxy_headers=False)
        server = uvicorn.Server(config)
        address = f"http://{HOST}:{port}{OPEN_PATH}?key={keys.start}"
        say(f"phototemplate serves {folder} at {address}")
        say("Close it with Ctrl-C; everything confirmed is already saved.")
        if browser:
            threading.Timer(0.3, webbrowser.open, (address,)).start()
        server.run(sockets=[listener])
