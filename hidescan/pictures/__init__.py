"""Pictures of a map: the overlay on the photo, the numbered marks, marks cut out. Pixels in, PNG bytes out.

Only `source_pixels` reads disk.
"""
