"""The one family of errors that Sentinel raises on purpose, named by whose fault it is.

Each carries one plain sentence that says what was wrong and how to mend it. ``sentinel.cli`` turns them
into an exit code; nothing else catches the family as a whole.
"""


class SentinelError(Exception):
    """Base of the family; ``exit_code`` is what a command ends with."""

    exit_code = 1


class ConfigError(SentinelError):
    """The user's configuration or command line is wrong; the sentence names file, key, value and mend."""

    exit_code = 2


class RunError(SentinelError):
    """Something outside failed while running: a file, a broker, a device."""

    exit_code = 1
