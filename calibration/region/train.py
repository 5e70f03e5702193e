"""Trains one of the two networks on scenes made on the fly: ``python train.py region|fine --minutes M --out FOLDER``.

Workers on the CPU draw the stencils (`shapes`, `masks`), the GPU paints them (`looks`), each set of stencils in several
looks. Seeds: worker w of a run with seed s starts from ``SeedSequence([s, w])``; scenes for checking from HELD_OUT.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import torch
from looks import TRUTH, Painter
from masks import draw, fine_window
from networks import FINE_OUTPUTS, HideNet, fine_net, region_net
from real import RealPhotos, RealScenes, load
from shapes import PHOTO_PX, Scene, make_scene
from torch import Tensor
from torch.nn import functional
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

HELD_OUT = 987_654_321
EVERYDAY_SHARE = 0.65
"""Part of the pictures without what no careful person photographs (`Painter.everyday`)."""
TAP_PX = 5
"""Radius of a tap's disc in the hint channels, px of the network's picture."""

Sample = tuple[np.ndarray, np.ndarray, np.ndarray, float]


def sample(rng: np.random.Generator, kind: str, size: tuple[int, int]) -> Sample:
    """Stencils, pixels -> mm, frame of the first hide, enlargement relative to the photo of the region network."""
    scene = make_scene(rng)
    if kind == "fine":
        window, scale = fine_window(scene, size[0], rng)
    else:
        scale = size[0] / PHOTO_PX[0]
        c = (scale - 1) / 2
        window = np.array([[scale, 0, c], [0, scale, c], [0, 0, 1.0]])
    return draw(scene, window, size, rng), np.linalg.inv(window @ scene.homography), hide_frame(scene), scale


def hide_frame(scene: Scene) -> np.ndarray:
    """(x, y, angle, length) of the first hide."""
    if not scene.hides:
        return np.array([0, 0, 0, 1000.0])
    hide = scene.hides[0]
    return np.array([*hide.origin, hide.angle, hide.length])


class Stencils(IterableDataset[dict[str, Tensor]]):
    """Endless batches of stencils."""

    def __init__(self, kind: str, size: tuple[int, int], batch: int, seed: int) -> None:
        self.kind, self.size, self.batch, self.seed = kind, size, batch, seed

    def __iter__(self) -> Iterator[dict[str, Tensor]]:
        cv2.setNumThreads(1)
        torch.set_num_threads(1)
        info = get_worker_info()
        rng = np.random.default_rng(np.random.SeedSequence([self.seed, info.id if info else 0]))
        while True:
            found: list[Sample] = []
            while len(found) < self.batch:
                try:
                    found.append(sample(rng, self.kind, self.size))
                except Exception as error:  # a degenerate random shape: skip it
                    print("skipped:", repr(error)[:100], flush=True)
            yield collate(found)


def collate(found: list[Sample]) -> dict[str, Tensor]:
    """Samples stacked."""
    return {
        "masks": torch.from_numpy(np.stack([f[0] for f in found])),
        "to_mm": torch.from_numpy(np.stack([f[1] for f in found]).astype(np.float32)),
        "frame": torch.from_numpy(np.stack([f[2] for f in found]).astype(np.float32)),
        "scale": torch.tensor([f[3] for f in found], dtype=torch.float32),
    }


def coarse_guess(painter: Painter, hide: Tensor, scale: Tensor) -> Tensor:
    """What a region network might say of a fine window: the truth blurred, bent, with blobs wrong."""
    n, _, h, w = hide.shape
    k = scale.view(-1, 1, 1, 1)
    ys, xs = torch.meshgrid(torch.arange(h, device=hide.device), torch.arange(w, device=hide.device), indexing="ij")
    xy = torch.stack([xs, ys]).float()[None].expand(n, 2, h, w)
    one = torch.ones((n, 1, 1, 1), device=hide.device)
    bend = painter.u(n, 0, 1.6) * painter.u(n) * k
    wave = painter.log_u(n, 12, 60) * k
    bent = painter.moved(hide, bend * painter.noise(xy, one, wave), bend * painter.noise(xy, one, wave))
    p = painter.blurred(bent, painter.u(n, 0.5, 1.8) * k)
    wrong = painter.often(n, 0.35) * (
        (painter.noise(xy, one, painter.log_u(n, 12, 80) * k) - painter.u(n, 0.8, 2.0)) * 4
    ).clamp(0, 1)
    near = 4 * painter.blurred(hide, 6 * k) * (1 - painter.blurred(hide, 6 * k))
    wrong = wrong * (0.3 + 0.7 * near)
    p = p * (1 - wrong) + (1 - p) * wrong * painter.u(n, 0.5, 1)
    logit = torch.logit(p.clamp(0.002, 0.998)) * painter.u(n, 0.6, 1.6) + painter.normal(n, 0.4)
    doubt = painter.often(n, 0.15) * painter.u(n, 0.2, 0.8)
    return torch.sigmoid(logit * (1 - doubt))


def taps_for(error: Tensor, truth: Tensor, taps: Tensor, painter: Painter, radius: int) -> Tensor:
    """The hint maps (n, 2, h, w) with one tap more, in the middle of the largest wrong region, and a few at random."""
    n, _, h, w = truth.shape
    spread = error
    for k in (9, 17, 33):
        spread = functional.avg_pool2d(spread, k, 1, k // 2) * 0.5 + spread * error * 0.5
    at = spread.flatten(1).argmax(1)
    random = torch.rand((n, h * w), generator=painter.rng, device=truth.device)
    edge = 4 * functional.avg_pool2d(truth, 9, 1, 4) * (1 - functional.avg_pool2d(truth, 9, 1, 4))
    random = random - 2 * (edge.flatten(1) > 0.05)
    other = random.argmax(1)
    ys, xs = torch.meshgrid(torch.arange(h, device=truth.device), torch.arange(w, device=truth.device), indexing="ij")
    out = taps
    worth = (error.mean((1, 2, 3)) > 5e-4).float()
    stray = (torch.rand(n, generator=painter.rng, device=truth.device) < 0.5).float()
    for i, weight in ((at, worth), (other, stray)):
        d = (ys[None] - (i // w)[:, None, None]) ** 2 + (xs[None] - (i % w)[:, None, None]) ** 2
        disc = (d <= radius**2).float()[:, None] * weight.view(-1, 1, 1, 1)
        inside = truth.flatten(1).gather(1, i[:, None]).view(-1, 1, 1, 1) > 0.5
        out = torch.maximum(out, torch.cat([disc * inside, disc * ~inside], 1))
    return out


def recoloured(x: Tensor, painter: Painter) -> Tensor:
    """Another gain, gamma and balance for the three colours; the other channels stay."""
    n = len(x)
    photo = x[:, :3].clamp(1e-4, 1) ** painter.log_u(n, 0.7, 1.4)
    photo = photo * painter.log_u(n, 0.7, 1.3) * (1 + painter.normal(n, 0.06, 3))
    swap = painter.u(n) * 0.5 * painter.often(n, 0.5)
    photo = photo * (1 - swap) + photo.flip(1) * swap
    photo = photo + 0.01 * painter.u(n) * torch.randn(photo.shape, generator=painter.rng, device=x.device)
    return torch.cat([photo.clamp(0, 1), x[:, 3:]], 1).contiguous(memory_format=torch.channels_last)


def loss_of(logits: Tensor, truth: Tensor, weight: Tensor | None = None) -> Tensor:
    """Cross-entropy, and a little soft Dice: of the first channel by picture, of rare things over the whole batch."""
    logits = logits.float()
    bce = functional.binary_cross_entropy_with_logits(logits, truth, weight=weight)
    p, t = torch.sigmoid(logits[:, :1]), truth[:, :1]
    dice = 1 - (2 * (p * t).sum((1, 2, 3)) + 50) / (p.sum((1, 2, 3)) + t.sum((1, 2, 3)) + 50)
    loss = bce + 0.15 * dice.mean()
    if weight is not None:  # most windows have none of these
        known = (weight[:, 1:] > 0).float()
        p, t = torch.sigmoid(logits[:, 1:]) * known, truth[:, 1:] * known
        rare = 1 - (2 * (p * t).sum((0, 2, 3)) + 50) / (p.sum((0, 2, 3)) + t.sum((0, 2, 3)) + 50)
        loss = loss + 0.1 * rare.sum()
    return loss


def fine_targets(painter: Painter, truth: Tensor, known: Tensor) -> tuple[Tensor, Tensor]:
    """Truth and weights (n, len(FINE_OUTPUTS), h, w): the rim counts more than the middle, marks more than none."""
    at = [TRUTH.index(name) for name in FINE_OUTPUTS]
    truth, known = torch.nan_to_num(truth[:, at]), known[:, at]
    one = torch.ones_like(truth[:, :1, :1, :1])
    soft = painter.blurred(truth[:, :1], 1.5 * one)
    weight = torch.empty_like(truth)
    weight[:, :1] = 0.5 + 2.0 * (4 * soft * (1 - soft)).clamp(0, 1)
    # small things count by their edges too: what is just beside one is not one
    weight[:, 1:3] = 0.5 + 12 * painter.blurred(truth[:, 1:3], 3 * one)
    weight[:, 3:] = 1.0 + 4 * painter.blurred(truth[:, 3:], 5 * one)
    return truth, weight * known


def iou_of(logits: Tensor, truth: Tensor) -> Tensor:
    """IoU per sample of the first channel."""
    a, b = logits[:, :1] > 0, truth[:, :1] > 0.5
    return (a & b).sum((1, 2, 3)) / (a | b).sum((1, 2, 3)).clamp(min=1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=["region", "fine"])
    parser.add_argument("--minutes", type=float, default=9)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--workers", type=int, default=14)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--small", type=float, default=0.55, help="part of the time at the smaller picture (region)")
    parser.add_argument("--batch", type=int, default=0)
    parser.add_argument("--looks", type=int, default=3, help="paintings per set of stencils")
    parser.add_argument("--held", type=int, default=48, help="held-out pictures")
    parser.add_argument("--real", type=Path, help="outlines of real photos (real_outlines.json)")
    parser.add_argument("--photos", type=Path, help="the folder of those photos")
    parser.add_argument("--textures", type=Path, help="a folder of further floors and cloths")
    parser.add_argument("--real-share", type=float, default=0.5, help="part of the steps that see real things")
    a = parser.parse_args()
    cv2.setNumThreads(1)
    start = time.time()
    end = start + a.minutes * 60
    device = torch.device(a.device)
    a.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    net = (region_net() if a.kind == "region" else fine_net()).to(device).to(memory_format=torch.channels_last)
    if a.start:
        ours = net.state_dict()
        start_from = {k: v for k, v in torch.load(a.start, map_location=device).items() if v.shape == ours[k].shape}
        print(f"{len(start_from)} of {len(ours)} tensors go on from {a.start}", flush=True)
        net.load_state_dict({**ours, **{k: v.to(ours[k].dtype) for k, v in start_from.items()}})
    average = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    optimiser = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-4)
    painters = Painter(device, a.seed), Painter(device, a.seed + 500, everyday=True)
    held = fixed_set(a.kind, device, a.held)
    scenes, real_held = None, None
    if a.real:
        scenes = RealScenes(load(a.real, a.photos, "train", device, a.textures), Painter(device, a.seed + 900))
        real_held = load(a.real, a.photos, "validation", device)
        for painter in painters:
            painter.borrow = scenes
        print(f"{len(scenes.photos.photo)} real photos to train on, {len(real_held.photo)} to check on", flush=True)
    stages = [((448, 352), 48, a.small), ((640, 480), 24, 1.0)] if a.kind == "region" else [((320, 320), 64, 1.0)]
    step, seen, bad, shown = 0, 0, 0, time.time()
    for size, batch, until in stages:
        batch = a.batch or batch
        if time.time() - start > until * a.minutes * 60:
            continue
        data = DataLoader(
            Stencils(a.kind, size, batch, a.seed * 1000 + size[0]),
            batch_size=None, num_workers=a.workers, pin_memory=device.type == "cuda", prefetch_factor=2 if a.workers else None,
            multiprocessing_context="spawn" if a.workers else None,  # a fork would inherit OpenCV's threads, dead
        )  # fmt: skip
        waited = 0.0
        tick = time.time()
        for group in data:
            waited += time.time() - tick
            masks = group["masks"].to(device, non_blocking=True)
            to_mm, frame, scale = (group[k].to(device, non_blocking=True) for k in ("to_mm", "frame", "scale"))
            for _ in range(a.looks):
                part = min(1.0, (time.time() - start) / (a.minutes * 60))
                rate = a.rate * min(1, (step + 1) / 150) * (0.5 * (1 + math.cos(math.pi * part)) + 0.002)
                for g in optimiser.param_groups:
                    g["lr"] = rate
                with torch.no_grad():
                    painter = painters[int(torch.rand(()) < EVERYDAY_SHARE)]
                    real = scenes is not None and a.kind == "region" and bool(torch.rand(()) < a.real_share)
                    if scenes is not None and real:
                        photo, truth, weight = scenes.draw(len(masks), size)
                        extra = torch.zeros_like(truth)
                    else:
                        photo, truth, known = painter.paint(masks.float() / 255, to_mm, frame, a.kind == "fine")
                    if real:
                        pass
                    elif a.kind == "fine":
                        extra = coarse_guess(painter, truth[:, :1], scale)
                        truth, weight = fine_targets(painter, truth, known)
                    else:
                        extra, truth, weight = torch.zeros_like(truth[:, :2]), torch.nan_to_num(truth[:, :2]), None
                    x = torch.nan_to_num(torch.cat([photo, extra], 1)).contiguous(memory_format=torch.channels_last)
                    if torch.rand(()) < 0.5:
                        x, truth = x.flip(3), truth.flip(3)
                        weight = weight.flip(3) if weight is not None else None
                    if torch.rand(()) < 0.5:
                        x, truth = x.flip(2), truth.flip(2)
                        weight = weight.flip(2) if weight is not None else None
                for view in range(2):  # painting costs more than learning: a second, recoloured view of each painting
                    if view:
                        x, truth = x.flip(2, 3), truth.flip(2, 3)
                        weight = weight.flip(2, 3) if weight is not None else None
                        x = recoloured(x, painter)
                    with torch.autocast(device.type, torch.bfloat16):
                        logits = net(x)
                    loss = loss_of(logits, truth, weight)
                    optimiser.zero_grad(set_to_none=True)
                    loss.backward()
                    if a.kind == "region":  # the same pictures with taps where it was wrong
                        with torch.no_grad():
                            wrong = ((torch.sigmoid(logits[:, :1].float()) - truth[:, :1]).abs() > 0.5).float()
                            taps = taps_for(wrong, truth[:, :1], x[:, 3:], painter, round(TAP_PX * size[0] / 640))
                            hinted = torch.cat([x[:, :3], taps], 1).contiguous(memory_format=torch.channels_last)
                        with torch.autocast(device.type, torch.bfloat16):
                            again = net(hinted)
                        (0.5 * loss_of(again, truth, weight)).backward()
                    norm = torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
                    if not torch.isfinite(norm):
                        bad += 1
                        print("a step without finite gradients was left out", flush=True)
                        if bad > 20:
                            raise SystemExit("Traceback: too many bad steps")
                        continue
                    optimiser.step()
                    average.update_parameters(net)
                    step += 1
                    seen += len(x)
                if time.time() - shown > 45 or (device.type == "cpu" and step % 5 == 0):
                    shown = time.time()
                    report = check(average.module, held, a.kind)
                    if real_held is not None and a.kind == "region":
                        report += " | " + check_real(average.module, real_held)
                    save(average.module, a.out / f"{a.kind}.pt")
                    print(
                        f"{a.kind} {time.time() - start:5.0f} s step {step} scenes {seen} size {size} waited {waited:.0f} s loss {loss.item():.4f} rate {rate:.5f} | {report}",
                        flush=True,
                    )
                if time.time() > start + until * (end - start):
                    break
            tick = time.time()
            if time.time() > start + until * (end - start):
                break
        del data
    save(average.module, a.out / f"{a.kind}.pt")
    print(f"{a.kind} done: {step} steps, {seen} scenes | {check(average.module, held, a.kind)}", flush=True)
    if real_held is not None and a.kind == "region":
        print(check_real(average.module, real_held), flush=True)
    show(average.module, held, a.kind, a.out)


def save(net: HideNet, path: Path) -> None:
    """Weights as float16."""
    torch.save({k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()}, path)


def fixed_set(kind: str, device: torch.device, count: int) -> list[tuple[Tensor, Tensor]]:
    """Pictures with truth from held-out seeds, in batches of 8."""
    painter = Painter(device, HELD_OUT, everyday=True)
    rng = np.random.default_rng(HELD_OUT)
    out = []
    for _ in range(count // 8):
        group = collate([sample(rng, kind, PHOTO_PX if kind == "region" else (320, 320)) for _ in range(8)])
        with torch.no_grad():
            photo, truth, _ = painter.paint(
                group["masks"].to(device).float() / 255,
                group["to_mm"].to(device),
                group["frame"].to(device),
                kind == "fine",
            )
            if kind == "fine":
                extra = coarse_guess(painter, truth[:, :1], group["scale"].to(device))
            else:
                extra = torch.zeros_like(truth[:, :2])
        names = ("hide", "cover") if kind == "region" else FINE_OUTPUTS
        out.append((torch.cat([photo, extra], 1), truth[:, [TRUTH.index(name) for name in names]]))
    return out


@torch.no_grad()
def check(net: HideNet, held: list[tuple[Tensor, Tensor]], kind: str) -> str:
    """IoU over the held-out pictures that show a hide."""
    net.eval()
    values: list[Tensor] = []
    both = either = torch.zeros(1)
    for x, truth in held:
        logits = net(x.contiguous(memory_format=torch.channels_last))
        some = truth[:, :1].mean((1, 2, 3)) > 0.01
        values.append(iou_of(logits, truth)[some])
        a, b = logits > 0, truth > 0.5
        both = (a & b).sum((0, 2, 3)).cpu() + both
        either = (a | b).sum((0, 2, 3)).cpu() + either
    net.train()
    v = torch.cat(values).float().cpu().numpy()
    names = ("hide", "cover") if kind == "region" else FINE_OUTPUTS
    shares = " ".join(f"{n} {x:.3f}" for n, x in zip(names, (both / either.clamp(min=1)).tolist(), strict=True))
    return f"IoU median {np.median(v):.4f} p10 {np.percentile(v, 10):.4f} min {v.min():.3f} | of all pixels: {shares}"


@torch.no_grad()
def check_real(net: HideNet, photos: RealPhotos) -> str:
    """IoU over real photos, coarse."""
    net.eval()
    values = []
    for i in range(0, len(photos.photo), 16):
        x = photos.photo[i : i + 16].float() / 255
        x = torch.cat([x, torch.zeros_like(x[:, :2])], 1).contiguous(memory_format=torch.channels_last)
        values.append(iou_of(net(x), photos.inside[i : i + 16].float() / 255))
    net.train()
    v = torch.cat(values).float().cpu().numpy()
    return f"real: IoU median {np.median(v):.4f} p10 {np.percentile(v, 10):.3f}, >= 0.965 {np.mean(v >= 0.965):.3f}"


@torch.no_grad()
def show(net: HideNet, held: list[tuple[Tensor, Tensor]], kind: str, out: Path) -> None:
    """A sheet of the held-out pictures with the contours drawn: truth green, found red."""
    net.eval()
    cells = []
    for x, truth in held[:3]:
        logits = net(x)
        for i in range(len(x)):
            picture = np.ascontiguousarray((x[i, :3].permute(1, 2, 0).cpu().numpy()[..., ::-1] * 255).astype(np.uint8))
            for data, colour in ((truth[i] > 0.5, (0, 255, 0)), (logits[i] > 0, (0, 0, 255))):
                for channel in data[:1] if kind == "region" else data[:6]:
                    contours, _ = cv2.findContours(
                        channel.cpu().numpy().astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE
                    )
                    cv2.drawContours(picture, contours, -1, colour, 1)
            cells.append(picture)
    rows = [np.hstack(cells[i : i + 6]) for i in range(0, len(cells) - 5, 6)]
    cv2.imwrite(str(out / f"{kind}.jpg"), np.vstack(rows), [cv2.IMWRITE_JPEG_QUALITY, 85])


if __name__ == "__main__":
    main()
