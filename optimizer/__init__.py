"""Search, ranking, reports and the command line of boxwright."""

import os

# Its linear systems are small: threads would only wait for each other, and sums would depend on their
# number. The libraries read this when numpy is first imported.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
