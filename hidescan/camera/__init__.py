"""The pinhole camera over a floor plane, and what height does to a point in the picture.

Pixels to mm and back. Touches no disk.
"""
