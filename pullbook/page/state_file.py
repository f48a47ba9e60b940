"""The key and the port of the page of one folder, kept so that bookmarks go on working."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import socket
import stat
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

HOST = "127.0.0.1"
_KEY_BYTES, _LEAST_KEY = 24, 20


class PortError(InputError):
    """No port to listen on."""


@dataclass(frozen=True, slots=True)
class Address:
    """The key and the port of a page."""

    key: str
    port: int

    @property
    def url(self) -> str:
        """The address that opens the page, with its key."""
        return f"http://{HOST}:{self.port}/?key={self.key}"


def state_path(folder: Path | None) -> Path:
    """Return the file that keeps key and port of a folder's page."""
    import platformdirs

    name = "no folder" if folder is None else str(folder.resolve())
    code = hashlib.sha256(name.encode("utf-8", "replace")).hexdigest()[:16]
    return platformdirs.user_state_path("pullbook") / "page" / f"{code}.json"


def read(path: Path) -> Address | None:
    """Return what is kept; ``None`` where nothing is, or what others could read."""
    try:
        if os.name == "posix" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
            return None
        kept = json.loads(path.read_text(encoding="utf-8"))
        found = Address(str(kept["key"]), int(kept["port"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found if len(found.key) >= _LEAST_KEY and 0 < found.port < 65536 else None


def write(path: Path, address: Address, folder: Path | None) -> None:
    """Keep key and port, for the user alone to read."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part = path.with_name(f".{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    record = {"key": address.key, "port": address.port, "folder": str(folder or "")}
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(record, file)
    part.replace(path)


def listen(folder: Path | None, port: int | None) -> tuple[socket.socket, Address]:
    """Return a socket of this machine alone, and the address of the page on it.

    Parameters
    ----------
    folder
        Whose page it is: its key and port of before are taken again, if they can be.
    port
        The port that is asked for; ``None`` for any.

    Raises
    ------
    PortError
        The port that is asked for is taken.

    """
    path = state_path(folder)
    kept = read(path)
    wanted = port if port is not None else (0 if kept is None else kept.port)
    try:
        listening = _bound(wanted)
    except OSError as fault:
        if port is not None:
            msg = (
                f"port {port} of this machine is taken ({fault.strerror}). Name another with"
                " --port, or leave it out"
            )
            raise PortError(msg) from fault
        listening = _bound(0)
    key = secrets.token_urlsafe(_KEY_BYTES) if kept is None else kept.key
    address = Address(key, int(listening.getsockname()[1]))
    write(path, address, folder)
    return listening, address


def _bound(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    return listening
