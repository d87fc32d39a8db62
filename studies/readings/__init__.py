"""Depth readings: files, charts, components, capability, report."""
