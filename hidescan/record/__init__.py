"""The one-page record of a hide, and several hides side by side, as PDF bytes. Touches no disk."""
