"""Read arrays of numbers and texts from an archive, knowing the size of each before it is read."""

from __future__ import annotations

import io
import math
import zipfile
import zlib
from typing import Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from pullbook.schemas.errors import PullbookError

#: What a damaged archive makes the library raise.
_DAMAGED = (
    ValueError, OSError, EOFError, KeyError, NotImplementedError, RuntimeError, SyntaxError,
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error,
)  # fmt: skip
Arrays = dict[str, NDArray[Any]]
_ENDING = ".npy"
_MOST_ARRAYS, _MOST_DIMENSIONS, _MOST_HEADER = 2000, 2, 2000
#: Most bytes of one text: four a character.
_TEXT_BYTES = 4 * 400
_KINDS = {"f": 8, "i": 8, "b": 1}
#: No number of ours comes near to this; its square can still be written.
_LARGEST = 1e12


class ArraysError(PullbookError, ValueError):
    """An archive of arrays that is damaged, or holds what is not read."""


def read(data: bytes, most: int) -> Arrays:
    """Return the arrays of an archive by name: finite numbers, whole numbers, yes or no, texts.

    Parameters
    ----------
    data
        The archive.
    most
        Most bytes of all arrays together.

    Raises
    ------
    ArraysError
        It holds anything else, or more.

    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _unpacked(archive, most)
    except _DAMAGED as fault:
        raise ArraysError(str(fault)) from fault


def _unpacked(archive: zipfile.ZipFile, most: int) -> Arrays:
    arrays: Arrays = {}
    entries = archive.infolist()
    if len(entries) > _MOST_ARRAYS or sum(one.file_size for one in entries) > most:
        msg = "it is too large unpacked"
        raise ValueError(msg)
    for entry in entries:
        name = entry.filename.removesuffix(_ENDING)
        if name in arrays or name == entry.filename:
            msg = f"{entry.filename!r} is no array, or there twice"
            raise ValueError(msg)
        with archive.open(entry) as file:
            arrays[name] = _array(file.read(entry.file_size), name)
    return arrays


def _array(data: bytes, name: str) -> NDArray[Any]:
    file = io.BytesIO(data)
    if npy.read_magic(file) != (1, 0):
        msg = f"{name} is an array of another kind"
        raise ValueError(msg)
    shape, columns_first, dtype = npy.read_array_header_1_0(file, max_header_size=_MOST_HEADER)
    text = dtype.kind == "U" and dtype.itemsize <= _TEXT_BYTES
    if (
        dtype.hasobject
        or dtype.byteorder == ">"
        or not (text or _KINDS.get(dtype.kind) == dtype.itemsize)
        or len(shape) > _MOST_DIMENSIONS
        or any(size < 0 for size in shape)
        or math.prod(shape) * dtype.itemsize != len(data) - file.tell()
    ):
        msg = f"{name} is not an array of the kind and size that it says"
        raise ValueError(msg)
    flat = np.frombuffer(data, dtype, offset=file.tell())
    array = flat.reshape(shape, order="F" if columns_first else "C").copy(order="K")
    if dtype.kind == "f" and not bool((np.abs(array) <= _LARGEST).all()):
        msg = f"{name} holds a number that is not finite"
        raise ValueError(msg)
    return array
