"""The axisymmetric solid, to check the shell."""
