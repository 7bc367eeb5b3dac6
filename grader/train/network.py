"""The one network shape that all parts use: a small U-Net."""

import torch
from torch import nn
from torch.nn import functional


def _double(inputs: int, outputs: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU(inplace=True),
        nn.Conv2d(outputs, outputs, 3, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU(inplace=True),
    )  # fmt: skip


def _mean(x: torch.Tensor) -> torch.Tensor:
    return functional.adaptive_avg_pool2d(x, 1)


class UNet(nn.Module):
    """Scores for every pixel of a picture, shape (n, inputs, h, w) to (n, outputs, h, w); h and w multiples of 32.

    The first layer reads 2×2 pixel blocks and the last one looks at the full-size picture again, which costs
    a quarter of a full-size first level and keeps the borders sharp. With ``whole`` each channel of the
    deepest level is weighed by a mean over all places that count: by what holds for the whole picture.
    """

    def __init__(
        self, inputs: int, outputs: int, widths: tuple[int, ...], whole: bool = False
    ) -> None:
        super().__init__()
        self.heed = nn.Conv2d(widths[-1], widths[-1], 1) if whole else None
        self.weigh = nn.Conv2d(widths[-1], widths[-1], 1) if whole else None
        self.stem = nn.Conv2d(inputs, widths[0], 4, stride=2, padding=1)
        self.down = nn.ModuleList(
            _double(a, b) for a, b in zip((widths[0], *widths[:-1]), widths, strict=True)
        )
        self.up = nn.ModuleList(
            _double(a + b, a) for a, b in zip(widths[-2::-1], widths[:0:-1], strict=True)
        )
        fine = widths[0] * 2 // 3
        self.fine = nn.Sequential(
            nn.Conv2d(widths[0] + inputs, fine, 3, padding=1), nn.ReLU(inplace=True)
        )
        self.head = nn.Conv2d(fine, outputs, 1)

    def forward(self, picture: torch.Tensor) -> torch.Tensor:
        x, kept = self.stem(picture), []
        for level, block in enumerate(self.down):
            x = block(x if level == 0 else functional.max_pool2d(x, 2))
            kept.append(x)
        if self.weigh is not None:
            heed = torch.sigmoid(self.heed(x))
            x = x * torch.sigmoid(self.weigh(_mean(x * heed) / (_mean(heed) + 1e-3)))
        for block, skip in zip(self.up, kept[-2::-1], strict=True):
            x = block(
                torch.cat([functional.interpolate(x, scale_factor=2, mode="nearest"), skip], 1)
            )
        x = functional.interpolate(x, scale_factor=2, mode="bilinear", align_corners=False)
        return self.head(self.fine(torch.cat([x, picture], 1)))
