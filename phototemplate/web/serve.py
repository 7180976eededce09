"""Start the app on this machine only and open the browser."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import html
import os
import secrets
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path

import platformdirs
import uvicorn

from phototemplate.errors import InputError, InstallationError
from phototemplate.web.access import OPEN_PATH, Keys
from phototemplate.web.app import build_app
from phototemplate.web.constants import HANDED_OVER_S, MIN_KEY
from phototemplate.web.workspace import Workspace, is_job

HOST = "127.0.0.1"
FIRST_PORT, PORTS = 49152, 16000
"""The ports that nobody is registered for (RFC 6335)"""


def workspace_of(folder: Path) -> Workspace:
    """What is shown for a folder: a job is opened; a folder of jobs, or an empty one, shows the first page.

    A folder that does not exist is not made: the first page of the folder above asks whether a job of that name is wanted.
    Raises ``InputError`` where the folder above does not exist either.
    """
    place = folder.resolve()
    if is_job(place):
        return Workspace(place.parent, open_name=place.name)
    if place.is_dir():
        return Workspace(place)
    if place.parent.is_dir():
        return Workspace(place.parent, wanted=place.name)
    raise InputError(f"There is no folder {folder.parent}; give the folder that holds the job, or the folder of all jobs.")


def serve(folder: Path, port: int = 0, browser: bool = True, say: Callable[[str], None] = print) -> None:
    """Serve a job, or a folder of jobs, until Ctrl-C. ``port`` 0 takes one that is the same at every start, where it is free.

    Raises ``InputError`` where there is no such folder, ``InstallationError`` where the port is taken.
    """
    workspace = workspace_of(folder)
    with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_STREAM)) as listener:
        if sys.platform == "win32":  # there SO_REUSEADDR would let another program share the port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:  # elsewhere it allows the port of a server that has just ended
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        _bind(listener, port, workspace.folder)
        listener.listen(256)  # whoever follows the address at once waits in line
        port = listener.getsockname()[1]
        keys = remembered_keys(workspace.folder)
        hosts = frozenset({f"{HOST}:{port}", f"localhost:{port}"})
        app = build_app(workspace, hosts, keys, cookie=f"phototemplate-{port}")
        config = uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=1,
                                loop="asyncio", http="h11", ws="none", lifespan="on", proxy_headers=False)
        server = uvicorn.Server(config)
        address = f"http://{HOST}:{port}{OPEN_PATH}?key={keys.start}"
        say(f"phototemplate serves {folder} at {address}")
        say("Close it with Ctrl-C; everything confirmed is already saved.")
        with handed_over(workspace.folder, address) as page:
            if browser and page is None:
                say("Open that address in the browser.")
            elif browser and page is not None:
                threading.Timer(0.3, webbrowser.open, (page.as_uri(),)).start()
            with contextlib.suppress(KeyboardInterrupt, asyncio.CancelledError):
                server.run(sockets=[listener])


@contextlib.contextmanager
def handed_over(folder: Path, address: str) -> Iterator[Path | None]:
    """A page, readable by this user alone, that leads the browser to ``address``; None where it cannot be written.

    The address holds the start key. On the browser's command line every user of the machine could read it in the list of
    processes. The page stands in the folder that is served, since browsers that run confined may not read hidden places.
    """
    for old in folder.resolve().glob(".open-*.html"):  # of a start that was killed; its key opens nothing any more
        with contextlib.suppress(OSError):
            if time.time() - old.stat().st_mtime > HANDED_OVER_S:
                old.unlink()
    path = folder.resolve() / f".open-{secrets.token_hex(4)}.html"
    text = f'<!doctype html><meta http-equiv="refresh" content="0;url={html.escape(address)}"><title>phototemplate</title>'
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write(text)
    except OSError:
        path.unlink(missing_ok=True)
        yield None
        return
    try:
        yield path
    finally:
        path.unlink(missing_ok=True)


def _bind(listener: socket.socket, port: int, folder: Path) -> None:
    """Take the port asked for, or that of the folder, so that a page of an earlier start finds the app again."""
    usual = FIRST_PORT + int.from_bytes(hashlib.sha256(str(folder).encode()).digest()[:2], "big") % PORTS
    for one in [port] if port else [usual, 0]:
        try:
            listener.bind((HOST, one))
            return
        except OSError as exc:
            if one == port:
                raise InstallationError(
                    f"Port {port} cannot be used here ({exc.strerror}); choose another with --port."
                ) from exc


def remembered_keys(folder: Path) -> Keys:
    """Keys of a start, with the cookie that pages of earlier starts for this folder have already.

    It is kept for this user only (mode 0600); where it cannot be kept, it is new at every start.
    """
    keys = Keys()
    path = platformdirs.user_state_path("phototemplate") / "cookies" / hashlib.sha256(str(folder).encode()).hexdigest()[:24]
    try:
        if path.is_file() and len(kept := path.read_text(encoding="utf-8").strip()) >= MIN_KEY:
            keys.session = kept
        else:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
                file.write(keys.session)
    except OSError:
        return keys
    return keys

