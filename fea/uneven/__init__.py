"""The uneven shell: a bottom that is not the same all round, followed in three dimensions.

Position, turn and tilt of a node are harmonics round the can; metal is integrated at stations
round the can (pseudo-spectral), on the meridian elements of the even shell. Summary of the
theory:

A point of a layer at distance y from the mid-surface is X = x + y d, d the unit director. With
g_a = d . x,a, its metric normal to the director is a square of second degree in y,

    C_ab = x,a . x,b - g_a g_b + y (x,a . d,b + x,b . d,a) + y^2 d,a . d,b,   a, b = S, theta,

so layer sums of powers of y up to 4 hold all of its energy. E = ln(C over its undeformed value) /
2, in undeformed axes of which the first is the meridian, is conjugate to Kirchhoff stress;
elastic and plastic parts of E add (layers.py). The shears through the gauge, k (g_a - undeformed)
with k = sqrt(5/6), see the same return map. In an even state C is diagonal and its roots are the
two lengths of shell/kernel.py, so harmonic 0 alone is that shell.

Directors turn by d = exp(w x) d_start within a step (rotation.py). w has parts -B along the hoop,
dB/dtheta along the radius and -T along the mean tangent of the node, interpolated along the
meridian between the nodes' (kernel.py): for w constant in space, exact; the second variation
about an even state is that of waves/kernel.py to the last digits. Large turns are made of steps,
so an elastic path depends on them by the order of the mesh (Crisfield and Jelenic, Proc. R. Soc.
A 455, 1999; value from memory). In the whole can turned by 0.1 radians beforehand pressures
differ by 3e-7 (elastic) and 4e-6.

Volume: half the flux of (x, y, 0) through the mid-surface, integrated exactly along the meridian,
less the slab between it and the loaded face, the integral of det(X,S, X,theta, d) over y.
Pressure p does work p dV; its forces p grad V and their tangent p Hess V are symmetric.

An uneven shape is an even shell whose nodes and directors were moved without stress: all
undeformed lengths, areas and shears are those of the moved shape. The metal's length
(metal/spread.py) works along the meridian at each station.
"""
