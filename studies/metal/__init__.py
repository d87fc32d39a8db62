"""Metal from tests: curves read, fitted, and written as the [material] table of a profile."""
