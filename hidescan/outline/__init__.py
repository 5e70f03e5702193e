"""The hide against the floor: rim to a fraction of a pixel, through holes, defects, and how sure each is.

Pixels, camera and cards to `Outline`. Touches no disk but the networks shipped beside it.
"""
