"""hidescan maps a hide from a phone photo.

Folders are chapters, in the order that data flows; no folder imports one below it here (`lint-imports`).

==============  ===========================================  ======================================  =============
folder          takes                                        gives                                   touches disk?
==============  ===========================================  ======================================  =============
basics          -                                            geometry, units, names, errors, ±       atomic_files
settings        -                                            every tunable, with unit and reason     no
camera          px or mm                                     mm or px; what height does to a point   no
hide_map        what is known of a hide                      its model, JSON file, revisions         revisions
photo           a file                                       upright pixels, EXIF                    reads
cards           grey pixels                                  corners of the cards; cards as PDF      measured_prints
floor           corners, priors                              camera over the floor, covariance       profile_files
outline         pixels, camera, cards                        rim, through holes and defects, px      no
anatomy         plan view                                    form, back line, neck, zones            no
figures         plan view, covariance                        areas, lengths, usable area, their ±    no
marks           marks as seen, a person's corrections        entries of the map, ids, grade          files, grading
exports         map, pixels where needed                     bytes of each format                    no
mapping         what the stages found                        `HideMap`, refusals, doubts             calibration
shelf           maps, facts, questions                       hides that will do                      database
pipeline        a photo, a person's inputs                   floor, outline, map: stages in order    no
join            photos of one hide that lies still           one `HideMap`                           no
api             a file's name                                `HideMap`                               reads
pictures        map, pixels                                  overlay, numbered marks, crops          source_pixels
record          map, pixels                                  the one-page sheet, PDF                 no
many            files and folders                            maps beside them, a table               reads, writes
pieces          a drawing, or a photo of templates           outlines in mm, rules                   file
placing         maps, pieces                                 pieces on hides, yield, offcuts         no
stretch         maps of one hide                             strain along and across, with ±         no
costing         maps, price, placing                         price of a foot, a piece, a pair        no
advice          a project, the shelf                         leather that suits, hides that would    reads
light           a map, a backlit photo                       thickness over the hide, thin spots      no
page            requests of a browser                        maps, drawn and corrected               works, desk
cli             arguments                                    text, files, exit code                  reads, writes
manual          -                                            pages that `hidescan manual` prints     -
==============  ===========================================  ======================================  =============
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hidescan.api import find_outline as find_outline
    from hidescan.api import map_photo as map_photo
    from hidescan.hide_map.model import HideMap as HideMap

__version__ = "0.1.0"
__all__ = ["HideMap", "__version__", "find_outline", "map_photo"]


def __getattr__(name: str) -> Any:
    """Import on first use: `hidescan --help` must not wait for OpenCV."""
    if name in ("find_outline", "map_photo"):
        from hidescan import api

        return getattr(api, name)
    if name == "HideMap":
        from hidescan.hide_map.model import HideMap

        return HideMap
    raise AttributeError(f"module 'hidescan' has no attribute {name!r}")
