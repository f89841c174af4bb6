"""A PostgreSQL server of one's own for as long as a test or a benchmark runs."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: The programs of Debian's package are not on the path.
_DEBIAN = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
#: PostgreSQL refuses to run as the administrator; Debian's package brings this account.
_ACCOUNT = "postgres"


def programs() -> Path | None:
    """Folder of the server's programs; None where PostgreSQL is not installed."""
    on_path = shutil.which("initdb")
    candidates = [*_DEBIAN, *([Path(on_path).resolve().parent] if on_path else [])]
    return next((folder for folder in candidates if (folder / "initdb").exists()), None)


@contextmanager
def temporary_server() -> Iterator[str]:
    """Start a server on a socket of its own, and remove it with all it holds at the end.

    Yields
    ------
    str
        Address without the name of a database: ``postgresql://postgres@/{}?host=…``; ``format`` puts it in.
    """
    folder = programs()
    if folder is None:
        raise FileNotFoundError("PostgreSQL is not installed")
    account = _ACCOUNT if hasattr(os, "geteuid") and os.geteuid() == 0 else None

    def run(program: str, *words: str) -> None:
        command = [str(folder / program), *words]
        subprocess.run(command, check=True, user=account, cwd=home, capture_output=True)

    # Not below a folder that only the administrator may enter; a socket's path may have 107 characters at most.
    home = Path(tempfile.mkdtemp(prefix="setstone-server-"))
    try:
        if account is not None:
            shutil.chown(home, account)
        data = str(home / "data")
        run(
            "initdb", "-D", data, "-U", _ACCOUNT, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"
        )
        # What is lost with the power is not missed here.
        settings = f"-c listen_addresses= -c unix_socket_directories={home} -c fsync=off"
        run("pg_ctl", "-D", data, "-w", "-l", str(home / "log"), "-o", settings, "start")
        try:
            yield f"postgresql://{_ACCOUNT}@/{{}}?host={home}"
        finally:
            run("pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home)
