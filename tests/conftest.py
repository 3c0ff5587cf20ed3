"""Before any test imports numpy: one thread of linear algebra, as in the program and its workers."""

import optimizer  # noqa: F401
