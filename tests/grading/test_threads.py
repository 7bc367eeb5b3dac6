from threadpoolctl import threadpool_info, threadpool_limits

from grader.grading.learning.threads import one_thread


def test_libraries_are_held_to_one_thread_and_let_go_again():
    with threadpool_limits(2):
        with one_thread():
            held = threadpool_info()
        after = threadpool_info()
    # scipy brings a library of its own for its numbers; it is loaded before it is held.
    assert any("scipy" in library["filepath"] for library in held)
    assert {library["num_threads"] for library in held} == {1}
    assert {library["num_threads"] for library in after} == {2}
