"""Training: batches read as photos are read, and weights that OpenCV runs to the same numbers."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.face.lines.cracks import cracks_input
from grader.face.regions.regions import regions_input
from grader.photo.colour import lab_from_linear, srgb_curve
from grader.photo.pieces import pieces_input
from grader.profile import load_profile
from grader.train.examples import IGNORE, UNJUDGED, read_examples

torch = pytest.importorskip("torch")

from grader.train import batches, learn  # noqa: E402


def some_examples() -> np.ndarray:
    rng = np.random.default_rng(3)
    some = rng.integers(0, 256, (2, 32, 32, 4)).astype(np.uint8)
    some[..., 3] %= 3
    some[:, :5, :, 3] = IGNORE
    return some


@pytest.mark.parametrize("part", sorted(learn.PARTS))
def test_a_batch_without_variety_reads_as_a_photo_is_read(part):
    some, profile = some_examples(), load_profile()
    read = batches.network_input(
        part, torch.from_numpy(some), profile, batches.PLAIN, np.random.default_rng(0)
    )
    for example, got in zip(some, read.numpy(), strict=True):
        lab, readable = lab_from_linear(srgb_curve()[example[..., :3]]), example[..., 3] != IGNORE
        expected = {
            "pieces": lambda lab=lab: pieces_input(lab),
            "regions": lambda lab=lab, readable=readable: regions_input(lab, readable, profile),
            "cracks": lambda lab=lab, readable=readable: cracks_input(lab, readable),
            "glare": lambda lab=lab, readable=readable: cracks_input(lab, readable),
        }[part]()
        np.testing.assert_allclose(got.transpose(1, 2, 0)[readable], expected[readable], atol=2e-3)
        assert (got[:, ~readable] == 0).all()


def turned_profile(profile, turn_deg):
    colours = (
        replace(c, hue_deg=(c.hue_deg[0] + turn_deg, c.hue_deg[1] + turn_deg))
        for c in profile.colours
    )
    return replace(profile, colours=tuple(colours))


def test_turning_all_hues_with_the_profile_changes_no_fit_to_a_class():
    some, profile = torch.from_numpy(some_examples()), load_profile()
    lab = batches.lab_of(batches.lit(some[..., :3], batches.PLAIN, np.random.default_rng(0)))
    turned = batches.turned_hues(lab, torch.full((2,), 123.0))
    masks = np.ones((32, 32), bool)
    before = regions_input(lab[0].permute(1, 2, 0).numpy(), masks, profile)[..., 4:]
    after = regions_input(
        turned[0].permute(1, 2, 0).numpy(), masks, turned_profile(profile, 123.0)
    )[..., 4:]
    np.testing.assert_allclose(after, before, atol=2e-3)
    assert (turned - lab).abs().max() > 5


def test_variety_changes_the_light_and_leaves_what_is_off_the_stone():
    some = torch.from_numpy(some_examples())
    plain, lit = (
        batches.network_input("regions", some, load_profile(), v, np.random.default_rng(1))
        for v in (batches.PLAIN, batches.Variety())
    )
    assert (plain - lit).abs().mean() > 0.01
    assert (lit[:, :, :5] == 0).all()


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("part", sorted(learn.PARTS))
def test_the_reduced_training_run_learns_and_its_weights_run_in_opencv(part, drawn, tmp_path):
    torch.set_num_threads(1)
    drawn = torch.from_numpy(read_examples(drawn / part))[:, :64, :64].contiguous()
    net = learn.train(part, drawn, steps=4, batch=2, seed=0, device="cpu")
    learn.export(net, part, tmp_path)
    picture = batches.network_input(
        part, drawn[:1], load_profile(), batches.PLAIN, np.random.default_rng(0)
    )
    with torch.no_grad():
        expected = net(picture).numpy()
    read = cv2.dnn.readNetFromONNX(str(tmp_path / f"{part}.onnx"))
    read.setInput(picture.numpy())
    np.testing.assert_allclose(read.forward(), expected, atol=1e-3)


@pytest.mark.parametrize("part", sorted(learn.PARTS))
def test_training_lowers_the_loss(part, drawn):
    torch.set_num_threads(1)
    some = torch.from_numpy(read_examples(drawn / part))[:2, 100:164, 100:164].contiguous()
    read = batches.network_input(
        part, some, load_profile(), batches.PLAIN, np.random.default_rng(0)
    )
    losses = []
    for steps in (1, 60):
        net = learn.train(part, some, steps=steps, batch=2, seed=0, device="cpu")
        with torch.no_grad():
            losses.append(learn.loss_of(part, net(read), some[..., 3]).item())
    assert losses[1] < 0.8 * losses[0]


def test_a_batch_without_a_judged_pixel_teaches_nothing():
    scores = torch.randn(1, 4, 8, 8, requires_grad=True)
    loss = learn.loss_of("glare", scores, torch.full((1, 8, 8), IGNORE, dtype=torch.uint8))
    loss.backward()
    assert loss.item() == 0
    assert not scores.grad.any()


def test_what_is_unjudged_counts_in_no_loss():
    scores = torch.randn(1, 5, 8, 8)
    target = torch.zeros((1, 8, 8), dtype=torch.uint8)
    target[:, 4:] = UNJUDGED
    other = scores.clone()
    other[:, :, 4:] += 5 * torch.randn(1, 5, 4, 8)
    torch.testing.assert_close(
        learn.loss_of("cracks", scores, target), learn.loss_of("cracks", other, target)
    )


def test_blur_is_that_of_the_library_and_leaves_a_sharp_picture():
    light = torch.rand(2, 3, 40, 40)
    got = batches.blurred(light, torch.tensor([0.0, 1.2]))
    torch.testing.assert_close(got[0], light[0])
    expected = cv2.GaussianBlur(
        light[1].permute(1, 2, 0).numpy(), (9, 9), 1.2, borderType=cv2.BORDER_REFLECT_101
    )
    np.testing.assert_allclose(got[1].permute(1, 2, 0).numpy(), expected, atol=1e-5)


def test_the_weights_of_cracks_stay_small_enough_to_ship():
    shape = learn.PARTS["cracks"]
    net = learn.UNet(shape.inputs, len(shape.outputs), shape.widths)
    assert sum(p.numel() for p in net.parameters()) * 4 < 3e6


class Says(torch.nn.Module):
    """A stub of a network that names every pixel alike."""

    def __init__(self, outputs, place):
        super().__init__()
        self.outputs, self.place = outputs, place

    def forward(self, picture):
        scores = torch.zeros(len(picture), self.outputs, *picture.shape[2:])
        scores[:, self.place] = 1
        return scores


def test_overlap_by_hand():
    some = torch.zeros(1, 4, 4, 4, dtype=torch.uint8)
    some[0, :2, :, 3], some[0, 3, :, 3] = 1, IGNORE
    overlaps = learn.overlap("glare", Says(2, 1), some, load_profile(), "cpu")
    # Of 12 pixels judged 8 are glare, and all are said to be.
    assert overlaps == {"stone": 0.0, "glare": round(8 / 12, 4)}
    overlaps = learn.overlap("pieces", Says(2, 0), some, load_profile(), "cpu")
    assert overlaps == {"ground": 0.0, "stone": round(8 / 12, 4)}


def test_the_centre_line_of_a_bar_is_its_middle():
    # Soft skeleton of clDice (Shit et al. 2021): erosions by a cross leave the middle row of a bar of 5.
    bar = torch.zeros(1, 24, 40)
    bar[0, 10:15, 6:34] = 1
    kept = learn.centre_lines(bar)[0]
    assert (kept[12, 9:31] > 0.99).all()
    assert kept[[10, 11, 13, 14], 9:31].max() < 0.01


def test_centre_lines_weigh_thin_and_wide_lines_alike():
    truth, thick, gap = torch.zeros(3, 1, 24, 40)
    truth[0, 12, 4:36], thick[0, 10:15, 4:36] = 1, 1
    gap[0, 12, 4:20] = 1
    assert learn.centre_overlap(truth, truth) == pytest.approx(1)
    # All of the thin line is met, and the middle of the thick one lies on it; half of the line is a recall of a half.
    assert learn.centre_overlap(thick, truth) > 0.9
    assert learn.centre_overlap(gap, truth) == pytest.approx(2 * 17 / 33 / (1 + 17 / 33), abs=0.02)
    assert learn.centre_overlap(torch.zeros_like(truth), truth) < 0.1


def test_a_hair_told_as_a_crack_costs_more_than_one_told_as_no_line():
    target = torch.zeros((1, 16, 16), dtype=torch.uint8)
    target[0, 8] = 4
    losses = []
    for channel in (0, 1):
        scores = torch.zeros(1, 5, 16, 16)
        scores[:, 0] = 6
        scores[0, :, 8], scores[0, channel, 8] = 0, 6
        losses.append(learn.loss_of("cracks", scores, target).item())
    assert losses[1] > losses[0] + 0.3
