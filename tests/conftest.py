"""What holds for all tests."""

from hypothesis import settings

# No test is about how fast a busy machine is. The rest stays as it is: in CI the same examples every time.
settings.register_profile("unhurried", settings.default, deadline=None)
settings.load_profile("unhurried")
