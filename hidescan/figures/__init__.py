"""Areas and lengths with their uncertainty budget, what is usable, what comes out in one piece.

Plan view and covariance to figures. Touches no disk.
"""
