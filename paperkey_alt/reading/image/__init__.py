"""Lines on pictures of sheets: by QR symbols, and by the printed rows."""

import os

# The matrices here are small: threads that wait for each other cost more than they save, twice the
# time of the processor on two busy cores. numpy looks at this when it is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
