"""Every tunable of every stage: its unit, and why it has this value.

The settings in force are saved inside each map, so that a map says how it was made.
"""

from dataclasses import dataclass, field
