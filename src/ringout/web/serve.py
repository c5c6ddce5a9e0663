"""The bench as a server: where it listens, the code it asks for, the browser it opens."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ringout.web.app import LOOPBACK, create_app
from ringout.web.doors import App, Keys, new_code
from ringout.web.ending import ENDING

FIRST_PORT = 8741
TRIED = 20
BACKLOG = 128
SCHEME = "http"


@dataclass(frozen=True, slots=True)
class Place:
    """Where the bench listens.

    Args:
        socket: bound and ready.
        url: what a browser on this machine opens.
        closed: only this machine can reach it.
    """

    socket: socket.socket
    url: str
    closed: bool


def take_place(host: str, port: int | None) -> Place:
    """Return a bound socket.

    Args:
        host: address or name to listen on.
        port: the port; None: the first free one from `FIRST_PORT` on.

    Raises:
        OSError: the address is not one of this machine, or the port is taken.
    """
    family, _, _, _, at = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)[0]
    ports = range(FIRST_PORT, FIRST_PORT + TRIED) if port is None else (port,)
    problem: OSError | None = None
    for wanted in ports:
        # told to be TCP, so that answers are not held back until the browser has acknowledged
        made = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((str(at[0]), wanted))
            made.listen(BACKLOG)  # a browser that is early waits, and is not turned away
        except OSError as error:
            made.close()
            problem = error
            continue
        given = int(made.getsockname()[1])
        address = ipaddress.ip_address(str(at[0]))
        name = "127.0.0.1" if address.is_unspecified else host
        shown = f"[{name}]" if ":" in name else name
        return Place(made, f"{SCHEME}://{shown}:{given}/", address.is_loopback)
    assert problem is not None
    raise problem


def run_server(
    path: str,
    place: Place,
    *,
    host: str,
    tell: Callable[[str], None],
    records: str | None = None,
) -> None:
    """Serve a cell file, or a folder of them, until the process is told to stop.

    Args:
        path: the cell file or folder.
        place: where to listen; the benches of a folder take free ports besides.
        host: as it was asked for.
        tell: called with each one-time code, as it is to be typed.
        records: URL of the database of records; None for the file beside the cell.

    Raises:
        OSError: there are no free ports for the benches of a folder.
    """
    import uvicorn

    def code(text: str) -> None:
        tell(f"{text[:4]}-{text[4:]}")

    keys = Keys() if place.closed else Keys(code=new_code(), tell=code)
    if keys.code:
        code(keys.code)
    port = int(place.socket.getsockname()[1])
    names = names_of(host, closed=place.closed)
    sockets = [place.socket]
    app: App
    if Path(path).is_dir():
        from ringout.records import cells_in
        from ringout.web.folder import Folder, create_index

        cells: dict[int, str] = {}
        for entry in cells_in(path, records, judged=False):
            own = take_place(host, 0).socket
            sockets.append(own)
            cells[int(own.getsockname()[1])] = entry.path
        index = create_index(path, cells, keys=keys, names=names, port=port, records=records)
        app = Folder((port, index), cells, keys, names, records)
    else:
        app = create_app(path, names=names, port=port, keys=keys, records=records)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        ws="none",
        http="h11",
        loop="asyncio",
        lifespan="off",
        limit_concurrency=256,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=2,  # nothing may hold up Ctrl-C
    )

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            ENDING.set()  # streams end now, and are not cut off with a traceback
            await super().shutdown(sockets)

    Server(config).run(sockets=sockets)


def names_of(host: str, *, closed: bool) -> tuple[str, ...]:
    """Return the names a bench answers to: its own, and numeric ones where it is open to all."""
    if closed:
        return LOOPBACK
    unspecified = host in ("", "0.0.0.0", "::")  # noqa: S104  # asked for by the person
    return (*LOOPBACK, "*", socket.gethostname()) if unspecified else (*LOOPBACK, host)
