"""Two-dimensional sections by finite volumes: x–z and axisymmetric, on a graded tensor grid."""
