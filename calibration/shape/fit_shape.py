"""Refit the shape models of hidescan/settings/shape.py on generated outlines: axis choice, neck end, form.

Run from the project's root:  python -m calibration.shape.fit_shape [--count 1500] [--workers 2]
It prints the fields to put into SymmetrySettings, ShapeSettings.axis_weights, EndSettings and FormSettings.
The outlines come from tests/synthetic/hides.py with seeds [7, i]; the tests use other seeds. numpy and scipy only.
"""

import argparse
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hidescan.anatomy.ends import axis_crossings, end_figures, reach_past_both
from hidescan.anatomy.form import FORMS, edge_frame, form_features, straight_edge
from hidescan.anatomy.symmetry import mirror_axes, mirror_fit, mirror_frame, unit_outline
from hidescan.settings import ShapeSettings
from tests.synthetic.hides import SPECIES, any_form

Array = NDArray[np.float64]

# Ridge on standardised features. The end's is strong: another hand's hides will differ from ours.
RIDGE_END, RIDGE_FORM, RIDGE_AXIS = 5.0, 1.0, 0.01
RIGHT_AXIS_DEG = 20.0


def describe(job: tuple[int, str]) -> dict[str, Any]:
    """One generated outline: its features, and which candidate is the truth."""
    seed, form = job
    hide = any_form(np.random.default_rng([7, seed]), form, SPECIES[seed % len(SPECIES)])
    return describe_ring(form, hide.ring_mm, hide.axis_angle_deg)


def describe_ring(form: str, ring_mm: Array, truth_deg: float) -> dict[str, Any]:
    settings = ShapeSettings()
    outline = unit_outline(ring_mm, settings.symmetry)
    mirrors = [mirror_fit(outline, *start, settings.symmetry) for start in mirror_axes(outline, settings.symmetry)]
    edge = straight_edge(outline, settings.form)
    out: dict[str, Any] = {"form": form, "form_features": form_features(outline, mirrors, edge, settings.form)}
    if form == "whole":
        frames = [mirror_frame(outline, mirror) for mirror in mirrors]
        crossings = [axis_crossings(frame) for frame in frames]
        kept = [
            (mirror, end_figures(frame, *ends, settings.ends))
            for mirror, frame, ends in zip(mirrors, frames, crossings, strict=True)
            if ends is not None
        ]
        off = np.array([(mirror.angle_deg - truth_deg + 90) % 180 - 90 for mirror, _ in kept])
        right = int(np.abs(off).argmin())
        if abs(off[right]) < RIGHT_AXIS_DEG:
            mirror, figures = kept[right]
            out["axes"] = np.array([(m.agreement, m.overlap, reach_past_both(f)) for m, f in kept])
            out["right_axis"] = right
            out["z"] = off[right] / mirror.angle_sd_deg
            same = abs((mirror.angle_deg - truth_deg + 180) % 360 - 180) < 90
            out["end_features"] = (figures[0] - figures[1]) * (1 if same else -1)
    elif form == "side":
        length = float(np.linalg.norm(edge.end - edge.start))
        figures = end_figures(edge_frame(outline, edge, settings.form), 0.0, length, settings.ends, left_only=True)
        same = abs((edge.angle_deg - truth_deg + 180) % 360 - 180) < 90
        out["end_features"] = (figures[0] - figures[1]) * (1 if same else -1)
        out["z"] = ((edge.angle_deg - truth_deg + 90) % 180 - 90) / edge.angle_sd_deg
    return out


def newton(gradient_hessian: Callable[[Array], tuple[Array, Array]], size: int) -> Array:
    """Minimise a convex function by damped Newton steps."""
    w = np.zeros(size)
    for _ in range(60):
        gradient, hessian = gradient_hessian(w)
        step = np.linalg.solve(hessian, gradient)
        w = w - step * min(1.0, 2.0 / np.abs(step).max())
    return w


def fit_ends(features: Array) -> Array:
    """Logistic regression without constant: every row is neck less tail, so every label is 1."""
    spread = features.std(axis=0)
    z = features / spread

    def gradient_hessian(w: Array) -> tuple[Array, Array]:
        p = 1 / (1 + np.exp(-z @ w))
        return -z.T @ (1 - p) + RIDGE_END * w, (z * (p * (1 - p))[:, None]).T @ z + RIDGE_END * np.eye(len(w))

    return np.asarray(newton(gradient_hessian, z.shape[1]) / spread)


def fit_axes(cases: list[tuple[Array, int]]) -> Array:
    """Conditional logistic choice among the candidate axes of each hide."""

    def gradient_hessian(w: Array) -> tuple[Array, Array]:
        gradient, hessian = RIDGE_AXIS * w, RIDGE_AXIS * np.eye(len(w))
        for axes, right in cases:
            p = np.exp(axes @ w - (axes @ w).max())
            p = p / p.sum()
            mean = p @ axes
            gradient = gradient + mean - axes[right]
            hessian = hessian + (axes * p[:, None]).T @ axes - np.outer(mean, mean)
        return gradient, hessian

    return newton(gradient_hessian, len(cases[0][0][0]))


def fit_forms(features: Array, labels: NDArray[np.int64]) -> tuple[Array, Array, Array]:
    """Multinomial logistic regression; every form weighs as the users' hides are thought to fall (whole most)."""
    centre, spread = features.mean(axis=0), features.std(axis=0)
    centre[0], spread[0] = 0.0, 1.0
    z = (features - centre) / spread
    count, size = len(FORMS), features.shape[1]
    prior = np.array([0.36, 0.24, 0.05, 0.05, 0.05, 0.25])
    weight = (prior / np.bincount(labels, minlength=count))[labels] * len(labels)
    onehot = np.eye(count)[labels]

    def gradient_hessian(flat: Array) -> tuple[Array, Array]:
        w = flat.reshape(count, size)
        score = z @ w.T
        p = np.exp(score - score.max(axis=1, keepdims=True))
        p = p / p.sum(axis=1, keepdims=True)
        gradient = ((p - onehot) * weight[:, None]).T @ z + RIDGE_FORM * w
        hessian = RIDGE_FORM * np.eye(count * size)
        for a in range(count):
            for b in range(count):
                cross = weight * p[:, a] * ((a == b) - p[:, b])
                hessian[a * size : (a + 1) * size, b * size : (b + 1) * size] += (z * cross[:, None]).T @ z
        return gradient.ravel(), hessian

    return centre, spread, newton(gradient_hessian, count * size).reshape(count, size)


def report(cases: list[dict[str, Any]]) -> None:
    """Fit all models on the cases and print the settings."""
    axes = [(case["axes"], case["right_axis"]) for case in cases if "axes" in case]
    forms = np.array([case["form_features"] for case in cases])
    labels = np.array([FORMS.index(case["form"]) for case in cases])
    centre, spread, weights = fit_forms(forms, labels)
    for form, now in (("whole", "sd_inflation"), ("side", "edge_correlated, squared")):
        z = np.array([case["z"] for case in cases if "z" in case and case["form"] == form])
        print(
            f"# {form}: multiply {now} by {np.median(np.abs(z)) / 0.6745:.2f}; |z| > 2 in {np.mean(np.abs(z) > 2):.3f}"
        )
    print("axis_weights =", tuple(np.round(fit_axes(axes), 1).tolist()))
    for form in ("whole", "side"):
        ends = np.array([case["end_features"] for case in cases if case["form"] == form and "end_features" in case])
        print(f"ends.{form}_weights =", tuple(np.round(fit_ends(ends), 2).tolist()))
    print("form.centre =", tuple(np.round(centre, 3).tolist()))
    print("form.spread =", tuple(np.round(spread, 3).tolist()))
    print("form.weights = (")
    for row in weights:
        print("   ", tuple(np.round(row, 2).tolist()), ",", sep="")
    print(")")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1500, help="whole hides; sides and pieces 2/5 of it, others 1/10")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    share = {"whole": 1.0, "side": 0.4, "piece": 0.4, "bend": 0.1, "shoulder": 0.1, "belly": 0.1}
    forms = [form for form in FORMS for _ in range(round(args.count * share[form]))]
    with ProcessPoolExecutor(args.workers) as pool:
        report(list(pool.map(describe, enumerate(forms), chunksize=20)))


if __name__ == "__main__":
    main()
