"""Statements that the cards contradict: a tape, check bars, the focal length that the photo claims.

A statement is judged by what the rest says without it. Where an observation of variance u^2 takes the share h of its
own fit, the rest predicts it with the error e / (1 - h), whose variance is u^2 / (1 - h) when both agree.
"""

from dataclasses import dataclass, replace

import numpy as np

from hidescan.basics.errors import Doubt, NotFound
from hidescan.floor.adjustment import tape_u_mm
from hidescan.floor.fit import Fit, adjusted, information_of, inverse_of_sum
from hidescan.floor.parameters import LN_F, SKEW, Array, Prior, Priors, Tape
from hidescan.photo.reading import FULL_FRAME_DIAGONAL_MM
from hidescan.settings import PlaneSettings


@dataclass(frozen=True, slots=True)
class TapedGap:
    """A tape against the rest: what the rest predicts for it, with its standard uncertainty, and the greatest gap."""

    cards: str
    taped_mm: float
    predicted_mm: float
    u_mm: float
    allowed_mm: float

    def beyond(self, share: float = 1.0) -> bool:
        """Whether the gap is greater than a share of what both leave open."""
        return abs(self.predicted_mm - self.taped_mm) > share * self.allowed_mm


def tapes_refused(gaps: list[TapedGap]) -> NotFound | None:
    """The refusal that names every tape beyond its greatest gap, with both values; None where there is none."""
    bad = [gap for gap in gaps if gap.beyond()]
    if not bad:
        return None
    both = "; ".join(
        f"tape {t.cards} says {t.taped_mm:.0f} mm, the cards {t.predicted_mm:.0f} ± {max(2 * t.u_mm, 1):.0f} mm"
        for t in bad
    )
    advice = "Measure again from ring to ring, or leave the tape out. If the print was scaled, measure its check bars."
    return NotFound("tapes-disagree", f"{both[0].upper()}{both[1:]}.", advice)


def taped_gaps(
    tapes: list[Tape], known: tuple[Array, Array], covariance: Array, ln_scale: Prior, settings: PlaneSettings
) -> list[TapedGap]:
    """Each tape against all the rest, at an adjustment's solution, linearised there.

    Parameters
    ----------
    known
        The tapes' whitened residuals (T,) and their Jacobian (T, P).
    ln_scale
        What was known of the print.
    """
    gaps = []
    for tape, misfit, row in zip(tapes, *known, strict=True):
        u_mm = tape_u_mm(tape, settings)
        left = max(1.0 - float(row @ covariance @ row), 1e-9)
        predicted = tape.distance_mm + float(misfit) * u_mm / left
        alone = len(tapes) == 1 and ln_scale.u >= settings.unmeasured_ln_scale_u
        gaps.append(_gap_of(tape, predicted, u_mm**2 / left - u_mm**2, settings, never_measured=alone))
    return gaps


def _gap_of(
    tape: Tape, predicted_mm: float, variance_mm2: float, settings: PlaneSettings, *, never_measured: bool
) -> TapedGap:
    u_mm = tape_u_mm(tape, settings)
    both = max(variance_mm2, 0.0) + u_mm**2
    allowed = settings.contradiction_sigma * np.sqrt(both)
    if never_measured:
        # A print never measured is off by a rectangle, which ends: 2 % of the length, and 3 sigma of the rest.
        off = settings.unmeasured_ln_scale_u * tape.distance_mm
        allowed = 3**0.5 * off + settings.contradiction_sigma * np.sqrt(max(both - off**2, u_mm**2))
    cards = f"{tape.first}-{tape.second}"
    return TapedGap(cards, tape.distance_mm, predicted_mm, float(np.sqrt(max(variance_mm2, 0.0))), float(allowed))


def contradicting_tape(fit: Fit, covariance: Array) -> NotFound | None:
    """The refusal where a tape contradicts the cards and their print, with both values; None where all agree.

    A tape far off strains the adjustment beyond what is linear: one that comes near its greatest gap is left out and
    compared with what the rest says then.
    """
    adjustment, settings = fit.adjustment, fit.adjustment.settings
    tapes, ln_scale = adjustment.used_tapes(), adjustment.priors.ln_scale
    gaps = taped_gaps(tapes, adjustment.tape_misfits(fit.state), covariance, ln_scale, settings)
    judged = []
    for tape, gap in zip(tapes, gaps, strict=True):
        if not gap.beyond(0.6):
            continue
        others = tuple(other for other in tapes if other is not tape)
        priors = replace(adjustment.priors, tapes=others)
        without = adjusted(replace(adjustment, noise=None, priors=priors))
        if without is None:
            judged.append(gap)
            continue
        with_it = replace(without.adjustment, priors=replace(priors, tapes=(tape,)))
        (misfit,), J = with_it.tape_misfits(without.state)
        u_mm = tape_u_mm(tape, settings)
        variance = float(J[0] @ inverse_of_sum(information_of(without)[0]) @ J[0]) * u_mm**2
        alone = not others and ln_scale.u >= settings.unmeasured_ln_scale_u
        predicted = tape.distance_mm + float(misfit) * u_mm
        judged.append(_gap_of(tape, predicted, variance, settings, never_measured=alone))
    return tapes_refused(judged)


def contradicting_bars(fit: Fit, covariance: Array) -> NotFound | None:
    """The refusal where the check bars' proportion is not that of the pattern in the photo; None where both agree."""
    prior, settings = fit.adjustment.priors.skew, fit.adjustment.settings
    if prior.u > settings.measured_skew_u or not fit.fits():
        return None
    gap = _gap(prior, float(fit.state.parameters[SKEW]), float(covariance[SKEW, SKEW]))
    if gap is None or gap.sigmas <= settings.contradiction_sigma or abs(gap.off) < settings.least_bars_off:
        return None
    if gap.u_rest > settings.measured_skew_u:  # the photo knows it less well than the bars
        return None
    return NotFound(
        "bars-contradict",
        f"By its check bars the print is {100 * prior.mean:+.2f} % wider than long,"
        f" by the photo {100 * (prior.mean + gap.off):+.2f} %.",
        "Measure both bars again: 150 mm across, 200 mm along.",
    )


@dataclass(frozen=True, slots=True)
class _Gap:
    """What the rest says of a parameter less what was known of it; the same in standard deviations; the rest's u."""

    off: float
    sigmas: float
    u_rest: float


def _gap(prior: Prior, value: float, variance: float) -> _Gap | None:
    """The gap between a prior and the rest, from the posterior of both; None where the rest knows nothing."""
    if variance >= 0.999 * prior.u**2:
        return None
    of_rest = 1 / (1 / variance - prior.u**-2)
    off = (value - prior.mean) * of_rest / variance
    return _Gap(float(off), float(abs(off) / np.sqrt(of_rest + prior.u**2)), float(np.sqrt(of_rest)))


def cards_over_focal(fit: Fit) -> tuple[Fit, list[Doubt]]:
    """The fit without the focal length given, where all cards together contradict it; else the fit as it is.

    A focal length far off cannot be judged from the fit that it forced, so the cards are adjusted without it as soon as
    anything is amiss, and their own answer is compared with what was claimed.
    """
    adjustment, settings = fit.adjustment, fit.adjustment.settings
    prior = adjustment.priors.ln_focal
    if prior.u >= settings.broad_ln_focal_u:
        return fit, []
    if not _amiss(fit):
        return fit, []
    priors = freed_focal(adjustment.priors, adjustment.size_px, settings)
    free = adjusted(replace(adjustment, noise=None, priors=priors))
    if free is None or (not free.fits() and not fit.fits()):
        return fit, []
    information, sd_px = information_of(free)
    variance = float(inverse_of_sum(information)[LN_F, LN_F])
    own = _gap(priors.ln_focal, float(free.state.parameters[LN_F]), variance)
    if own is None:
        return fit, []
    off = priors.ln_focal.mean + own.off - prior.mean
    agrees = abs(off) <= settings.focal_contradiction_sigma * float(np.hypot(own.u_rest, prior.u))
    if agrees and information_of(fit)[1] < settings.strained_noise * sd_px:
        return fit, []
    percent = 100 * (float(np.exp(free.state.parameters[LN_F] - prior.mean)) - 1)
    message = f"The cards say the focal length is {percent:+.0f} % off what the photo claims (zoomed or cropped?)."
    return free, [Doubt("focal-doubtful", message + " The cards were believed.")]


def _amiss(fit: Fit) -> bool:
    """Whether a focal length claimed may be contradicted: one unlike a phone's, or that strains the fit anyhow."""
    adjustment, settings = fit.adjustment, fit.adjustment.settings
    prior = adjustment.priors.ln_focal
    typical = freed_focal(adjustment.priors, adjustment.size_px, settings).ln_focal.mean
    if abs(prior.mean - typical) > settings.broad_ln_focal_u or not fit.fits():
        return True
    information, sd_px = information_of(fit)
    usual_px = settings.corner_sd_px if adjustment.seen.corners else settings.usual_edge_px
    gap = _gap(prior, float(fit.state.parameters[LN_F]), float(inverse_of_sum(information)[LN_F, LN_F]))
    strained = gap is not None and gap.sigmas > 0.75 * settings.focal_contradiction_sigma
    return strained or sd_px > settings.strained_noise * usual_px


def freed_focal(priors: Priors, size_px: tuple[int, int], settings: PlaneSettings) -> Priors:
    """The priors with any phone's focal length in the place of what was claimed, wide enough to hold that too."""
    typical = float(np.log(settings.typical_focal_35mm / FULL_FRAME_DIAGONAL_MM * np.hypot(*size_px)))
    u = max(settings.broad_ln_focal_u, abs(priors.ln_focal.mean - typical) / 2)
    return replace(
        priors,
        ln_focal=Prior(typical, u),
        k1=Prior(0.0, settings.k1_u),
        k2=Prior(0.0, settings.k2_u),
        lens_covariance=None,
    )


def unused_tapes(fit: Fit) -> list[Doubt]:
    """Tapes that could not be used, named."""
    numbers = {card.number for card in fit.adjustment.cards}
    doubts = []
    for tape in fit.adjustment.priors.tapes:
        if missing := [n for n in (tape.first, tape.second) if n not in numbers]:
            names = " and ".join(f"card {n}" for n in missing)
            message = f"Tape {tape.first}-{tape.second} was not used: {names} is not measured in the photo."
            doubts.append(Doubt("tape-unused", message))
    return doubts
