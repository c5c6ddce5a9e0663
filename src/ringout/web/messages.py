"""What the bench and its reckoner say to each other, pickled, each thing behind its length."""

from __future__ import annotations

import pickle
import struct
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ringout.cell.model import Cell

_HEAD = struct.Struct(">Q")


@dataclass(frozen=True, slots=True)
class Order:
    """One job.

    Args:
        cell: the cell; None when it is the one of the order before.
        kind: name of the job, one of `JOBS`.
        args: what it needs beside the cell.
    """

    cell: Cell | None
    kind: str
    args: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Word:
    """What the reckoner says of its job: `progress`, `done` or `failed`."""

    kind: str
    done: int = 0
    total: int = 0
    result: Any = None
    trouble: str = ""


def put(pipe: IO[bytes], thing: object) -> None:
    """Write one thing to a pipe."""
    data = pickle.dumps(thing, pickle.HIGHEST_PROTOCOL)
    pipe.write(_HEAD.pack(len(data)) + data)
    pipe.flush()


def take(pipe: IO[bytes]) -> Any:
    """Return the next thing from a pipe.

    Raises:
        EOFError: the other end is gone.
    """
    head = pipe.read(_HEAD.size)
    if len(head) < _HEAD.size:
        raise EOFError
    (length,) = _HEAD.unpack(head)
    data = pipe.read(length)
    if len(data) < length:
        raise EOFError
    return pickle.loads(data)  # noqa: S301  # both ends are ours
