"""A photo file read upright: pixels, and what EXIF says of the camera. Reads disk."""
