"""Questions about bottoms: what they hold, and how much of it may be lost."""
