"""What a hide gained from one map to the next: strain along and across its back, with its uncertainty."""
