"""The command line: parse, call one verb of the workshop, print."""

import os

# the matrices are small: threads that wait for one another take up to eight times as long on a busy machine
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")
