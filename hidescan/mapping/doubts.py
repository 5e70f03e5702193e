"""Doubts about outline, form and size: where a person should look first."""

import numpy as np

from hidescan.anatomy.back_line import Shape
from hidescan.anatomy.species import plausible_size
from hidescan.basics.errors import Doubt
from hidescan.camera.model import Camera
from hidescan.figures.measures import Measures
from hidescan.hide_map.model import Inputs
from hidescan.outline.finding import Outline
from hidescan.settings import OutlineSettings, QualitySettings


def outline_doubts(outline: Outline, camera: Camera, settings: OutlineSettings) -> list[Doubt]:
    """Where the outline itself should be looked at."""
    if outline.confidence_whole < settings.whole_doubt_below:
        advice = "look at the picture; --inside X,Y and --outside X,Y set it right."
        return [Doubt("outline-doubtful", f"Hide and floor are hard to tell apart here: {advice}")]
    length = 0.0
    for start, stop in outline.doubtful:
        stretch = outline.ring_px[np.arange(start, stop) % len(outline.ring_px)]
        length += float(np.linalg.norm(np.diff(camera.mm_from_px(stretch), axis=0), axis=1).sum())
    if not length:
        return []
    return [
        Doubt("rim-doubtful", f"{length:.0f} mm of the rim are doubtful (dashed in the picture): look there first.")
    ]


def shape_doubts(inputs: Inputs, shape: Shape, settings: QualitySettings) -> list[Doubt]:
    """Form and neck end that a person should settle."""
    least, doubts = settings.least_shape_confidence, []
    if inputs.form is None and shape.form.confidence < least:
        doubts.append(
            Doubt("form-doubtful", f"It looks like a {shape.form.name}, but only just: say --form if you know better.")
        )
    if shape.back_line.source == "none":
        message = "No back line can be seen, so its stretch direction is unknown: --neck X,Y gives it if you know."
        doubts.append(Doubt("ends-doubtful", message))
    elif shape.back_line.end_confidence < least:
        doubts.append(Doubt("ends-doubtful", "Neck and tail may be the wrong way round: check, --neck X,Y settles it."))
    return doubts


def size_doubts(inputs: Inputs, shape: Shape, measures: Measures) -> list[Doubt]:
    """Whether the size is unusual for the species given."""
    if inputs.species is None:
        return []
    odd = plausible_size(inputs.species, shape.form.name, measures.area_net.value, measures.length.value)
    return [] if odd is None else [Doubt("size-unusual", odd)]
