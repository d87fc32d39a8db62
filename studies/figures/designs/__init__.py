"""Figures of traced bottoms and of the best one."""
