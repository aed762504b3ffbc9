"""No test asserts a duration: Hypothesis would, with its own deadline, on a busy machine."""

from hypothesis import settings

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")
