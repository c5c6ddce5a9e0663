"""A PostgreSQL server of the tests' own: started by nobody in particular, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

USER = "tester"
PLACES = "/usr/lib/postgresql"  # where Debian's packages put the programs, one folder a version
FAST = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "max_connections=40")


def programs() -> Path | None:
    """Return the folder with the newest `initdb` and `pg_ctl`, or None."""
    folders = sorted(Path(PLACES).glob("*/bin/initdb"), key=lambda p: float(p.parts[-3]))
    if folders:
        return folders[-1].parent
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


def _plain_user() -> str | None:
    """Return a user the server may run as: it refuses to run as root."""
    if os.geteuid():
        return None
    names = {p.pw_name for p in pwd.getpwall()}
    return next(n for n in ("postgres", "nobody") if n in names)


@contextmanager
def server() -> Iterator[str]:
    """Start a server on a socket in a folder of its own; yield its URL without a database."""
    bin_folder, user = programs(), _plain_user()
    assert bin_folder is not None
    memory = Path("/dev/shm")  # a server in memory starts and stops at once
    place = memory if memory.is_dir() and os.access(memory, os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix="ringout-pg-", dir=place))
    if user is not None:
        account = pwd.getpwnam(user)
        os.chown(folder, account.pw_uid, account.pw_gid)
    as_user = {"user": user, "group": account.pw_gid, "extra_groups": []} if user else {}

    def run(*words: str) -> None:
        done = subprocess.run(
            words, cwd=folder, capture_output=True, text=True, check=False, **as_user
        )
        assert done.returncode == 0, done.stdout + done.stderr

    data = folder / "data"
    run(
        str(bin_folder / "initdb"), "-D", str(data), "-U", USER, "-A", "trust", "--no-sync",
        "-E", "UTF8", "--locale=C",
    )  # fmt: skip
    options = " ".join(f"-c {f}" for f in FAST)
    control = str(bin_folder / "pg_ctl")
    log = str(folder / "log")
    run(
        control, "-D", str(data), "-l", log, "-w", "-t", "60",
        "-o", f"-k {folder} -c listen_addresses='' {options}", "start",
    )  # fmt: skip
    try:
        yield f"postgresql://{USER}@/{{name}}?host={folder}"
    finally:
        run(control, "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def emptied(url: str) -> str:
    """Return the URL of the server's own database, with nothing in it."""
    import psycopg

    whole = url.format(name="postgres")
    with psycopg.connect(whole, autocommit=True) as connection:
        connection.execute("DROP SCHEMA public CASCADE")
        connection.execute("CREATE SCHEMA public")
    return whole
