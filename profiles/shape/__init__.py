"""The shape of a bottom: dimensions, tangent chain, meridian, mesh lengths."""
