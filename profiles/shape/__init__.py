"""What a bottom looks like: dimensions, tangent chain, meridian, mesh lengths."""
