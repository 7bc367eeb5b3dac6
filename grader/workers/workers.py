"""Work on photos, done by whichever workers there are; a photo whose worker was lost is done again elsewhere."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from grader.errors import GraderError, PhotoError
from grader.looks import Ask, Look
from grader.photo.patience import SLOW

#: What is done with one photo; what goes wrong with it comes back as its own error.
Work = Callable[[Ask], Look | GraderError]
#: A photo to work on, with its number.
Job = tuple[int, Ask]
#: How often it is asked whether anybody is left to do the work.
CHECK_S = 1.0


@dataclass(frozen=True)
class Unseen:
    """What a worker says that does not see a photo where it lies: its bytes must be sent."""


class Workers(Protocol):
    """Who works on photos. Two kinds: :class:`~grader.workers.pool.Pool`, :class:`~grader.workers.cluster.Cluster`."""

    @property
    def at_once(self) -> int:
        """How many photos are handed out at one time."""

    def at_most(self, jobs: int) -> "Workers":
        """Return the workers of one run over so many photos."""

    def submit(self, work: Work, ask: Ask, *, sent: bool) -> "Future[Look | GraderError | Unseen]":
        """Hand one photo out.

        sent : its bytes go with it, else the worker looks for it where it lies.

        Raises
        ------
        GraderError
            Nobody is there to take it: one line.
        """

    def check(self) -> None:
        """Return if anybody is still there.

        Raises
        ------
        GraderError
            Nobody is: one line.
        """

    def stop(self) -> None:
        """Let go of all that is not done."""


def spread(
    work: Work, jobs: Sequence[Job], workers: Workers
) -> Iterator[tuple[int, Look | GraderError]]:
    """Yield what comes of each photo with its number, in the order in which they are done.

    Where a worker is lost, each photo that it may have had in hand is done again, alone: so one that brings its workers
    down again and again is known, told as its own error, and no other one with it. One that took too long is still at
    work in its worker: once the others in hand are done, new workers begin.

    Raises
    ------
    GraderError
        Nobody is left to do the work: one line.
    """
    workers = workers.at_most(len(jobs))
    waiting, doubtful = iter(jobs), []
    running: dict[Future, Job] = {}
    sent = slow = False
    try:
        while True:
            if slow and not running:
                workers.stop()
                slow = False
            room = 0 if slow else workers.at_once - len(running)
            for job in islice(waiting, max(0, room)):
                running[workers.submit(work, job[1], sent=sent)] = job
            if not running:
                break
            done, _ = wait(running, timeout=CHECK_S, return_when=FIRST_COMPLETED)
            if not done:
                workers.check()
            for future in done:
                number, ask = running.pop(future)
                came = _came_of(future, workers)
                if isinstance(came, Unseen):
                    # Where one photo is not seen, the others hardly are.
                    sent = True
                    running[workers.submit(work, ask, sent=True)] = number, ask
                elif isinstance(came, Exception) and not isinstance(came, GraderError):
                    doubtful.append((number, ask))
                else:
                    slow |= _took_too_long(came)
                    yield number, came
        for number, ask in doubtful:
            came = _alone(work, ask, workers)
            if _took_too_long(came):
                workers.stop()
            yield number, came
    except BaseException:
        workers.stop()
        raise


def _took_too_long(came: Look | GraderError) -> bool:
    return isinstance(came, PhotoError) and came.code == SLOW


def _came_of(future: Future, workers: Workers) -> Look | GraderError | Unseen | Exception:
    """What came back; any other error than the photo's own tells of the worker."""
    try:
        return future.result()
    except GraderError:
        raise  # No photo can be worked on like this.
    except CancelledError as err:
        workers.check()
        return err
    except Exception as err:
        return err


def _alone(work: Work, ask: Ask, workers: Workers) -> Look | GraderError:
    """The same while nothing else is handed out."""
    came: object = Unseen()
    for sent in (False, True):
        future = workers.submit(work, ask, sent=sent)
        while not wait([future], timeout=CHECK_S).done:
            workers.check()
        came = _came_of(future, workers)
        if not isinstance(came, Unseen):
            break
    if isinstance(came, Look | GraderError):
        return came
    return internal(ask, "the process ended, perhaps for lack of memory")


def internal(ask: Ask, what: str) -> PhotoError:
    """Return the error of a photo that could not be measured for a reason of the tool's own."""
    line = " ".join(what.split())
    return PhotoError(
        f"{ask.file}: could not be measured ({line}); the others are not touched", "internal"
    )
