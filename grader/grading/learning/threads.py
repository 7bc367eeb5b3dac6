"""Fitting on one thread."""

from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold the numerical libraries to one thread: for so few rows it is quickest (on a busy machine, threads that wait
    for each other made retraining take four times as long), and it adds up in one order on every machine.
    """
    # What is loaded later would not be held.
    import scipy.optimize  # noqa: F401
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        yield
