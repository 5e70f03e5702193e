"""The two networks: a coarse one for the region and a fine one for the rim and the through holes."""

from __future__ import annotations

from itertools import pairwise

import torch
from torch import Tensor, nn
from torch.nn import functional


def conv_bn(inputs: int, outputs: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    """3x3 convolution, batch norm (folds into the convolution on export), ReLU."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, padding=dilation, dilation=dilation, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class Residual(nn.Module):
    """Two 3x3 convolutions with a skip."""

    def __init__(self, channels: int, dilation: int = 1) -> None:
        super().__init__()
        self.first = conv_bn(channels, channels, dilation=dilation)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=dilation, dilation=dilation, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, x: Tensor) -> Tensor:
        """(B, C, H, W) in and out."""
        return functional.relu(x + self.second(self.first(x)))


class Context(nn.Module):
    """Self-attention over the whole picture (Vaswani et al. 2017), with a depthwise convolution that says where things
    lie (Chu et al. 2021). Starts as the identity: weights trained without it go on as they were."""

    def __init__(self, channels: int, heads: int = 6) -> None:
        super().__init__()
        self.heads = heads
        self.place = nn.Conv2d(channels, channels, 3, padding=1, groups=channels)
        self.before = nn.LayerNorm(channels)
        self.ask = nn.Linear(channels, 3 * channels)
        self.answer = nn.Linear(channels, channels)
        self.between = nn.LayerNorm(channels)
        self.widen = nn.Linear(channels, 2 * channels)
        self.narrow = nn.Linear(2 * channels, channels)
        for layer in (self.place, self.answer, self.narrow):
            nn.init.zeros_(layer.weight)
            nn.init.zeros_(layer.bias)

    def forward(self, x: Tensor) -> Tensor:
        """(B, C, H, W) in and out."""
        x = x + self.place(x)
        n, c, h, w = x.shape
        tokens = x.flatten(2).transpose(1, 2)
        q, k, v = self.ask(self.before(tokens)).reshape(n, h * w, 3, self.heads, c // self.heads).permute(2, 0, 3, 1, 4)
        weights = torch.softmax(q @ k.transpose(-2, -1) * (c // self.heads) ** -0.5, dim=-1)
        tokens = tokens + self.answer((weights @ v).transpose(1, 2).reshape(n, h * w, c))
        tokens = tokens + self.narrow(functional.gelu(self.widen(self.between(tokens))))
        return tokens.transpose(1, 2).reshape(n, c, h, w)


class HideNet(nn.Module):
    """A small U-Net (Ronneberger, Fischer, Brox 2015) with residual blocks (He et al. 2016).

    Parameters
    ----------
    inputs : channels of the picture: 3 colours in 0..1 and further maps in 0..1.
    outputs : logit channels, at the input's own size.
    widths : channels at 1/2, 1/4, 1/8, ... of the size.
    blocks : residual blocks of the encoder per level.
    contexts : blocks of attention at the coarsest level.

    Notes
    -----
    Height and width must be multiples of ``2 ** len(widths)``. Upsampling is by transposed convolution with kernel 2
    and stride 2: exact in every runtime, no question of pixel centres.
    """

    def __init__(
        self, inputs: int, outputs: int, widths: tuple[int, ...], blocks: tuple[int, ...], contexts: int = 0
    ) -> None:
        super().__init__()
        self.stem = conv_bn(inputs, widths[0], stride=2)
        self.down = nn.ModuleList(conv_bn(a, b, stride=2) for a, b in pairwise(widths))
        self.encode = nn.ModuleList(
            nn.Sequential(*(Residual(width, 2 if level >= 4 and index % 2 else 1) for index in range(count)))
            for level, (width, count) in enumerate(zip(widths, blocks, strict=True))
        )
        self.context = nn.Sequential(*(Context(widths[-1]) for _ in range(contexts)))
        self.up = nn.ModuleList(nn.ConvTranspose2d(b, a, 2, 2) for a, b in pairwise(widths))
        self.decode = nn.ModuleList(conv_bn(2 * a, a) for a in widths[:-1])
        self.head = nn.ConvTranspose2d(widths[0], outputs, 2, 2)

    def forward(self, x: Tensor) -> Tensor:
        """Logits (B, outputs, H, W) of a picture (B, inputs, H, W)."""
        x = self.encode[0](self.stem(x))
        skips = [x]
        for down, encode in zip(self.down, list(self.encode)[1:], strict=True):
            x = encode(down(x))
            skips.append(x)
        x = self.context(x)
        for level in range(len(self.up) - 1, -1, -1):
            x = self.decode[level](torch.cat([self.up[level](x), skips[level]], dim=1))
        return self.head(x)


def region_net() -> HideNet:
    """Whole photo, long side 640 px; inputs RGB, inside taps, outside taps; outputs: hide (through holes
    counted in), paper or thing."""
    return HideNet(5, 2, (24, 40, 72, 128, 192), (1, 2, 2, 2, 2), contexts=4)


FINE_OUTPUTS = ("hide", "hole", "cut", "brand", "stain", "scratch", "wrinkle")


def fine_net() -> HideNet:
    """Part of the photo at about 1 mm per px; inputs RGB, coarse probability; outputs FINE_OUTPUTS (holes counted into
    the hide)."""
    return HideNet(4, len(FINE_OUTPUTS), (16, 32, 48, 80, 128), (0, 1, 2, 2, 2))
