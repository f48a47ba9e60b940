"""Imported before anything that would start threads of its own: a test process takes one.

Two threads on a busy core wait for one another, and trees are then ten times slower and more. The
results are the same.
"""

import os

for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")
