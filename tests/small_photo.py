"""A sample photo at a third of its size, for tests that map often."""

from pathlib import Path

from PIL import Image

SAMPLE = Path(__file__).parents[1] / "sample_images" / "side_on_tile.jpg"
LONG_SIDE_PX = 1600


def write_small_photo(path: Path) -> Path:
    """The sample with two cards, reduced, with its EXIF."""
    with Image.open(SAMPLE) as image:
        exif = image.getexif()
        image.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.Resampling.BOX)
        image.save(path, "JPEG", quality=92, exif=exif)
    return path
