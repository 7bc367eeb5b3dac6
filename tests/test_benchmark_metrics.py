"""The benchmark's scores, held against arrays drawn by hand."""

from dataclasses import replace

import crack_figures
import glare_methods
import labelled
import metrics
import numpy as np
import pytest
import renders
from hypothesis import given
from hypothesis import strategies as st
from labelled import quarter_turns
from scipy.stats import spearmanr
from sklearn.calibration import calibration_curve

from grader.face.face import Face


def test_background_and_unreadable_are_wrong_answers():
    truth = np.array([[1, 1, 1, 1, 2, 2, 3, 3]])
    answer = np.array([[1, 1, 0, 9, 2, 2, 3, 3]])
    # By hand: blue 2 of 4, white 2 of 2, host 2 of 2.
    assert metrics.region_iou(metrics.region_counts(answer, truth)) == pytest.approx(2.5 / 3)


def test_what_lies_beyond_the_true_face_or_under_true_glare_is_not_judged():
    truth = np.array([[0, 9, 1, 2]])
    answer = np.array([[3, 3, 1, 2]])
    assert metrics.region_iou(metrics.region_counts(answer, truth)) == 1.0


def test_unsure_pixels_are_left_out():
    truth = np.array([[1, 1, 2, 2]])
    answer = np.array([[1, 2, 2, 2]])
    unsure = np.array([[False, True, False, False]])
    assert metrics.region_iou(metrics.region_counts(answer, truth)) == pytest.approx(
        (1 / 2 + 2 / 3) / 2
    )
    assert metrics.region_iou(metrics.region_counts(answer, truth, unsure)) == 1.0


def test_regions_are_pooled_over_photos_before_the_mean_is_taken():
    small = metrics.region_counts(np.array([[2]]), np.array([[1]]))
    large = metrics.region_counts(np.full((1, 9), 1), np.full((1, 9), 1))
    # Blue 9 of 10; white 0 of 1. A mean over the two photos would give 0.5.
    assert metrics.region_iou(np.array([small, large])) == pytest.approx(0.45)


def test_a_class_that_nobody_names_is_left_out():
    one = np.ones((3, 3), int)
    assert metrics.region_iou(metrics.region_counts(one, one)) == 1.0
    assert np.isnan(metrics.region_iou(metrics.region_counts(one, np.zeros((3, 3), int))))


def test_the_better_naming_counts_where_the_eye_is_in_doubt():
    truth = np.array([[1, 1, 1, 2, 3]])
    answer = np.array([[2, 2, 2, 1, 3]])
    assert metrics.region_iou(metrics.region_counts(answer, truth)) == pytest.approx(1 / 3)
    assert metrics.region_iou(metrics.better_naming_counts(answer, truth)) == 1.0
    assert metrics.region_iou(metrics.better_naming_counts(truth, truth)) == 1.0


def test_shares_are_of_the_readable_face():
    layer = np.array([[1, 1, 2, 9], [3, 0, 9, 9]])
    assert metrics.layer_shares(layer, layer > 0) == pytest.approx([0.5, 0.25, 0.25])
    assert np.isnan(metrics.layer_shares(np.full((2, 2), 9), np.ones((2, 2), bool))).all()


def test_share_error_is_the_mean_over_pieces_and_classes():
    truth = np.array([[0.5, 0.5, 0.0], [1.0, 0.0, 0.0]])
    values = np.array([[0.6, 0.4, 0.0], [1.0, 0.0, 0.0]])
    # 10 + 10 points over 6 numbers.
    assert metrics.share_error_points(values, truth) == pytest.approx(20 / 6)


def test_share_error_beyond_bounds_counts_only_what_lies_outside():
    truth = np.array([[0.5, 0.5, 0.0]])
    low, high = np.array([[0.4, 0.4, 0.0]]), np.array([[0.6, 0.6, 0.0]])
    values = np.array([[0.7, 0.3, 0.0]])
    assert metrics.share_error_points(values, truth, low, high) == pytest.approx(20 / 3)
    assert metrics.share_error_points(truth, truth, low, high) == 0.0


def test_intervals_cover_with_their_ends():
    low, high = np.array([0.1, 0.2, 0.3]), np.array([0.2, 0.4, 0.6])
    assert metrics.coverage(low, high, np.array([0.2, 0.1, 0.3])) == pytest.approx(2 / 3)
    assert metrics.width_points(low, high) == pytest.approx(20.0)


def test_an_absent_class_may_be_said_up_to_the_limit():
    truth = np.array([[1.0, 0.0, 0.0], [0.5, 0.5, 0.0], [0.4, 0.3, 0.3]])
    shares = np.array([[0.9, 0.08, 0.02], [0.2, 0.77, 0.03], [0.0, 0.5, 0.5]])
    # Three cases: 8 and 3 points are too much, 2 are not; the last stone holds every class.
    assert metrics.absent_class_answered(shares, truth, 0.02) == pytest.approx(2 / 3)
    assert np.isnan(metrics.absent_class_answered(shares[2:], truth[2:], 0.02))


def test_glare_is_judged_within_the_true_stone():
    stone = np.array([[True, True, True, True, True, False]])
    truth = np.array([[9, 9, 1, 2, 3, 0]])
    answer = np.array([[9, 1, 9, 2, 0, 9]])
    counts = metrics.glare_counts(answer, truth, stone)
    assert counts.tolist() == [1, 2, 2, 5]
    # One px of the three that either names.
    assert metrics.glare_iou(counts) == pytest.approx(1 / 3)
    assert metrics.glare_shares(counts) == pytest.approx([0.4, 0.4])


def test_glare_is_pooled_over_photos_and_its_shares_are_not():
    counts = np.array([[0, 0, 1, 10], [9, 9, 9, 90]])
    assert metrics.glare_iou(counts) == pytest.approx(0.9)
    found, true = metrics.glare_shares(counts).T
    # 10 points off in the first photo, none in the second.
    assert metrics.share_error_points(found, true) == pytest.approx(5.0)


def test_without_glare_on_either_side_there_is_nothing_to_judge():
    assert np.isnan(metrics.glare_iou(np.array([[0, 0, 0, 50]])))
    assert metrics.glare_shares(np.zeros((1, 4), int)).tolist() == [[0.0, 0.0]]


def test_events_in_100_are_pooled_over_photos():
    # One of 1 and none of 49; a mean over the photos would give 50.
    assert metrics.in_100(np.array([[1, 1], [0, 49]])) == pytest.approx(2.0)
    assert metrics.in_100(np.array([[3, 2]])) == pytest.approx(150.0)
    assert np.isnan(metrics.in_100(np.array([[1, 0]])))


def test_stones_are_matched_one_to_one_and_the_rest_is_missed_or_invented():
    truth = np.zeros((10, 30), int)
    truth[:, :10], truth[:, 15:25] = 1, 2
    answer = np.zeros((10, 30), int)
    answer[:, 1:10], answer[:2, 27:] = 7, 8  # 90 px of the first stone; one stone invented
    assert metrics.match_pieces(answer, truth) == [(7, 1, pytest.approx(0.9))]


def test_two_stones_taken_for_one_are_not_both_found():
    truth = np.zeros((10, 20), int)
    truth[:, :10], truth[:, 10:] = 1, 2
    assert len(metrics.match_pieces(np.ones((10, 20), int), truth)) == 1
    truth[:, 10:12] = 1
    assert metrics.match_pieces(np.ones((10, 20), int), truth) == [(1, 1, pytest.approx(0.6))]


def test_no_stone_on_either_side_matches_nothing():
    empty = np.zeros((4, 4), int)
    assert metrics.match_pieces(empty, empty) == []
    assert metrics.match_pieces(empty, np.ones((4, 4), int)) == []


def level_line(row: int, columns: slice = slice(5, 45)) -> np.ndarray:
    mask = np.zeros((40, 50), bool)
    mask[row, columns] = True
    return mask


@pytest.mark.parametrize("tolerance_px", [2, 5])
@pytest.mark.parametrize("shift_px", range(8))
def test_a_shifted_line_is_right_up_to_the_tolerance_and_wrong_beyond(tolerance_px, shift_px):
    counts = metrics.line_counts(level_line(20 + shift_px), level_line(20), tolerance_px)
    expected = 1.0 if shift_px <= tolerance_px else 0.0
    assert metrics.precision_recall_f1(counts) == (expected, expected, expected)


def test_half_a_line_has_precision_one_recall_a_half():
    # 40 px true, 18 px said: with 2 px of tolerance 20 px are met.
    counts = metrics.line_counts(level_line(20, slice(5, 23)), level_line(20), 2)
    assert metrics.precision_recall_f1(counts) == pytest.approx((1.0, 0.5, 2 / 3))


def test_a_line_is_scored_by_its_middle_not_by_its_width():
    thick = level_line(19) | level_line(20) | level_line(21)
    counts = metrics.line_counts(thick, level_line(20), 2)
    assert metrics.precision_recall_f1(counts)[2] == 1.0
    assert counts[1] <= 40


def test_an_answer_on_a_doubtful_line_is_left_out():
    truth, doubtful = level_line(10), level_line(30)
    both = truth | doubtful
    assert metrics.precision_recall_f1(metrics.line_counts(both, truth, 2))[0] == 0.5
    assert metrics.precision_recall_f1(metrics.line_counts(both, truth, 2, doubtful))[0] == 1.0


def test_lines_on_an_unmarked_photo_cost_precision():
    none = np.zeros((40, 50), bool)
    counts = [metrics.line_counts(level_line(20), truth, 2) for truth in (level_line(20), none)]
    assert metrics.precision_recall_f1(np.array(counts)) == pytest.approx((0.5, 1.0, 2 / 3))
    assert metrics.precision_recall_f1(metrics.line_counts(none, none, 2)) == (0.0, 0.0, 0.0)


def test_directions_repeat_after_half_a_turn():
    assert metrics.axial_error_deg([179, 0, 45, 90], [1, 180, 135, 80]) == pytest.approx(
        [2, 0, 90, 10]
    )


def test_rank_correlation_knows_order_alone():
    a = np.array([1.0, 2.0, 3.0, 10.0])
    assert metrics.rank_correlation(a, a**3) == pytest.approx(1.0)
    assert metrics.rank_correlation(a, -a) == pytest.approx(-1.0)
    assert np.isnan(metrics.rank_correlation(a, np.ones(4)))


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=4, max_size=30))
def test_rank_correlation_with_ties_agrees_with_scipy(pairs):
    a, b = np.array(pairs, float).T
    if np.ptp(a) and np.ptp(b):
        assert metrics.rank_correlation(a, b) == pytest.approx(spearmanr(a, b).statistic, abs=1e-9)


def test_the_resampled_range_of_a_mean_is_about_twice_its_standard_error():
    rows = np.random.default_rng(3).normal(10, 2, 400)
    low, high = metrics.resampled_range(rows[:, None], np.mean, np.random.default_rng(4))
    # 1.96 * 2 / sqrt(400) = 0.196 to either side.
    assert (low, high) == pytest.approx((rows.mean() - 0.196, rows.mean() + 0.196), abs=0.03)


def test_a_statistic_that_is_not_defined_has_no_range():
    one_stone = [np.array([[0.4, 0.5]])]
    low_high = metrics.resampled_range(
        one_stone, lambda r: metrics.rank_correlation(r[:, 0], r[:, 1]), np.random.default_rng(1)
    )
    assert np.isnan(low_high).all()


def test_the_resampled_range_repeats_with_its_seed():
    rows = np.arange(20.0)
    ranges = [
        metrics.resampled_range(rows[:, None], np.mean, np.random.default_rng(5)) for _ in range(2)
    ]
    assert ranges[0] == ranges[1]


def drop() -> np.ndarray:
    mask = np.zeros((60, 60), bool)
    mask[10:50, 20:40] = True
    mask[10:30, 20:25] = False
    return mask


@pytest.mark.parametrize("turns", range(4))
def test_a_label_that_lies_turned_is_laid_back(turns):
    assert quarter_turns(drop(), np.rot90(drop(), -turns)) == turns


def test_a_label_that_fits_no_better_turned_is_left_as_it_is():
    round_stone = np.hypot(*(np.mgrid[:61, :61] - 30)) < 20
    assert quarter_turns(round_stone, round_stone) == 0
    nearly = round_stone.copy()
    nearly[8:12, 28:33] = True
    assert quarter_turns(nearly, np.rot90(nearly)) == 0


def test_a_label_is_not_turned_into_another_shape():
    wide = np.zeros((20, 60), bool)
    wide[5:15, 5:20] = True
    assert quarter_turns(wide, wide[:, ::-1]) in (0, 2)


def test_a_faint_line_counts_neither_as_missed_nor_as_invented():
    blank = np.zeros((40, 50), np.uint8)
    faint = labelled.Labelled("", blank, blank, blank, level_line(20), faint=level_line(5))
    both = replace(faint, doubtful=level_line(30))

    def scores(answer, truth):
        unjudged = labelled.unjudged(truth)
        return metrics.precision_recall_f1(
            metrics.line_counts(answer, truth.cracks, 2, unjudged)
        )[:2]  # fmt: skip

    assert scores(level_line(20), faint) == (1.0, 1.0)
    assert scores(level_line(20) | level_line(6), faint) == (1.0, 1.0)
    assert scores(level_line(20) | level_line(30), faint) == (0.5, 1.0)
    assert scores(level_line(20) | level_line(30), both) == (1.0, 1.0)
    assert labelled.unjudged(replace(faint, faint=None)) is None


@pytest.mark.slow
def test_a_render_tells_visible_cracks_and_faint_lines_apart():
    drawn = [renders.held_out_render(3, number) for number in range(3)]
    assert any(truth.faint.any() for truth in drawn)
    assert not any((truth.faint & truth.cracks).any() for truth in drawn)


def test_px_called_on_other_lines_are_counted_off_the_true_ones():
    answer, others, truth = (np.zeros((40, 60), bool) for _ in range(3))
    others[20, 10:50] = True
    answer[21, 10:20] = True  # 1 px aside: calls 10 px of the other line, and 1 beyond its end.
    np.testing.assert_array_equal(metrics.called_counts(answer, others, truth, 2, 5), [11, 40])
    truth[:, 30] = True  # Within 5 px of it 11 px are not judged.
    np.testing.assert_array_equal(metrics.called_counts(answer, others, truth, 2, 5), [11, 29])
    nothing = np.zeros_like(answer)
    np.testing.assert_array_equal(metrics.called_counts(nothing, others, truth, 2, 5), [0, 29])


def test_wrong_px_on_something_are_neither_right_nor_doubtful():
    answer, others, truth, faint = (np.zeros((40, 60), bool) for _ in range(4))
    answer[10, 5:25] = answer[30, 5:45] = True
    others[30, 5:45] = True
    np.testing.assert_array_equal(metrics.wrong_px_on(answer, others, truth, 2), [40, 60])
    truth[31, 5:15] = True  # 10 px are right, and 1 more within 2 px of the end: sqrt(1 + 1).
    np.testing.assert_array_equal(metrics.wrong_px_on(answer, others, truth, 2), [29, 60])
    faint[30, 30:45] = True  # 15 px, and 2 before them.
    np.testing.assert_array_equal(metrics.wrong_px_on(answer, others, truth, 2, faint), [12, 60])


def test_calibration_error_of_a_worked_example():
    # Naeini et al. 2015, from memory: bins of 2 and 3 of 5, off by |0.1 - 0.5| and |0.9 - 2/3|.
    p, true = np.array([0.05, 0.15, 0.85, 0.9, 0.95]), np.array([0, 1, 1, 1, 0.0])
    assert metrics.calibration_error(p, true, bins=2) == pytest.approx(
        2 / 5 * 0.4 + 3 / 5 * (0.9 - 2 / 3)
    )
    assert metrics.calibration_error(np.array([0.0, 1.0]), np.array([0, 1])) == 0
    assert metrics.calibration_error(np.array([0.0, 1.0]), np.array([1, 0])) == 1
    # 10 calls at .8 with 7 right, 10 at .6 with 5 right: 0.10 by hand (definition: Guo et al. 2017, from memory).
    sure, right = np.repeat([0.8, 0.6], 10), np.r_[np.arange(10) < 7, np.arange(10) < 5]
    assert metrics.calibration_error(sure, right) == pytest.approx(0.10)


def test_calibration_error_goes_with_scikit_learns_calibration_curve():
    rng = np.random.default_rng(1)
    p = rng.random(500) * 0.998 + 0.001
    y = rng.random(500) < p**2
    share, mean = calibration_curve(y, p, n_bins=10)
    n = np.bincount((p * 10).astype(int), minlength=10)
    assert metrics.calibration_error(p, y) == pytest.approx(np.abs(share - mean) @ n / 500)


def test_length_of_the_seen_stretches_of_a_polyline():
    path = np.array([(0, 0), (3, 4), (3, 10), (9, 18)])  # 5, 6 and 10 px.
    assert metrics.polyline_px(path, np.ones(4, bool)) == pytest.approx(21)
    assert metrics.polyline_px(path, np.array([True, True, True, False])) == pytest.approx(11)
    assert metrics.polyline_px(path, np.array([True, False, True, True])) == pytest.approx(10)


def test_the_largest_part_of_a_face_that_a_line_divides():
    mask, lines = np.ones((20, 100), bool), np.zeros((20, 100), bool)
    assert metrics.largest_part(mask, lines) == 1
    lines[:, 30] = True
    assert metrics.largest_part(mask, lines) == pytest.approx(69 / 99)
    lines[0, 30] = False  # One that stops short of the outline divides nothing.
    assert metrics.largest_part(mask, lines) == 1
    corners = np.eye(20, dtype=bool)
    assert metrics.largest_part(np.ones((20, 20), bool), corners) == pytest.approx(0.5)


def test_recall_of_pairs_is_told_at_the_precision_of_the_wet_photo_alone():
    cuts = len(crack_figures.CUTS)
    counts = np.zeros((1, 2, cuts, 4))
    counts[:, :, :, 3] = 100
    counts[:, 0] = (40, 50, 40, 100)  # Alone: precision 0.8, recall 0.4 at any cut.
    counts[:, 1] = (60, 100, 60, 100)  # Together: 0.6 and 0.6, too many wrong ones,
    counts[:, 1, -1] = (45, 50, 45, 100)  # but at the highest cut 0.9 and 0.45.
    assert crack_figures._recall_of_pairs(counts) == pytest.approx(0.45)
    counts[:, 1] = (10, 100, 10, 100)
    assert crack_figures._recall_of_pairs(counts) == 0


def test_glare_scores_by_hand():
    shape = (40, 40)
    hidden, found = np.zeros(shape, bool), np.zeros(shape, bool)
    hidden[10:20, 10:20], found[10:20, 10:25] = True, True
    found[36, 36] = True
    black, all_ = np.zeros((*shape, 3), np.float32), np.ones(shape, bool)
    face = Face(black, black, all_, 1.0, (0.0, 0.0))
    case = glare_methods.Case(face, hidden, all_)
    # 100 px are hidden, 151 found, 100 of them rightly.
    assert glare_methods.f1(found, case) == pytest.approx(200 / 251)
    # Away from the reflection and 4 px around it lie 1600 - 18 * 18 px; of what is found one column of 10 and one px.
    assert glare_methods.called_wrongly(found, case) == pytest.approx(
        (1 * 10 + 1) / (1600 - 18 * 18)
    )
    assert glare_methods.f1(~all_, glare_methods.Case(face, ~all_, all_)) == 1
