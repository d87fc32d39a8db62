"""The shell of revolution."""
