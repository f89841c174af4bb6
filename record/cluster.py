"""Work on a Dask cluster: pieces are sent to it, and their results come back in order."""

import gc
import sys
import warnings
from collections import deque
from collections.abc import Callable, Generator, Iterator
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from setstone import __version__
from setstone.record.errors import BookError

if TYPE_CHECKING:
    from distributed import Client, Future

_Piece = TypeVar("_Piece")
_Given = TypeVar("_Given")
_Result = TypeVar("_Result")

#: Seconds to wait for a connection, and between two looks whether there is a worker left.
_CONNECTION_S, _LOOK_S = 5, 10

_LOST = (
    "what was examined until then is in the book; give the same command again, and it goes on with the rest"
)


class System(NamedTuple):
    """What a worker and this computer must have in common."""

    setstone: str
    python: str
    platform: str

    @classmethod
    def here(cls) -> "System":
        """Of the process that asks."""
        return cls(__version__, "{}.{}".format(*sys.version_info), sys.platform)

    def __str__(self) -> str:
        return f"setstone {self.setstone} on Python {self.python}, {self.platform}"


def on_cluster(
    address: str,
    work: Callable[[_Piece, _Given], _Result],
    pieces: Iterator[tuple[_Piece, _Given]],
    *,
    killed: _Result,
) -> Generator[tuple[_Piece, _Result], None, None]:
    """Do pieces of work on a cluster; the worker that dies is replaced by another, which begins the piece again.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``"tcp://host:8786"``.
    work : callable
        A function of a module; must not raise.
    pieces : iterator
        Of its two arguments; taken as the cluster has room for them.
    killed : object
        The result of a piece that several workers died of.

    Yields
    ------
    tuple
        The piece and its result, in the order of the pieces. Closing the generator ends the work.

    Raises
    ------
    BookError
        When the extra is missing, the cluster cannot be reached, has no workers or other versions, or is lost.
    """
    client = _connected(address)
    running: deque[tuple[_Piece, Future[_Result]]] = deque()
    try:
        room = 2 * _workers_fit(client, address)
        while True:
            while len(running) < room and (piece := next(pieces, None)) is not None:
                # Not `scatter`: what lies on one worker only is lost with it.
                running.append((piece[0], client.submit(work, *piece, pure=False)))
            if not running:
                return
            yield running[0][0], _result(client, running[0][1], address, killed)
            running.popleft()
    finally:
        if client.status == "running":
            client.cancel([future for _, future in running])
        client.close(timeout=_CONNECTION_S)


def _connected(address: str) -> "Client":
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise BookError(
            "A cluster needs the extra 'dask', which is not installed here: pip install 'setstone[dask]'."
        ) from error
    # Photographs go along with each piece on purpose.
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "10 GiB"})
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what differs is told below, in one sentence
            return Client(address, timeout=_CONNECTION_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError):
        pass
    # The client that never came to life is ended here: while the next one begins, it would wait for a lock that one holds.
    gc.collect()
    raise BookError(
        f"No cluster answers at '{address}'; start 'dask scheduler' there, or correct the address (tcp://host:8786)."
    )


def _workers_fit(client: "Client", address: str) -> int:
    """How many pieces the workers do at once; raises where they cannot do them."""
    try:
        systems: dict[str, System] = client.run(System.here)
    except Exception as error:
        raise BookError(
            f"The workers of the cluster at '{address}' cannot run setstone ({error}); "
            f"install there what is here: {System.here()}."
        ) from error
    if not systems:
        raise BookError(f"The cluster at '{address}' has no workers; start some: dask worker {address}")
    for worker, system in systems.items():
        if system != System.here():
            raise BookError(
                f"The worker {worker} has {system}; here is {System.here()}. Results would differ; install the same on all."
            )
    return sum(client.nthreads().values())


def _result(client: "Client", future: "Future[_Result]", address: str, killed: _Result) -> _Result:
    from distributed import KilledWorker

    while True:
        try:
            return future.result(timeout=_LOOK_S)
        except KilledWorker:
            return killed
        except TimeoutError:
            if not client.nthreads():
                raise BookError(f"No worker of the cluster at '{address}' is left; {_LOST}.") from None
        except Exception as error:  # of the connection: `work` raises nothing
            raise BookError(f"The cluster at '{address}' was lost ({error}); {_LOST}.") from error
