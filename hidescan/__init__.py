"""hidescan maps a hide from a phone photo.

The rooms in the order that data flows through them; no room imports one below it.

==============  ==========================================  =====================================  =============
room            takes                                       gives                                  touches disk?
==============  ==========================================  =====================================  =============
photo           a file                                      upright pixels, EXIF                   reads
card            grey pixels                                 the reference cards' corners           no
lens            EXIF, what a person measured                priors of lens and print scale         no
adjustment      corners, priors                             least-squares estimate                 no
plane           cards, priors                               camera over the floor, covariance      no
outline         pixels, camera, cards                       the rim and through holes, px          no
  region        reduced photo                               which pixels are hide                  no
  rim, snap     fine copy, then full resolution             the rim to a fraction of a pixel       no
  holes, doubt  fine copy                                   through holes, confidences             no
  faults        fine copy                                   cuts, brands, stains, scratches        no
redrawn         outline, what a person drew                 the outline as drawn                   no
heights         rim px, thickness, lift                     plan view, mm                          no
backline        plan view                                   form, back line, neck end              no
zones           plan view, form                             parts of the hide                      no
measure         all of these                                figures with their uncertainty budget  no
marks           marks as seen, plan view, zones             their entries: place and size          no
assemble        all of these                                `HideMap`                              no
usable          net, marks                                  usable area with its uncertainty       no
corrected       map, a person's word on marks               the map with figures that follow       no
same_marks      two maps of a hide, marks from elsewhere    ids and words carried over             no
grading, clear  map, a table of grades                      grade; largest clear pieces            no
draw            pixels, map                                 the overlay pictures                   no
exports, sheet  map, pixels where needed                    bytes of each format                   no
store           maps                                        files                                  reads, writes
join            photos of one hide that lay still           one `HideMap`                          no
shelf           maps, facts, questions                      hides that will do                     reads, writes
folder          many photos                                 maps, a table, a contact sheet         reads, writes
uses.stretch    maps of one hide, their photos              strain along and across, with ±        no
uses.place      maps, pieces of a drawing                   pieces on hides, yield, offcuts        no
cli             a person's words                            exit code, text                        screen
==============  ==========================================  =====================================  =============
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hidescan.api import map_photo as map_photo
    from hidescan.hide_map.model import HideMap as HideMap

__version__ = "0.1.0"
__all__ = ["HideMap", "__version__", "map_photo"]


def __getattr__(name: str) -> Any:
    """Import on first use: `hidescan --help` must not wait for OpenCV."""
    if name == "map_photo":
        from hidescan.api import map_photo

        return map_photo
    if name == "HideMap":
        from hidescan.hide_map.model import HideMap

        return HideMap
    raise AttributeError(f"module 'hidescan' has no attribute {name!r}")
