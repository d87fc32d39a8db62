"""Equilibrium, path following, limit points, and the record of a solve."""
