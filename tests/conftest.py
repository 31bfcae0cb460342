"""Settings of all tests: generated examples are the same in every run, so that a failure can be seen again."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None)
settings.load_profile("steady")
