"""From readings to a verdict for every machine."""
