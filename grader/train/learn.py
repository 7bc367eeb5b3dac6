"""Trains one network on drawn examples and writes its weights as ONNX, with a card of how it does on fresh renders."""

import copy
import hashlib
import json
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional

from grader.face.lines.cracks import NAMES as CRACK_NAMES
from grader.face.regions.regions import GLARE_WEIGHT, ROLES
from grader.face.sight.glare import NAMES as GLARE_NAMES
from grader.measures import MEASUREMENT_VERSION
from grader.profile import Profile, load_profile
from grader.train.batches import PLAIN, Variety, network_input
from grader.train.examples import IGNORE, UNJUDGED, read_examples
from grader.train.network import UNet


@dataclass(frozen=True)
class Part:
    """Shape of a part's network and what counts in its loss.

    widths : channels at each halving.   outputs : their names.   weights : how much a pixel of each name counts;
    empty for pieces, whose outputs are stone or ground, and depth.   whole : its channels
    are weighed by what holds for the whole picture.
    centred : centre-lines count in its loss, and so does what is told as a crack and is another line.
    """

    inputs: int
    outputs: tuple[str, ...]
    widths: tuple[int, ...]
    weights: tuple[float, ...] = ()
    whole: bool = False
    centred: bool = False


PARTS = {
    "pieces": Part(3, ("stone", "depth"), (24, 40, 64, 96, 144), whole=True),
    "regions": Part(7, (*ROLES, "unreadable"), (32, 48, 64, 96, 128), (1, 1, 1, GLARE_WEIGHT)),
    # It sees large pictures and needs little surround. Lines are rare, a px in 300; borders are not.
    "cracks": Part(4, CRACK_NAMES, (24, 40, 64, 96), (1, 4, 2, 1, 2), centred=True),
    # It sees the whole face: what is bright on a white stone is not on a dark one.
    "glare": Part(4, GLARE_NAMES, (24, 40, 64, 96, 128), (1, 1), whole=True),
}

#: Highest step of the optimiser; the share of the old average kept at each step.
RATE, KEPT = 3e-3, 0.998


def loss_of(part: str, scores: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    """Return the loss of a batch: cross-entropy and overlap of names; for pieces also the difference in depth."""
    judged = target < UNJUDGED
    if not judged.any():  # The mean over nothing is no number.
        return scores.sum() * 0
    if part == "pieces":
        stone = (target > 0) & judged
        entropy = functional.binary_cross_entropy_with_logits(
            scores[:, 0][judged], stone[judged].float()
        )
        lost = 1 - _overlap(torch.sigmoid(scores[:, 0]) * judged, stone.float())
        depth = (target.float() - 1).clamp_min(0) / 200
        off = (torch.sigmoid(scores[:, 1]) - depth).abs()[judged].mean()
        return entropy + 0.5 * lost + 2 * off
    weights = torch.tensor(PARTS[part].weights, dtype=torch.float32, device=scores.device)
    asked = target.long().masked_fill(~judged, IGNORE)
    entropy = functional.cross_entropy(scores, asked, weights, ignore_index=IGNORE)
    chances = scores.softmax(1) * judged.unsqueeze(1)
    truth = torch.stack([target == place for place in range(chances.shape[1])], 1).float()
    fine = part in ("cracks", "glare")
    first = 1 if fine else 0
    lost = [
        1 - _overlap(chances[:, place], truth[:, place]) for place in range(first, truth.shape[1])
    ]
    total = entropy + (0.5 if fine else 0.25) * torch.stack(lost).mean()
    if PARTS[part].centred:
        crack, other = truth[:, 1], truth[:, 2] + truth[:, 4]
        confused = (chances[:, 1] * other).sum() / (other.sum() + 1)
        total = total + 0.5 * (1 - centre_overlap(chances[:, 1], crack)) + 0.5 * confused
    return total


#: How often a line is thinned before its centre is left: half of the widest, px.
THINNED = 5


def centre_overlap(chance: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Return how well centre-lines lie on lines and lines on centre-lines, 0 to 1 (clDice, Shit et al. 2021, CVPR).

    chance, truth : (n, h, w), 0 to 1.
    """
    found, true = centre_lines(chance), centre_lines(truth)
    precision = ((found * truth).sum() + 1) / (found.sum() + 1)
    recall = ((true * chance).sum() + 1) / (true.sum() + 1)
    return 2 * precision * recall / (precision + recall)


def centre_lines(lines: torch.Tensor) -> torch.Tensor:
    """Return the soft skeleton, (n, h, w), of lines: what opening takes away at each step of thinning."""
    lines = lines.unsqueeze(1)
    kept = functional.relu(lines - _opened(lines))
    for _ in range(THINNED):
        lines = _thinned(lines)
        gone = functional.relu(lines - _opened(lines))
        kept = kept + functional.relu(gone - kept * gone)
    return kept.squeeze(1)


def _thinned(lines: torch.Tensor) -> torch.Tensor:
    across = -functional.max_pool2d(-lines, (3, 1), 1, (1, 0))
    return torch.minimum(across, -functional.max_pool2d(-lines, (1, 3), 1, (0, 1)))


def _opened(lines: torch.Tensor) -> torch.Tensor:
    return functional.max_pool2d(_thinned(lines), 3, 1, 1)


def _overlap(chance: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Twice the intersection over the sum, pooled over the batch; 1 is perfect."""
    return (2 * (chance * truth).sum() + 1) / ((chance + truth).sum() + 1)


def turned(examples: torch.Tensor, turn: int, mirror: bool) -> torch.Tensor:
    """Return a batch turned by quarter turns and mirrored: a stone has no upright side."""
    examples = torch.rot90(examples, turn, (1, 2))
    return examples.flip(2) if mirror else examples


def train(
    part: str, examples: torch.Tensor, steps: int, batch: int, seed: int, device: str
) -> UNet:
    """Return the network trained on examples, (n, side, side, 4) uint8: the slow average of its weights."""
    torch.manual_seed(seed)
    dice, profile = np.random.default_rng(seed), load_profile()
    shape = PARTS[part]
    torch.backends.cudnn.benchmark = True
    net = UNet(shape.inputs, len(shape.outputs), shape.widths, shape.whole).to(device)
    average = copy.deepcopy(net)
    fused = device == "cuda"
    tuner = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3, fused=fused)
    pace = torch.optim.lr_scheduler.OneCycleLR(tuner, RATE, total_steps=steps)
    began = time.perf_counter()
    for step in range(steps):
        pick = torch.from_numpy(dice.integers(len(examples), size=batch))
        chosen = examples[pick.to(examples.device)].to(device)
        chosen = turned(chosen, int(dice.integers(4)), bool(dice.integers(2)))
        with torch.no_grad():
            inputs = network_input(part, chosen, profile, Variety(), dice)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            scores = net(inputs)
        loss = loss_of(part, scores.float(), chosen[..., 3])
        tuner.zero_grad(set_to_none=True)
        loss.backward()
        tuner.step()
        pace.step()
        _follow(average, net, min(KEPT, step / (step + 10)))
        if step % max(1, steps // 10) == 0:
            print(
                f"{part} step {step} loss {loss.item():.4f} {time.perf_counter() - began:.0f} s",
                flush=True,
            )
    return average.eval()


def _follow(average: UNet, net: UNet, kept: float) -> None:
    slow, fast = (
        [value for value in one.state_dict().values() if value.is_floating_point()]
        for one in (average, net)
    )
    with torch.no_grad():
        torch._foreach_lerp_(slow, fast, 1 - kept)


def overlap(
    part: str, net: UNet, examples: torch.Tensor, profile: Profile, device: str
) -> dict[str, float]:
    """Return the pooled overlap (intersection / union) of each name on examples that were not trained on."""
    names = ("ground", "stone") if part == "pieces" else PARTS[part].outputs
    both, either = np.zeros(len(names)), np.zeros(len(names))
    with torch.no_grad():
        for k in range(0, len(examples), 16):
            chosen = examples[k : k + 16].to(device)
            scores = net(network_input(part, chosen, profile, PLAIN, np.random.default_rng(0)))
            judged = chosen[..., 3] < UNJUDGED
            pieces = part == "pieces"
            answer = (scores[:, 0] > 0).byte() if pieces else scores.argmax(1)
            truth = chosen[..., 3].clamp_max(1) if pieces else chosen[..., 3]
            for place in range(len(names)):
                a, b = (answer == place) & judged, (truth == place) & judged
                both[place] += (a & b).sum().item()
                either[place] += (a | b).sum().item()
    return {name: round(b / max(1, e), 4) for name, b, e in zip(names, both, either, strict=True)}


def export(net: UNet, part: str, folder: Path) -> None:
    """Write the weights as ONNX, sizes left open."""
    net = net.cpu().float()
    free = {"picture": {0: "n", 2: "h", 3: "w"}, "scores": {0: "n", 2: "h", 3: "w"}}
    torch.onnx.export(
        net, (torch.zeros(1, PARTS[part].inputs, 128, 160),), folder / f"{part}.onnx",
        input_names=["picture"], output_names=["scores"], dynamic_axes=free, opset_version=17, dynamo=False,
    )  # fmt: skip


def learn(part: str, data: Path, out: Path, steps: int, batch: int, seed: int) -> None:
    """Train a part on the examples below ``data``, and write its weights and card to ``out``."""
    device = "cuda" if torch.cuda.is_available() else "cpu"
    drawn = {
        name: torch.from_numpy(read_examples(data / name / part))
        for name in ("training", "tuning", "held_out")
    }
    net = train(part, drawn["training"].to(device), steps, batch, seed, device)
    card = {
        "part": part, "measurement_version": MEASUREMENT_VERSION, "learned_from": "renders only",
        "examples": len(drawn["training"]), "steps": steps, "batch": batch, "seed": seed,
        "parameters": sum(p.numel() for p in net.parameters()),
        "overlap": {
            name: overlap(part, net, drawn[name], load_profile(), device) for name in ("tuning", "held_out")
        },
        "torch": torch.__version__,
    }  # fmt: skip
    out.mkdir(parents=True, exist_ok=True)
    export(net, part, out)
    card["sha256"] = hashlib.sha256((out / f"{part}.onnx").read_bytes()).hexdigest()
    (out / f"{part}.training.json").write_text(json.dumps(card, indent=1) + "\n", "utf-8")
    print(json.dumps(card), flush=True)
