"""Connected parts, against OpenCV's own statistics."""

import cv2
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from hidescan.basics.opencv import parts

MASKS = arrays(np.uint8, st.tuples(st.integers(1, 20), st.integers(1, 20)), elements=st.sampled_from([0, 0, 0, 1]))


@settings(max_examples=200, deadline=None)
@given(MASKS)
def test_parts_are_those_of_opencv(mask: np.ndarray) -> None:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    ours, boxes = parts(mask)
    assert np.array_equal(ours, labels)
    assert len(boxes) == count
    assert np.array_equal(boxes[1:], stats[1:])
    assert not boxes[0].any()
