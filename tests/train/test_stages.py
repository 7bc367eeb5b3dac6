"""The glare network in stages: lessons of a seed, what patches count, what stays settled, one whole small run."""

import copy
import json

import cv2
import numpy as np
import pytest

from grader.photo.colour import lab_from_linear
from grader.render import TRAINING
from grader.render.environment import LAMP_RADIANCE, draw_environment
from grader.train import __main__ as command
from grader.train import reflections
from grader.train.reflections import Lesson

torch = pytest.importorskip("torch")

from grader.train import batches, learn, stages  # noqa: E402

SMALL = Lesson(side_px=160, mottled=0.0, polished=0.5)


@pytest.fixture(scope="module")
def photo():
    return stages.draw_photo(3, 0, TRAINING, SMALL, alike=3)


def test_a_seed_stands_for_its_lessons(photo):
    np.testing.assert_array_equal(photo, stages.draw_photo(3, 0, TRAINING, SMALL, alike=3))
    other = stages.draw_photo(4, 0, TRAINING, SMALL)
    assert photo.shape[1:] == (160, 160, 5)
    assert other.shape[1:] == (160, 160, 4)
    assert not np.array_equal(photo[-1, ..., :4], other[-1])


def test_what_a_px_counts_by_hand():
    hidden = np.zeros((60, 60), bool)
    hidden[1:3, 1:3] = hidden[10:30, 10:30] = hidden[32:58, 2:58] = True
    counts = stages.patch_counts(hidden, 3)
    # 4 px would count 100 times and count 3 times; 400 px once; 1456 px 0.27 times and count half.
    assert (counts[1, 1], counts[20, 20], counts[40, 40], counts[5, 50]) == (48, 16, 8, 16)


def test_counts_of_one_change_no_loss_and_a_higher_one_weighs_its_px():
    scores = torch.zeros(1, 2, 8, 8)
    scores[0, 0] = 2  # all is called stone
    target = torch.zeros((1, 8, 8), dtype=torch.uint8)
    target[0, :2, :2] = 1
    counts = torch.ones(1, 8, 8)
    plain = learn.loss_of("glare", scores, target)
    torch.testing.assert_close(learn.loss_of("glare", scores, target, counts), plain)
    counts[0, :2, :2] = 3
    assert learn.loss_of("glare", scores, target, counts) > plain + 0.1


def test_the_rounds_bring_more_and_all_of_a_stage():
    drawn = iter([np.full((2, 4, 4, 4), k, np.uint8) for k in range(9)])
    stage, noted = stages.Stage(SMALL, 7, 3, learn.Pace(3, 1)), []
    sizes = [len(pool) for pool in stages._pools(drawn, stage, "cpu", noted)]
    assert sizes == [4, 8, 14]
    assert noted == [14]
    assert next(drawn)[0, 0, 0, 0] == 7  # the next stage's


@pytest.mark.parametrize("settled", [True, False])
def test_settled_means_and_spreads_stay(photo, settled):
    torch.set_num_threads(1)
    net = learn.new_net("glare", 0, "cpu")
    before = copy.deepcopy(net.state_dict())
    pace = learn.Pace(2, 2, kept=0.0, settled=settled)
    pools = iter([torch.from_numpy(photo[:, :64, :64].copy())])
    after = learn.taught("glare", net, pools, 1, pace, np.random.default_rng(0), "cpu").state_dict()
    moved = {name for name in before if not torch.equal(before[name], after[name])}
    assert any("running" in name for name in moved) != settled
    assert "head.weight" in moved


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_small_run_from_nothing_writes_weights_that_opencv_reads(tmp_path):
    torch.set_num_threads(1)
    small = (
        stages.Stage(SMALL, 1, 1, learn.Pace(2, 2), alike=3),
        stages.Stage(Lesson(side_px=192), 1, 1, learn.Pace(1, 2, settled=True)),
    )
    stages.learn_in_stages(small, tmp_path, seed=1, jobs=1, checks=1)
    card = json.loads((tmp_path / "glare.training.json").read_text("utf-8"))
    assert len(card["examples"]) == len(card["stages"]) == 2
    assert set(card["overlap"]) == {"tuning", "held_out"}
    net = cv2.dnn.readNetFromONNX(str(tmp_path / "glare.onnx"))
    net.setInput(np.zeros((1, 4, 64, 96), np.float32))
    assert net.forward().shape == (1, 2, 64, 96)


def test_polished_stones_are_dark_and_their_lamps_small():
    rng = np.random.default_rng(6)
    level = [
        np.median(lab_from_linear(stone.reflect)[stone.mask][:, 0])
        for stone in (
            reflections.draw_stone(rng, TRAINING, Lesson(polished=1.0)) for _ in range(12)
        )
    ]
    assert np.mean(np.array(level) < 40) > 0.6  # patterns lie over the main colour of some
    surround = draw_environment(rng, ("panel",), np.float32([[0, 0, 1]]), 3)
    small = reflections._with_small_lamps(rng, surround)
    for one, other in zip(surround.lights, small.lights, strict=True):
        assert all(b < a for a, b in zip(one.half_rad, other.half_rad, strict=True))
        assert other.radiance.max() <= LAMP_RADIANCE[1]


def test_vivid_pictures_keep_lightness_and_hue():
    some = torch.randint(0, 256, (2, 32, 32, 4), dtype=torch.uint8)
    some[..., 3] = 0
    plain, vivid = (
        batches.network_input("glare", some, None, variety, np.random.default_rng(1))
        for variety in (batches.PLAIN, batches.Variety(0.0, 0.0, vivid=0.5))
    )
    torch.testing.assert_close(plain[:, 0], vivid[:, 0])
    gain = vivid[:, 1:3] / plain[:, 1:3]
    torch.testing.assert_close(gain, gain[:, :1, :1, :1].expand_as(gain), rtol=1e-3, atol=1e-3)
    assert (gain[:, 0, 0, 0] - 1).abs().min() > 0.01


@pytest.mark.parametrize("words", [["glare", "folder"], ["regions"]])
def test_glare_takes_no_folder_and_the_others_need_one(words, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["train", "learn", *words])
    with pytest.raises(SystemExit):
        command.main()
    assert "glare draws its own examples" in capsys.readouterr().err
