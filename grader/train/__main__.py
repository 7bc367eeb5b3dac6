"""``python -m grader.train pieces regions``: renders, trains, checks on held-out styles, writes weights."""

import argparse
import json
import time
from pathlib import Path

import numpy as np
import torch
from joblib import Parallel, delayed
from torch.nn import functional

from grader.measures import MEASUREMENT_VERSION
from grader.render import HELD_OUT, TRAINING
from grader.train.examples import IGNORE, Example, make_examples
from grader.train.network import UNet

CHANNELS = {"pieces": (3, 2), "regions": (7, 4)}
#: Glare is rare and a missed highlight is read as white band: it counts more than its share.
NAME_WEIGHTS = (1.0, 1.0, 1.0, 2.5)


def gather(
    parts: list[str], seed: int, photos: int, style, jobs: int
) -> dict[str, tuple[torch.Tensor, torch.Tensor]]:
    """Return pictures (n, channels, side, side) float16 and targets (n, ...) uint8, for each part."""
    made = Parallel(n_jobs=jobs)(
        delayed(make_examples)(parts, seed, k, style) for k in range(photos)
    )
    gathered = {}
    for part in parts:
        examples: list[Example] = [e for photo in made for e in photo[part]]
        pictures = (
            torch.from_numpy(np.stack([e.picture for e in examples]))
            .permute(0, 3, 1, 2)
            .contiguous()
        )
        gathered[part] = (pictures, torch.from_numpy(np.stack([e.target for e in examples])))
    return gathered


def loss_of(part: str, scores: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    """Loss of a batch: cross-entropy and overlap for names, absolute difference for depth."""
    if part == "regions":
        weights = torch.tensor(NAME_WEIGHTS, device=scores.device)
        return functional.cross_entropy(scores, target.long(), weights, ignore_index=IGNORE)
    seen = target[..., 0] != IGNORE
    stone = target[..., 0].float()
    chance = torch.sigmoid(scores[:, 0])
    entropy = functional.binary_cross_entropy_with_logits(scores[:, 0], stone, reduction="none")[
        seen
    ].mean()
    overlap = 1 - 2 * (chance * stone * seen).sum() / ((chance + stone) * seen).sum().clamp_min(1)
    depth = (torch.sigmoid(scores[:, 1]) - target[..., 1].float() / 200).abs()[seen].mean()
    return entropy + 0.5 * overlap + 2 * depth


def turned(
    pictures: torch.Tensor, targets: torch.Tensor, turn: int, mirror: bool
) -> tuple[torch.Tensor, torch.Tensor]:
    """A batch turned by quarter turns and mirrored: a stone has no upright side."""
    pictures, targets = torch.rot90(pictures, turn, (2, 3)), torch.rot90(targets, turn, (1, 2))
    return (pictures.flip(3), targets.flip(2)) if mirror else (pictures, targets)


def train(part: str, pictures, targets, steps: int, batch: int, seed: int, device: str) -> UNet:
    """Return the trained network."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    net = UNet(*CHANNELS[part]).to(device)
    pictures, targets = pictures.to(device), targets.to(device)
    tuner = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=1e-4)
    pace = torch.optim.lr_scheduler.OneCycleLR(tuner, 3e-3, total_steps=steps)
    began = time.perf_counter()
    for step in range(steps):
        pick = torch.from_numpy(rng.integers(len(pictures), size=batch)).to(device)
        x, y = turned(
            pictures[pick].float(), targets[pick], int(rng.integers(4)), bool(rng.integers(2))
        )
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            scores = net(x)
        loss = loss_of(part, scores.float(), y)
        tuner.zero_grad()
        loss.backward()
        tuner.step()
        pace.step()
        if step % max(1, steps // 10) == 0:
            print(
                f"{part} step {step} loss {loss.item():.4f} {time.perf_counter() - began:.0f} s",
                flush=True,
            )
    return net.eval()


def overlap(part: str, net: UNet, pictures, targets, device: str) -> dict[str, float]:
    """Return the pooled overlap (intersection / union) of each output on pictures that were not trained on."""
    names = ("stone",) if part == "pieces" else ("water", "sky", "shore", "unreadable")
    both, either = np.zeros(len(names)), np.zeros(len(names))
    with torch.no_grad():
        for k in range(0, len(pictures), 16):
            scores = net(pictures[k : k + 16].float().to(device)).cpu()
            target = targets[k : k + 16]
            truth = target[..., 0] if part == "pieces" else target
            said = (scores[:, 0] > 0).byte() * 1 if part == "pieces" else scores.argmax(1)
            seen = truth != IGNORE
            for place in range(len(names)):
                code = 1 if part == "pieces" else place
                a, b = (said == code) & seen, (truth == code) & seen
                both[place] += (a & b).sum().item()
                either[place] += (a | b).sum().item()
    return {name: round(b / max(1, e), 4) for name, b, e in zip(names, both, either, strict=True)}


def export(net: UNet, part: str, folder: Path) -> None:
    """Write the weights as ONNX, sizes left open."""
    net = net.cpu().float()
    free = {"picture": {0: "n", 2: "h", 3: "w"}, "scores": {0: "n", 2: "h", 3: "w"}}
    torch.onnx.export(
        net, (torch.zeros(1, CHANNELS[part][0], 128, 160),), folder / f"{part}.onnx",
        input_names=["picture"], output_names=["scores"], dynamic_axes=free, opset_version=17, dynamo=False,
    )  # fmt: skip


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.train", description=__doc__)
    ask.add_argument("parts", choices=sorted(CHANNELS), nargs="+")
    ask.add_argument("--out", type=Path, default=Path("models/starter"))
    ask.add_argument("--photos", type=int, default=2600)
    ask.add_argument("--held-out", type=int, default=160, help="photos of each style to check on")
    ask.add_argument("--steps", type=int, default=4500)
    ask.add_argument("--batch", type=int, default=16)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--jobs", type=int, default=-1)
    told = ask.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.perf_counter()
    learn = gather(told.parts, told.seed, told.photos, TRAINING, told.jobs)
    checks = {
        "tuning": gather(told.parts, told.seed + 1, told.held_out, TRAINING, told.jobs),
        "held_out": gather(told.parts, told.seed + 2, told.held_out, HELD_OUT, told.jobs),
    }
    print(f"rendered in {time.perf_counter() - began:.0f} s", flush=True)
    told.out.mkdir(parents=True, exist_ok=True)
    for part in told.parts:
        net = train(part, *learn[part], told.steps, told.batch, told.seed, device)
        card = {
            "part": part, "measurement_version": MEASUREMENT_VERSION, "learned_from": "renders only",
            "photos": told.photos, "examples": len(learn[part][0]), "steps": told.steps, "batch": told.batch,
            "seed": told.seed, "parameters": sum(p.numel() for p in net.parameters()),
            "overlap": {name: overlap(part, net, *check[part], device) for name, check in checks.items()},
            "torch": torch.__version__,
        }  # fmt: skip
        export(net, part, told.out)
        (told.out / f"{part}.training.json").write_text(json.dumps(card, indent=1) + "\n", "utf-8")
        print(json.dumps(card), flush=True)


if __name__ == "__main__":
    main()
