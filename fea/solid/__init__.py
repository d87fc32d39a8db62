"""The axisymmetric solid that judges the shell."""
