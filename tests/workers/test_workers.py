"""Photos handed out to workers, some of whom are lost: each is done once, and whoever brings workers down is known."""

from concurrent.futures import CancelledError, Future

import pytest

from grader.errors import ClusterError, GraderError, PhotoError
from grader.looks import Ask
from grader.photo.patience import SLOW
from grader.photo.terms import PhotoTerms
from grader.workers import pool
from grader.workers.pool import Pool
from grader.workers.workers import Unseen, spread

KILLER = "killer"


class Crew:
    """Workers without processes: two photos at once; one of the name ``killer`` takes all in hand down with it.

    Its photos are done when the next one is handed out or nobody is left to wait for: the latest one first.
    """

    at_once = 2

    def __init__(self, unseen=(), ends=None) -> None:
        self.unseen, self.ends = unseen, ends
        self.handed_out, self.stopped = [], 0
        self._in_hand: list[tuple[Future, Ask, bool]] = []

    def at_most(self, jobs):
        return self

    def submit(self, work, ask, *, sent):
        self.handed_out.append((ask.file, sent))
        future = Future()
        self._in_hand.append((future, ask, sent))
        if len(self._in_hand) == self.at_once or self._alone:
            self._work_off(work)
        return future

    @property
    def _alone(self) -> bool:
        # Whatever is done again.
        return len(set(self.handed_out)) < len(self.handed_out)

    def _work_off(self, work):
        lost = any(ask.file == KILLER for _, ask, _ in self._in_hand)
        for future, ask, sent in reversed(self._in_hand):
            if self.ends is not None:
                future.set_exception(self.ends)
            elif lost:
                future.set_exception(OSError("the worker ended"))
            elif ask.file in self.unseen and not sent:
                future.set_result(Unseen())
            else:
                future.set_result(work(ask))
        self._in_hand = []

    def check(self):
        if self.ends is not None:
            raise ClusterError("gone")
        for future, ask, _ in self._in_hand:
            future.set_result(PhotoError(f"{ask.file}: done", "empty"))
        self._in_hand = []

    def stop(self):
        self.stopped += 1


def jobs(*files):
    return [(n, Ask(None, file, "0" * 64, PhotoTerms())) for n, file in enumerate(files)]


def done(ask):
    return PhotoError(f"{ask.file}: done", "empty")


def came_of(crew, *files) -> dict[int, str]:
    told = list(spread(done, jobs(*files), crew))
    assert len(dict(told)) == len(told), "a photo came back twice"
    return {number: str(one) for number, one in told}


def test_every_photo_comes_back_once_with_its_number():
    files = [f"{n}" for n in range(6)]
    crew = Crew()
    assert came_of(crew, *files) == {n: f"{n}: done" for n in range(6)}
    assert crew.stopped == 0


def test_one_that_brings_its_workers_down_is_told_and_its_neighbours_are_done_again():
    crew = Crew()
    told = came_of(crew, "a", KILLER, "b", "c")
    assert told.pop(1).startswith("killer: could not be measured (the process ended")
    assert told == {0: "a: done", 2: "b: done", 3: "c: done"}
    handed_out = [file for file, _ in crew.handed_out]
    assert handed_out.count("b") == handed_out.count("c") == 1 and handed_out.count("a") == 2


def test_a_photo_that_a_worker_does_not_see_is_sent_and_those_behind_it_too():
    crew = Crew(unseen=("a", "b", "c", "d"))
    assert came_of(crew, "a", "b", "c", "d") == {
        n: f"{file}: done" for n, file in enumerate("abcd")
    }
    assert ("a", True) in crew.handed_out and ("b", True) in crew.handed_out
    assert ("c", False) not in crew.handed_out and ("d", False) not in crew.handed_out


@pytest.mark.parametrize("ends", [ClusterError("refused"), CancelledError()])
def test_where_nobody_is_left_the_run_ends_in_one_line_and_lets_go(ends):
    crew = Crew(ends=ends)
    with pytest.raises(ClusterError, match=r"gone|refused"):
        came_of(crew, "a", "b")
    assert crew.stopped == 1


def test_one_that_took_too_long_has_its_worker_replaced_once_the_others_in_hand_are_done():
    def late(ask):
        if ask.file == "slow":
            return PhotoError("slow: takes longer", SLOW)
        in_hand_at_stop.append(crew.stopped)
        return done(ask)

    crew, in_hand_at_stop = Crew(), []
    told = dict(spread(late, jobs("a", "slow", "b", "c", "d"), crew))
    assert sorted(told) == [0, 1, 2, 3, 4] and told[1].code == SLOW
    # With it in hand was a; those behind it went to the new workers, d alone: the crew's check does it.
    assert crew.stopped == 1 and in_hand_at_stop == [0, 1, 1]
    assert [file for file, _ in crew.handed_out] == ["a", "slow", "b", "c", "d"]


def test_one_that_takes_too_long_when_it_is_done_again_has_its_worker_replaced_too():
    def late(ask):
        return PhotoError("a: takes longer", SLOW) if ask.file == "a" else done(ask)

    crew = Crew()
    told = dict(spread(late, jobs("a", KILLER, "b"), crew))
    assert told[0].code == SLOW and crew.stopped == 1


def test_a_run_that_is_left_midway_lets_go():
    crew = Crew()
    run = spread(done, jobs("a", "b", "c"), crew)
    next(run)
    run.close()
    assert crew.stopped == 1


@pytest.mark.parametrize("lost", [BrokenPipeError(32, "Broken pipe"), RuntimeError("closed")])
def test_where_no_process_can_be_begun_that_is_one_line(lost, monkeypatch):
    # A pipe that breaks would end a command without a word: whoever reads its output was thought to be gone.
    def processes(count):
        raise lost

    monkeypatch.setattr(pool, "processes", processes)
    with pytest.raises(
        GraderError, match=r"no process can be begun .*; see what else runs here"
    ) as err:
        list(spread(done, jobs("a", "b"), Pool(2)))
    assert "\n" not in str(err.value)
