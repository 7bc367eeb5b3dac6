"""How long a photo may take, and what becomes of one that takes longer.

No decoder can be told to stop. So a photo is worked on in a thread, and who waits for it goes on alone once its time is
over; the thread is left behind and ends with its process.
"""

import threading
from collections.abc import Callable
from typing import TypeVar
from weakref import WeakSet

from grader.errors import PhotoError
from grader.photo import quiet

#: To read a photo: some fifty times what the slowest kinds take.
READ_S, READ_S_PER_MEGAPIXEL = 10.0, 1.0
#: To look at it whole: some forty times what it takes on a slow core, so that no good photo is lost on a busy one.
LOOK_S, LOOK_S_PER_MEGAPIXEL, LOOK_S_PER_STONE = 120.0, 10.0, 120.0
#: Code of the error of a photo that took too long.
SLOW = "slow"
#: It is counted how often one waited so long, in vain, and no clock is read: a computer that slept has done nothing.
STEP_S = 0.25

T = TypeVar("T")
_this = threading.local()
_left: WeakSet[threading.Thread] = WeakSet()


class _Time:
    """What there is for a piece of work, and the threads that do it; more of it is also more for the work that it is
    part of."""

    def __init__(self, seconds: float, whole: "_Time | None") -> None:
        self.seconds = 0.0
        self.threads: list[threading.Thread] = []
        self._whole = whole
        self.add(seconds)

    def done_by(self, thread: threading.Thread) -> None:
        self.threads.append(thread)
        if self._whole is not None:
            self._whole.done_by(thread)

    def add(self, seconds: float) -> None:
        self.seconds += seconds
        if self._whole is not None:
            self._whole.add(seconds)


def within(seconds: float, work: Callable[[], T], file: str, what: str) -> T:
    """Return what comes of some work on a photo.

    seconds : how long it may take, if it does not ask for more by :func:`allow`.   file : the photo's.
    what : is done with it, as "read", for the message.

    Raises
    ------
    PhotoError
        ``slow``: it took longer, and goes on in a thread that is left behind. And whatever ``work`` raises.
    """
    time, done, came = _Time(seconds, getattr(_this, "time", None)), threading.Event(), []

    def run() -> None:
        _this.time = time
        try:
            came.append((work(), None))
        except BaseException as err:
            came.append((None, err))
        finally:
            done.set()

    thread, waited_s = threading.Thread(target=run, daemon=True), 0.0
    time.done_by(thread)
    thread.start()
    try:
        while not done.wait(STEP_S):
            waited_s += STEP_S
            if waited_s > time.seconds:
                raise PhotoError(
                    f"{file}: takes longer than {time.seconds:.0f} s to {what}; open it in a viewer and save it anew",
                    SLOW,
                )
    except BaseException:  # Somebody may also have stopped it all.
        for one in time.threads:
            _left.add(one)
            quiet.leave(one)
        raise
    result, err = came.pop()
    if err is None:
        return result
    try:
        raise err
    finally:
        # Else it would keep this frame, and this frame it, with all pixels that the work had in hand.
        del err


def allow(seconds: float) -> None:
    """Give the work that this thread does so much more time."""
    if (time := getattr(_this, "time", None)) is not None:
        time.add(seconds)


def left_behind() -> bool:
    """Return whether a thread that was left behind is still at work in this process."""
    return any(thread.is_alive() for thread in list(_left))
