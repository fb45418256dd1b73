"""Coldleg to the outside: the command line and HTTP around the expert in ``rules``."""

import os

#: A case is a product of small matrices: more threads than one only wait for one another. Whoever sets these is obeyed.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before NumPy is loaded
