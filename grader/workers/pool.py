"""Processes of this computer."""

import os
from concurrent.futures import Executor, Future
from functools import cache
from threading import Thread
from time import sleep

from grader.errors import GraderError
from grader.looks import Ask
from grader.photo import memory
from grader.workers.workers import Work

#: A worker whose program was killed ends after so long; one that has nothing to do, after so long.
ORPHAN_ENDS_S, IDLE_ENDS_S = 2.0, 60.0
#: One photo a core: threads inside would only fight for it.
_ONE_THREAD = {
    f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "BLIS", "NUMEXPR")
} | {"VECLIB_MAXIMUM_THREADS": "1"}


class Pool:
    """So many processes, as many as there are cores by default; a single one is this process itself."""

    def __init__(self, count: int | None = None) -> None:
        self._count = count
        self._executor: Executor | None = None

    @property
    def count(self) -> int:
        return self._count or os.cpu_count() or 1

    @property
    def at_once(self) -> int:
        """One in hand and one in reach for each process."""
        return 1 if self.count == 1 else 2 * self.count

    def at_most(self, jobs: int) -> "Pool":
        return Pool(max(1, min(self.count, jobs)))

    def submit(self, work: Work, ask: Ask, *, sent: bool) -> Future:
        """Hand one photo out; it is read where it lies.

        Raises
        ------
        GraderError
            No process can be begun: one line.
        """
        if self.count == 1:
            done: Future = Future()
            done.set_result(work(ask))
            return done
        if self._executor is not None:
            try:
                return self._executor.submit(work, ask)
            except (RuntimeError, OSError):
                pass  # It lost a process since the last photo, or was closed by another run.
        try:
            self._executor = processes(self.count)
            return self._executor.submit(work, ask)
        except (RuntimeError, OSError) as err:
            raise GraderError(
                f"no process can be begun to measure in ({' '.join(str(err).split())}); "
                "see what else runs here, or measure with --workers 1",
                "workers",
            ) from err

    def check(self) -> None:
        """Processes that are lost are begun anew."""

    def stop(self) -> None:
        if self._executor is not None:
            self._executor.shutdown(wait=True, kill_workers=True)
            self._executor = None


def processes(count: int) -> Executor:
    """Return so many processes that work for this one and end with it."""
    from joblib.externals.loky import get_reusable_executor

    return get_reusable_executor(
        count,
        timeout=IDLE_ENDS_S,
        initializer=_begin,
        initargs=(os.getpid(), count),
        env=_ONE_THREAD,
    )


def _begin(parent: int, count: int) -> None:
    import cv2

    _end_with(parent)
    memory.share_among(count)
    cv2.setNumThreads(1)


@cache
def _end_with(parent: int) -> None:
    """Let this worker end soon after the process that it works for, which cannot call it off when it is killed."""

    def watch() -> None:
        # Whose parent is gone belongs to another one; where the system does not say so, this waits in vain.
        while os.getppid() == parent:
            sleep(ORPHAN_ENDS_S)
        os._exit(1)

    Thread(target=watch, daemon=True).start()
