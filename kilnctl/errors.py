"""The one exception family that reaches a user, as a message and exit status 2."""


class KilnctlError(Exception):
    """Something the user can put right. The message says where it is wrong and what to do."""
