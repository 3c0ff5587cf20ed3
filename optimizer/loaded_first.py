"""Libraries that every worker of a search needs, loaded once by the server that workers are copies of."""

from importlib import import_module

from models.backend import choose_backend
from optimizer.processes import collect_rarely

import_module("optimizer.execution")
if choose_backend() == "compiled":
    import_module("models.packing")
    import_module("models.linear_drive_kernel")
collect_rarely()
