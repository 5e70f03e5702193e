"""Templates as files: an SVG at true scale, the TOML file to fill in, and a picture that shows which is which."""

import io
import tomllib
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hidescan.basics.errors import BadInput
from hidescan.basics.geometry import Points
from hidescan.basics.opencv import reduced
from hidescan.basics.own_pictures import stamped
from hidescan.basics.uncertainty import COVERAGE_FACTOR
from hidescan.pieces.templates.finding import Found, LeftOut, Template

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw

MARGIN_MM = 10.0
TURN_DEG = 5
_HEAD = """\
# What each piece asks of the leather. Count, pair and names are yours to fill in; a name here must be the id in the
# drawing. A pair is one as drawn and one mirrored; turn_deg is the largest angle to the back line, or "any".
# The indented rules are examples: take the # away to use one.
"""
_EXAMPLES = """\
#   min_thickness_mm = 1.2
#   thick_parts = ["toe"]           # draw a small circle with the id {id}-toe in the SVG
#   zones = ["butt", "shoulder"]
#   margin_mm = 2
#   may_cover = ["stain"]
"""


def to_svg(templates: tuple[Template, ...], photo: str) -> bytes:
    """The outlines as SVG: one unit is one millimetre, the photo's up is up."""
    low = np.min([t.ring_mm.min(axis=0) for t in templates], axis=0) - MARGIN_MM
    high = np.max([t.ring_mm.max(axis=0) for t in templates], axis=0) + MARGIN_MM
    (width, height), lines = (high - low).tolist(), []
    for t in templates:
        lines.append(f'<path id="{t.id}" d="M{_points(t.ring_mm, low, high)}Z" stroke="#000000"/>')
        if t.grain is not None:
            shaft = np.array([t.grain.tail_mm, t.grain.head_mm])
            lines.append(f'<path id="{t.id}-grain" d="M{_points(shaft, low, high)}" stroke="#0050a0"/>')
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width:.2f}mm" height="{height:.2f}mm"'
        f' viewBox="0 0 {width:.2f} {height:.2f}">\n<desc>{len(templates)} templates photographed in {photo}.</desc>\n'
        '<g fill="none" stroke-width="0.3">\n' + "\n".join(lines) + "\n</g>\n</svg>\n"
    ).encode()


def to_toml(templates: tuple[Template, ...], filled_in: str | None = None, name: str = "") -> bytes:
    """The rules, one table a piece, to fill in.

    Parameters
    ----------
    filled_in
        The text of a file that is there already: it stays as it is, and pieces that it does not name come after it.
    name
        That file's name.

    Raises
    ------
    BadInput
        `filled_in` is not TOML.
    """
    import tomli_w

    named: set[str] = set()
    if filled_in is not None:
        try:
            named = set(tomllib.loads(filled_in).get("pieces", {}))
        except (ValueError, TypeError, RecursionError) as error:
            raise BadInput(f"{name}: is not TOML ({error}). Mend that line, or move the file away.") from error
    parts = [_HEAD if filled_in is None else filled_in]
    for t in templates:
        if t.id in named:
            continue
        length_mm, width_mm = t.measures.length.value, t.measures.width.value
        rules = {"count": 1, "pair": False, "turn_deg": "any" if t.grain is None else TURN_DEG}
        parts.append(
            f"\n# {t.id}: {length_mm:.0f} x {width_mm:.0f} mm, {_grain_words(t)}\n"
            + tomli_w.dumps({"pieces": {t.id: rules}})
            + _EXAMPLES.format(id=t.id)
        )
    return "".join(parts).encode()


def to_png(rgb: NDArray[np.uint8], found: Found, arrows_px: list[Points | None]) -> bytes:
    """The photo with each template's outline, id and grain, and what was left out in a box."""
    from PIL import Image, ImageDraw, ImageFont

    scale = min(1.0, 2000 / max(rgb.shape[:2]))
    image = Image.fromarray(reduced(rgb, (round(scale * rgb.shape[1]), round(scale * rgb.shape[0]))))
    pen, size = ImageDraw.Draw(image), max(image.size) / 60
    font = ImageFont.load_default(size)
    for t, arrow in zip(found.templates, arrows_px, strict=True):
        ring = np.vstack([t.ring_px, t.ring_px[:1]]) * scale
        _line(pen, ring, (255, 60, 160))
        if arrow is not None:
            _line(pen, arrow * scale, (0, 200, 255))
            x, y = (arrow[1] * scale).tolist()
            pen.ellipse((x - 7, y - 7, x + 7, y + 7), fill=(0, 200, 255))
        x, y = t.ring_px[np.argmin(t.ring_px[:, 1])] * scale - (0.0, 0.8 * size)
        label = f"{t.id} ?" if t.doubt else t.id
        pen.text((x, y), label, font=font, anchor="mm", fill="white", stroke_width=4, stroke_fill=(16, 16, 16))
    for left in found.left_out:
        if left.why is LeftOut.SMALL:
            continue
        x0, y0, x1, y1 = (side * scale for side in left.box_px)
        _line(pen, np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]), (190, 190, 190))
        # Below the upper edge: the box may begin at the picture's own.
        pen.text(
            ((x0 + x1) / 2, y0 + size), "left out", font=font, anchor="mm", fill="white", stroke_width=4,
            stroke_fill=(16, 16, 16),
        )  # fmt: skip
    data = io.BytesIO()
    image.save(data, "PNG")
    return stamped(data.getvalue())


def lines_of(templates: tuple[Template, ...]) -> list[str]:
    """One line a template for the terminal."""
    said = []
    for t in templates:
        m = t.measures
        sizes = " x ".join(f"{s.value:.1f} ± {COVERAGE_FACTOR * s.u:.1f}" for s in (m.length, m.width))
        said.append(f"  {t.id:9} {sizes} mm, {_grain_words(t)}")
    for doubt in dict.fromkeys(t.doubt for t in templates if t.doubt):
        said.append(f"  ! {', '.join(t.id for t in templates if t.doubt == doubt)}: {doubt}")
    return said


def _grain_words(t: Template) -> str:
    return "no arrow found" if t.grain is None else "grain from its arrow"


def _line(pen: "ImageDraw", points: Points, colour: tuple[int, int, int]) -> None:
    xy = [(float(x), float(y)) for x, y in points]
    pen.line(xy, fill=(16, 16, 16), width=5, joint="curve")
    pen.line(xy, fill=colour, width=3, joint="curve")


def _points(points: Points, low: Points, high: Points) -> str:
    return " ".join(f"{x - low[0]:.3f},{high[1] - y:.3f}" for x, y in points)
