"""Fitting on one thread."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module


@contextmanager
def one_thread(*libraries: str) -> Iterator[None]:
    """Hold the numerical libraries to one thread: for so few rows it is quickest (on a busy machine, threads that wait
    for each other made retraining take four times as long), and it adds up in one order on every machine.

    libraries : modules used inside, loaded first: what is loaded later would not be held.
    """
    from threadpoolctl import threadpool_limits

    for library in libraries:
        import_module(library)
    with threadpool_limits(1):
        yield
