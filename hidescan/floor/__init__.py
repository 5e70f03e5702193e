"""The floor plane and the camera, adjusted from the corners of all cards, with their covariance.

Corners and priors to `Plane`. Only `profile_files` touches disk.
"""
