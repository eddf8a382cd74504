"""Settings for all tests."""

import os

from hypothesis import settings

# A verdict on a change must not depend on the day: there the same examples are tried each time.
settings.register_profile("repeatable", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("repeatable")
