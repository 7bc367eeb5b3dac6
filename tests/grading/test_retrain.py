import dataclasses

import numpy as np
import pytest
from sklearn.metrics import log_loss

from grader.errors import CallsError
from grader.grading.features.features import with_values
from grader.grading.learning.called_faces import called_rungs, learned_from
from grader.grading.learning.candidates import candidate, column_signs, folds_of, share_of_second
from grader.grading.learning.retrain import retrain
from grader.grading.models.seller_ensemble import SellerEnsemble
from grader.grading.proposal import Call
from grader.report.card import retrained_card
from grader.report.retrain_report import moved_line, report_lines, verdict


def _call(number, grade, scene=None):
    when = "2024-05-01T10:00:00+02:00"
    return Call(
        f"{number}.jpg",
        f"{number:016x}" + 48 * "0",
        1,
        (0, 0, 9, 9),
        grade,
        scene,
        None,
        when,
        None,
    )


@pytest.fixture(scope="module")
def tray(make_faces, profile):
    """96 measured stones, and a seller who looks at blue alone: a grade for each quarter of it."""
    rows, _ = make_faces(96, np.random.default_rng(21), profile)
    blue = np.array([row["blue_share"] for row in rows])
    rung = np.digitize(blue, np.quantile(blue, [0.25, 0.5, 0.75]))
    calls = [_call(i, profile.grades[r], scene=50) for i, r in enumerate(rung)]
    return calls, {(f"{i:016x}" + 48 * "0", 1): row for i, row in enumerate(rows)}


@pytest.fixture(scope="module")
def of_all(tray, profile, small_model):
    """What is learned of all calls."""
    return retrain(*tray, profile, small_model, seed=1)


@pytest.fixture(scope="module")
def of_sixty(tray, profile, small_model):
    """What is learned of the first 60."""
    calls, measured = tray
    return retrain(calls[:60], measured, profile, small_model, seed=1)


def test_a_seller_who_sorts_otherwise_is_followed_and_the_report_says_so(tray, profile, of_all):
    done = of_all
    assert verdict(done.report) == "the new model is better, beyond the uncertainty"
    assert done.report.new.kappa.value > done.report.old.kappa.value + 0.1
    assert report_lines(done.report)[0] == verdict(done.report)
    assert done.report.new.n == 96
    rows = [done.model.complete(row, profile) for row in tray[1].values()]
    called = [profile.grades.index(call.grade) for call in tray[0]]
    assert (done.model.grade.rungs(rows) == called).mean() > 0.6


@pytest.mark.slow
def test_twice_gives_the_same_parameters(tray, profile, small_model, of_all):
    calls, measured = tray
    shuffled = [calls[i] for i in np.random.default_rng(0).permutation(len(calls))]
    again = retrain(shuffled, measured, profile, small_model, seed=1)
    assert of_all.model.label == again.model.label
    assert of_all.report == again.report


@pytest.mark.slow
def test_nothing_but_its_arguments_tells_what_comes_out(tray, profile, small_model, of_sixty):
    """Neither what was retrained before, nor the order of the measured stones."""
    calls, measured = tray
    first = of_sixty
    retrain(calls[60:], measured, profile, small_model, seed=2)
    backwards = dict(reversed(measured.items()))
    again = retrain(calls[:60], backwards, profile, small_model, seed=1)
    assert (again.model, again.report, again.points) == (first.model, first.report, first.points)


@pytest.mark.slow
@pytest.mark.parametrize("how_many", [3, 12, 96])
def test_each_fit_is_told_and_how_many_there_will_be(how_many, tray, profile, small_model):
    calls, measured = tray
    # Some with a scene alone, and pieces of two photos: neither adds a fit.
    calls = [dataclasses.replace(c, stone=f"piece {i // 2}") for i, c in enumerate(calls)]
    calls[1] = dataclasses.replace(calls[1], grade=None)
    steps = []
    retrain(calls[:how_many], measured, profile, small_model, on_step=lambda *n: steps.append(n))
    assert steps == [(n, len(steps)) for n in range(1, len(steps) + 1)]
    # By hand: 48 pieces, with all and without each fifth 5 + 1 fits; of 6 pieces one fifth leaves only 4, 4 + 1 fits;
    # of 2 pieces 2 + 1 fits, and twice 1 + 1.
    assert len(steps) == {3: 7, 12: 35, 96: 36}[how_many]


def test_without_grades_there_is_no_fit_to_tell_of(tray, profile, small_model):
    calls, measured = tray
    scenes, steps = [dataclasses.replace(call, grade=None) for call in calls[:10]], []
    retrain(scenes, measured, profile, small_model, on_step=lambda *n: steps.append(n))
    assert steps == []


@pytest.mark.slow
def test_a_seller_who_sorts_as_the_model_does_gains_nothing(tray, profile, small_model):
    _, measured = tray
    rows = [small_model.complete(row, profile) for row in measured.values()]
    rungs = small_model.grade.rungs(rows)
    calls = [_call(i, profile.grades[r]) for i, r in enumerate(rungs)]
    report = retrain(calls, measured, profile, small_model, seed=1).report
    assert report.old.equal.value == 1.0
    assert "better" not in verdict(report)


@pytest.mark.slow
def test_few_calls_are_not_judged_and_move_the_model_a_little(tray, profile, small_model):
    calls, measured = tray
    done = retrain(calls[:6], measured, profile, small_model)
    assert verdict(done.report).startswith("too few calls to judge (6 stones with a grade")
    rows = [small_model.complete(row, profile) for row in measured.values()]
    moved = np.abs(done.model.grade.rungs(rows) - small_model.grade.rungs(rows))
    assert moved.mean() < 0.45
    card = retrained_card(done, profile)
    assert "A grade set is the whole ladder" in card and "| loss |" not in card


@pytest.mark.slow
def test_calls_of_one_grade_only_are_not_judged(tray, profile, small_model):
    calls, measured = tray
    same = [dataclasses.replace(call, grade="cabbing") for call in calls[:40]]
    done = retrain(same, measured, profile, small_model)
    assert "in 1 grade)" in verdict(done.report)
    assert done.report.old is None


@pytest.mark.slow
def test_the_last_word_on_a_stone_counts(tray, profile, small_model, of_all):
    calls, measured = tray
    overruled = [dataclasses.replace(call, grade="waste") for call in calls]
    done = retrain([*overruled, *calls], measured, profile, small_model, seed=1)
    assert done.model.label == of_all.model.label


@pytest.mark.slow
def test_calls_that_cannot_be_used_are_refused_one_by_one(tray, profile, small_model):
    calls, measured = tray
    bad = [_call(0, "superb"), _call(9999, "select")]
    done = retrain([*bad, *calls[:6]], measured, profile, small_model)
    assert [remark.line for remark in done.refused] == [1, 2]
    assert "'superb' is not on the ladder" in done.refused[0].text
    assert "9999.jpg piece 1: not measured" in done.refused[1].text


def test_no_usable_call_is_one_clear_line(profile, small_model):
    with pytest.raises(CallsError, match="no call and no comparison could be used"):
        retrain([_call(1, "select")], {}, profile, small_model)


def test_scene_calls_alone_leave_the_grades_to_the_old_coefficients(tray, profile, small_model):
    calls, measured = tray
    scenes = [dataclasses.replace(call, grade=None, scene=90) for call in calls]
    done = retrain(scenes, measured, profile, small_model)
    assert done.model.grade == small_model.grade
    assert done.report.scene_new.value < done.report.scene_old.value


@pytest.mark.slow
def test_a_model_judged_on_stones_that_it_has_seen_says_so(tray, profile, of_sixty):
    calls, measured = tray
    report = retrain(calls, measured, profile, of_sixty.model).report
    assert report.learned_before == 60
    assert "has seen 60 of these stones" in report_lines(report)[-2]


def test_it_is_told_how_many_proposals_a_new_model_changes(tray, profile, small_model, of_all):
    calls, measured = tray
    done = of_all
    stones = [(call.sha256, call.piece) for call in calls]
    rungs = [
        [model.grade.rungs([model.complete(measured[stone], profile)])[0] for stone in stones]
        for model in (small_model, done.model)
    ]
    moved = done.report.moved
    assert moved.stones == len(stones)
    assert moved.otherwise == int(np.not_equal(*rungs).sum()) > 0
    assert moved_line(moved) == report_lines(done.report)[-1]


def test_coefficients_keep_their_direction(tray, profile, of_all):
    head = of_all.model.grade
    signs = np.array(column_signs(head))
    assert (signs * np.array(head.ordinal.coefficients) >= 0).all()
    row = next(iter(tray[1].values()))
    more = with_values(row, profile, blue_share=1.0)
    assert head.expected_grade([more]) >= head.expected_grade([row])


def test_the_kinds_of_head_are_compared_on_held_out_calls(of_all):
    kinds = of_all.report.kinds
    assert [k.kind for k in kinds] == ["drawn odds", "plain weights"]
    assert sum(k.share for k in kinds) == pytest.approx(1)
    better = min(kinds, key=lambda k: k.loss)
    assert better.share > 0.3  # More than the 0.25 believed beforehand.


def test_faces_of_one_stone_are_never_on_both_sides_of_a_split():
    stones = [f"stone {i % 7}" for i in range(40)]
    fold = folds_of(stones, 5, np.random.default_rng(0))
    assert all(
        len({f for f, s in zip(fold, stones, strict=True) if s == name}) == 1 for name in stones
    )
    assert set(fold) == set(range(5))


def test_the_share_of_a_part_is_the_likeliest_one_with_what_is_believed_beforehand():
    """Outside value: a fine search along the share of the likelihood of the calls, and of 6 and 2 sure ones more."""
    first, second = np.random.default_rng(1).uniform(0.05, 0.95, (2, 60))
    tried = np.linspace(0.001, 0.999, 999)
    mixed = (1 - tried[:, None]) * first + tried[:, None] * second
    likely = np.log(mixed).sum(axis=1) + 6 * np.log(1 - tried) + 2 * np.log(tried)
    assert share_of_second(first, second) == pytest.approx(tried[likely.argmax()], abs=2e-3)
    assert share_of_second(np.full(60, 0.9), np.full(60, 0.1)) < 0.1
    assert share_of_second(np.full(60, 0.1), np.full(60, 0.9)) > 0.8


def test_the_loss_of_a_kind_is_scikit_learns_log_loss():
    """Outside value: sklearn.metrics.log_loss."""
    rng = np.random.default_rng(5)
    chances = rng.dirichlet([4, 4, 4, 4], size=80)
    rung = rng.integers(0, 4, 80)
    only = candidate("a", chances, rung, 1.0)
    assert only.loss == pytest.approx(log_loss(rung, chances, labels=[0, 1, 2, 3]))


@pytest.mark.slow
def test_photos_of_one_piece_are_one_stone(tray, profile, small_model, of_sixty):
    calls, measured = tray
    named = [dataclasses.replace(c, stone=f"piece {i // 2}") for i, c in enumerate(calls[:60])]
    report = retrain(named, measured, profile, small_model).report
    assert (report.new.n, report.new.stones) == (60, 30)
    assert of_sixty.report.new.stones == 60


@pytest.mark.slow
def test_a_piece_learned_under_a_name_is_seen_in_its_other_photos(tray, profile, small_model):
    calls, measured = tray
    named = [dataclasses.replace(c, stone=f"bucket {i % 30}") for i, c in enumerate(calls[:60])]
    learned = retrain(named[:20], measured, profile, small_model).model
    # The other photos of pieces 0 to 19, and pieces 20 to 29 twice.
    later = called_rungs(named[20:], measured, profile)
    assert later.learned_by(learned) == 20
    assert {*later.not_learned_by([learned]).names} == {f"bucket {i}" for i in range(20, 30)}
    assert not any("bucket" in key for key in learned.provenance.stones)


@pytest.mark.slow
def test_a_table_that_grows_counts_each_stone_once(tray, profile, ensemble_model):
    calls, measured = tray
    calls = [dataclasses.replace(call, scene=None) for call in calls]
    first = retrain(calls[:6], measured, profile, ensemble_model).model
    grown = retrain(calls[:12], measured, profile, first).model
    again = retrain(calls[:12], measured, profile, grown).model
    once = retrain(calls[:12], measured, profile, ensemble_model).model
    assert [m.grade.calls for m in (first, grown, again, once)] == [6, 12, 12, 12]
    assert grown.grade.ensemble_share == 1 - grown.grade.plain_share > 0.5
    assert first.grade.ensemble != once.grade.ensemble
    assert grown.grade.ensemble == again.grade.ensemble == once.grade.ensemble


def test_new_calls_alone_add_up_with_those_that_the_ensemble_has_learned_from(
    tray, profile, ensemble_model
):
    calls, measured = tray
    calls = [dataclasses.replace(call, scene=None) for call in calls]
    first = retrain(calls[:8], measured, profile, ensemble_model).model
    then = retrain(calls[8:16], measured, profile, first).model
    whole = retrain(calls[:16], measured, profile, ensemble_model).model
    assert then.grade.calls == whole.grade.calls == 16
    assert then.grade.ensemble.chances == pytest.approx(whole.grade.ensemble.chances, abs=1e-8)
    assert learned_from(calls[:20], then) == [True] * 16 + [False] * 4
    assert not any(learned_from(calls, ensemble_model))


def test_the_ensemble_counts_stones_not_faces(tray, profile, ensemble_model):
    calls, measured = tray
    named = [dataclasses.replace(c, stone=f"piece {i // 2}") for i, c in enumerate(calls[:12])]
    head = retrain(named, measured, profile, ensemble_model).model.grade
    assert head.calls == 6


def test_two_calls_leave_the_proposals_nearly_as_they_were(tray, profile, ensemble_model):
    calls, measured = tray
    rows = [ensemble_model.complete(row, profile) for row in measured.values()]
    done = retrain(calls[:2], measured, profile, ensemble_model).model.grade
    assert done.calls == 2
    assert (
        np.abs(done.expected_grade(rows) - ensemble_model.grade.expected_grade(rows)).mean() < 0.2
    )


@pytest.mark.slow
def test_a_seller_who_is_none_of_the_ensemble_is_followed_without_it(tray, profile, ensemble_model):
    """An ensemble of one mind, who likes what this seller throws away, is worse than nothing."""
    calls, measured = tray
    p = len(ensemble_model.grade.scaling.names)
    at = ensemble_model.grade.scaling.names.index("blue_share")
    upside_down = tuple(-4.0 if i == at else 0.0 for i in range(p))
    ensemble = SellerEnsemble((upside_down, upside_down), ((-2.0, 0.0, 2.0),) * 2, (0.8, 0.2))
    base = dataclasses.replace(
        ensemble_model, grade=dataclasses.replace(ensemble_model.grade, ensemble=ensemble)
    )
    done = retrain(calls[:40], measured, profile, base)
    parts = {part.kind: part for part in done.report.kinds}
    assert parts["plain weights"].loss < parts["simulated sellers"].loss - 0.5
    # The ensemble keeps little more than it is believed beforehand: 6 calls of 48.
    assert done.model.grade.ensemble_share < 0.3
    few = retrain(calls[:9], measured, profile, base)
    assert [part.kind for part in few.report.kinds] == ["simulated sellers"]


def test_a_stone_of_a_held_out_comparison_teaches_nothing_in_another_comparison(
    tray, profile, small_model
):
    _, measured = tray
    order = np.argsort(small_model.scene.values(list(measured.values())))
    stones = [list(measured)[i] for i in order]
    # The old scores have it wrong on all of these, and one stone is in every comparison: nothing is left to learn from.
    with_one = [(low, stones[-1]) for low in stones[:30]]
    report = retrain([], measured, profile, small_model, comparisons=with_one).report
    assert (report.comparisons_old.value, report.comparisons_new.value) == (0.0, 0.0)
    apart = list(zip(stones[:40], stones[-40:], strict=True))
    assert (
        retrain([], measured, profile, small_model, comparisons=apart).report.comparisons_new.value
        > 0.0
    )
