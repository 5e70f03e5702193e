"""Why a photo gives no map, each with what to do about it."""

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import NotFound
from hidescan.cards.blur import edge_blur_px
from hidescan.cards.detection import CardSearch, is_inverted
from hidescan.settings import CardSettings


def no_card(grey: NDArray[np.uint8], search: CardSearch, settings: CardSettings) -> NotFound:
    """A photo (H, W) in which no card can be used."""
    if search.doubled:
        names = ", ".join(str(n) for n in search.doubled)
        return NotFound(
            "card-doubled", f"Two cards carry the number {names}.", "Print cards of different numbers and lay those."
        )
    if is_inverted(grey, settings):
        return NotFound(
            "card-inverted",
            "The card was printed with black and white exchanged.",
            "Print it again without the printer's 'negative' or dark mode.",
        )
    if search.markers:
        names = " and ".join(str(n) for n in sorted({number for number, _, _ in search.markers}))
        return NotFound(
            "card-cut-off",
            f"Of card {names} too little can be seen to measure by.",
            "Lay it flat with nothing on it, all of it in the picture, and photograph from nearer.",
        )
    blur_px = edge_blur_px(grey)
    if blur_px > settings.most_blur_unread_px:
        return NotFound(
            "photo-blurred",
            f"The photo is blurred ({blur_px:.1f} px at its sharpest edges), so no card can be read.",
            "Hold still or lean on something, more light, tap the screen on the hide to focus.",
        )
    return NotFound(
        "no-card",
        "No reference card was found in the photo.",
        "Lay at least one printed card flat beside the hide, all of it in the picture (hidescan card -o cards.pdf).",
    )


def rim_off_floor() -> NotFound:
    """A rim that has no place on the floor."""
    return NotFound(
        "rim-off-floor",
        "Part of the rim lies above the horizon of the floor that the cards lie on.",
        "Lay the cards flat beside the hide and take the photo from higher up, or correct the rim.",
    )


def neck_off_floor() -> NotFound:
    """A pixel for the neck that has no place on the floor."""
    return NotFound("neck-off-floor", "The pixel given for the neck is not on the floor.", "Point at the hide's neck.")


def no_arrow(number: int) -> NotFound:
    """The arrow of a card that is not in the photo."""
    return NotFound("no-arrow", f"Card {number} was not found.", "Name a card in the picture with --arrow.")


def gauge_off_hide(photo_px: tuple[float, float]) -> NotFound:
    """A gauge reading that was not taken on the hide."""
    return NotFound(
        "gauge-off-hide",
        f"The gauge reading at pixel {photo_px[0]:.0f},{photo_px[1]:.0f} does not lie on the hide.",
        "Point at the hide, or leave the reading out.",
    )
