"""A Dask cluster: photos worked on by other computers.

Workers run whatever they are sent and this program believes what they answer, so all of it goes through TLS, where each
side shows a certificate, or does not leave this computer.
"""

import logging
import os
import tempfile
import time
import warnings
from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path
from threading import Thread
from urllib.parse import urlsplit

from grader.errors import ClusterError, PhotoError, SettingsError
from grader.files import regular_bytes
from grader.looks import Ask
from grader.photo import memory
from grader.photo.file import content_hash
from grader.workers.build import build, difference
from grader.workers.workers import Unseen, Work

#: What a cluster needs beside the commands.
EXTRA = "--cluster needs more: pip install 'stone-face-grader[cluster]'"
#: So long is waited for an address to answer.
ANSWERS_S = 4.0
#: How often it is looked who is in the cluster, and after how many looks in vain nobody will come back: looks and no
#: time, for a computer that slept has missed nothing.
LOOK_ROUND_S, MOST_IN_VAIN = 5.0, 12
#: Whoever holds a certificate of the first signs as one of us; the other two are one's own.
CERTIFICATES = ("ca.pem", "cert.pem", "key.pem")
#: No photo that is sent is larger.
_MOST_BYTES = 4_000_000_000


class Cluster:
    """The workers of a Dask scheduler, from ``with`` to its end.

    Parameters
    ----------
    address : of the scheduler, as ``tls://192.168.1.20:8786``, or on this computer ``127.0.0.1:8786``.
    certificates : folder with ``ca.pem``, ``cert.pem`` and ``key.pem``, for an address with TLS.

    Raises
    ------
    SettingsError
        Dask is not installed, no address, one that is open to others, no certificates: one line each.
    ClusterError
        None answers there, no worker, or one with another version of the tool: one line each.
    """

    def __init__(self, address: str, certificates: Path | None = None) -> None:
        self.address = whole_address(address)
        security = _security(self.address, certificates)
        self._client = _connected(self.address, security)
        self._tasks = self._client.get_executor(pure=False, retries=0)
        self._looked = time.monotonic()
        self._places = self._in_vain = 0
        try:
            self._look_round()
            if not self._places:
                raise ClusterError(
                    f"{self.address}: no worker there; start some with dask worker {self.address}"
                )
            self._check_builds()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Leave the cluster; what was not done there is dropped."""
        self.stop()
        self._client.close(timeout=ANSWERS_S)

    @property
    def at_once(self) -> int:
        """One in hand and one in reach for each worker."""
        return 2 * max(self._places, 1)

    def at_most(self, jobs: int) -> "Cluster":
        return self

    def submit(self, work: Work, ask: Ask, *, sent: bool) -> Future:
        self.check()
        content = None
        if sent:
            try:
                content = regular_bytes(ask.path, _MOST_BYTES)
            except OSError as err:
                return _done(PhotoError(f"{ask.file}: cannot be sent ({err.strerror})", "missing"))
        return self._tasks.submit(work_there, build(), work, ask, content)

    def check(self) -> None:
        """Return if somebody is there.

        Raises
        ------
        ClusterError
            The scheduler has gone, its workers have and none came back, or somebody joined who is not to be trusted.
        """
        if self._client.status != "running":
            raise ClusterError(self._lost("the cluster has gone"))
        if time.monotonic() - self._looked > LOOK_ROUND_S:
            self._look_round()
        if self._in_vain > MOST_IN_VAIN:
            raise ClusterError(self._lost("no worker is left"))

    def stop(self) -> None:
        if self._client.status == "running":
            self._tasks.shutdown(wait=False)
            self._tasks = self._client.get_executor(pure=False, retries=0)

    def _lost(self, what: str) -> str:
        return f"{self.address}: {what}; what was measured is kept: see to it and run this again"

    def _look_round(self) -> None:
        """Count who is there; refuse addresses that others can listen at."""
        try:
            info = self._client.scheduler_info(n_workers=-1)
        except OSError as err:
            raise ClusterError(self._lost("the cluster has gone")) from err
        for address in (info["address"], *info["workers"]):
            if not is_safe(address):
                raise ClusterError(
                    f"{address}: is open to the network without TLS; begin the scheduler and the workers with "
                    "certificates, or on this computer alone with --host 127.0.0.1"
                )
        for address, worker in info["workers"].items():
            if worker["nthreads"] != 1:
                raise ClusterError(
                    f"{address}: works on {worker['nthreads']} photos at a time; begin workers with "
                    "--nworkers=-1 --nthreads 1"
                )
        self._places = len(info["workers"])
        self._looked = time.monotonic()
        self._in_vain = 0 if self._places else self._in_vain + 1

    def _check_builds(self) -> None:
        """Refuse workers that would measure otherwise."""
        for address, theirs in self._client.run(build, on_error="return").items():
            if isinstance(theirs, Exception):
                raise ClusterError(
                    f"{address}: this tool cannot be used there ({' '.join(str(theirs).split())}); install the same one"
                )
            if other := difference(theirs, build()):
                raise ClusterError(f"{address}: {other}; install the same there")


def work_there(ours: Mapping[str, str], work: Work, ask: Ask, content: bytes | None):
    """Do the work on a worker: on the photo where it lies, if it lies there as it is here, else on its bytes.

    Raises
    ------
    ClusterError
        Another version of the tool works here.
    """
    import cv2
    from distributed import get_worker

    if other := difference(build(), ours):
        raise ClusterError(f"a worker that joined: {other}; install the same there")
    cv2.setNumThreads(1)
    # Whoever follows README has a worker for each core.
    memory.share_among(os.cpu_count() or 1)
    if content is None:
        return work(ask) if _is_seen(ask) else Unseen()
    # There Dask itself takes away what a killed worker left.
    with tempfile.TemporaryDirectory(dir=get_worker().local_directory) as folder:
        path = Path(folder) / ask.path.name
        path.write_bytes(content)
        return work(replace(ask, path=path))


def _is_seen(ask: Ask) -> bool:
    """Whether the photo lies there: by its content, for another computer may hold another file of that name."""
    try:
        return content_hash(ask.path) == ask.sha256
    except PhotoError:
        return False


def whole_address(address: str) -> str:
    """Return an address with its protocol; where none is said it is that of this computer.

    Raises
    ------
    SettingsError
        No host and port, another protocol, or one that others can listen to.
    """
    whole = address if "://" in address else f"tcp://{address}"
    try:
        parts = urlsplit(whole)
        right = parts.scheme in ("tcp", "tls") and parts.hostname and parts.port
    except ValueError:
        right = False
    if not right or parts.path or parts.query or parts.username:
        raise SettingsError(
            f"{address}: no address of a cluster; give one as tls://192.168.1.20:8786"
        )
    if not is_safe(whole):
        raise SettingsError(
            f"{address}: without TLS only an address of this computer will do, as 127.0.0.1:8786, since workers run "
            "whatever they are sent; give it as tls://HOST:PORT, with --certificates"
        )
    return whole


def is_safe(address: str) -> bool:
    """Return whether nobody else listens on the way to an address: TLS, or this computer itself."""
    parts = urlsplit(address)
    if parts.scheme == "tls":
        return True
    try:
        return parts.hostname == "localhost" or ip_address(parts.hostname or "").is_loopback
    except ValueError:
        return False


def _security(address: str, certificates: Path | None):
    """What Dask needs for TLS, ``None`` without."""
    if not address.startswith("tls:"):
        if certificates is not None:
            raise SettingsError(
                f"{address}: certificates go with an address that begins with tls://"
            )
        return None
    if certificates is None:
        raise SettingsError(
            f"{address}: TLS needs --certificates, a folder with {', '.join(CERTIFICATES)}"
        )
    paths = [certificates / name for name in CERTIFICATES]
    if missing := next((path for path in paths if not path.is_file()), None):
        raise SettingsError(
            f"{missing}: no such file; --certificates wants {', '.join(CERTIFICATES)} there"
        )
    ca, cert, key = map(str, paths)
    distributed = _distributed()
    return distributed.Security(
        tls_ca_file=ca, tls_client_cert=cert, tls_client_key=key, require_encryption=True
    )


def _distributed():
    """Dask, loaded where it is needed; it says nothing of its own."""
    try:
        import dask
        import distributed
    except ModuleNotFoundError as err:
        raise SettingsError(EXTRA) from err
    # These have levels of their own, whatever is said of those above them.
    quiet = ("distributed", "distributed.client", "tornado", "tornado.application", "asyncio")
    for name in quiet:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    # Photos go with the tasks, so that they outlive a worker.
    dask.config.set({"distributed.admin.large-graph-warning-threshold": "4 GB"})
    return distributed


def _connected(address: str, security: object):
    """A client of the scheduler."""
    distributed = _distributed()
    came: Future = Future()

    def call() -> None:
        try:
            came.set_result(
                distributed.Client(
                    address, security=security, timeout=ANSWERS_S, set_as_default=False
                )
            )
        except Exception as err:
            came.set_exception(err)

    # In a thread: whoever takes the call and never says a word would be waited for without end.
    Thread(target=call, daemon=True).start()
    try:
        with warnings.catch_warnings():
            # Other versions of Dask and its like are told by the builds.
            warnings.simplefilter("ignore")
            return came.result(timeout=ANSWERS_S + 1)
    except Exception as err:
        raise ClusterError(
            f"{address}: no cluster answers; check the address, that the scheduler runs, and its certificates"
        ) from err


def _done(came: object) -> Future:
    future: Future = Future()
    future.set_result(came)
    return future
