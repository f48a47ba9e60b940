"""A bundle met for the first time is tried in a process of its own, which may die of it.

Whatever was overlooked in it then ends in a sentence. The digest of a bundle that passed is kept in
the user's state folder, so that it is tried once and loads as fast as before from then on.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import subprocess
import sys
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from pullbook.model.bundles.bundle_folder import BundleError

if TYPE_CHECKING:
    from collections.abc import Callable

#: Packages whose version decides what a bundle does here.
_PACKAGES = ("lightgbm", "numpy", "pandas", "pullbook", "pyarrow")
#: Longest time a trial may take, s, and most memory beyond what the libraries take, bytes.
_SECONDS, _BYTES = 120, 300_000_000
_REFUSED = 3
_CODE = "from pullbook.model.training import bundle; bundle.replay()"


def _record(digest: str) -> Path:
    made_of = [digest, platform.python_version(), *(f"{one} {version(one)}" for one in _PACKAGES)]
    name = hashlib.sha256("\n".join(made_of).encode()).hexdigest()
    return platformdirs.user_state_path("pullbook") / "bundles" / name


def remember(digest: str) -> None:
    """Note that a bundle, named by the digest of its manifest, does no harm here."""
    path = _record(digest)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.touch(mode=0o600)
    except OSError:
        return  # it is tried again the next time


def is_known(digest: str) -> bool:
    """Return whether a bundle was tried here before, with the same libraries."""
    return _record(digest).is_file()


def _came_along(folder: Path) -> bool:
    """Return whether a bundle is the one that is installed with the program, and as trusted."""
    package = resources.files("pullbook")
    return isinstance(package, Path) and folder.resolve() == (package / "invented").resolve()


def meet(folder: Path, digest: str) -> None:
    """Try a bundle in a process of its own, unless it was tried before.

    Raises
    ------
    BundleError
        It is refused there, gives other curves than where it was trained, or ends the process.

    """
    if is_known(digest) or _came_along(folder):
        return
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    damaged = f"the bundle {folder} is damaged ({{}}); train it again or copy it again"
    try:
        # -P: no module is taken from the folder that one happens to stand in.
        done = subprocess.run(  # noqa: S603 - our own program, no shell
            [sys.executable, "-P", "-c", _CODE],
            input=json.dumps([os.fsdecode(folder.resolve()), digest]).encode(),
            capture_output=True,
            timeout=_SECONDS,
            env=environment,
            check=False,
        )
    except subprocess.TimeoutExpired as fault:
        raise BundleError(damaged.format(f"not read within {_SECONDS} s")) from fault
    if done.returncode == _REFUSED:
        raise BundleError(done.stdout.decode("utf-8", "replace"))
    if done.returncode != 0:
        raise BundleError(damaged.format("it brought down the process that tried it"))
    remember(digest)


def in_trial(load: Callable[[Path, str], None]) -> None:
    """Be the process of a trial: load the bundle that is named on standard input, and say why not.

    What is not a refusal of ours ends this process, and that is said of the bundle.
    """
    folder, digest = json.loads(sys.stdin.buffer.read())
    _limit()
    try:
        load(Path(folder), digest)
    except BundleError as fault:
        sys.stdout.buffer.write(str(fault).encode("utf-8", "replace"))
        sys.stdout.flush()
        os._exit(_REFUSED)


def _limit() -> None:
    """Limit time, memory and files written; where the system cannot, only the time is limited."""
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    limits = {"RLIMIT_CPU": _SECONDS, "RLIMIT_CORE": 0, "RLIMIT_FSIZE": 0}
    taken = Path("/proc/self/statm")
    if taken.is_file():
        pages = int(taken.read_text(encoding="ascii").split()[5])  # data and stacks
        limits["RLIMIT_DATA"] = pages * resource.getpagesize() + _BYTES
    for name, most in limits.items():
        if (kind := getattr(resource, name, None)) is not None:
            resource.setrlimit(kind, (most, most))
