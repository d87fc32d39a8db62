"""The live page: drag a dimension and watch section, pressure and margin."""
