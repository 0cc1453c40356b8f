"""The one domain exception: its sentence can be shown to a person verbatim."""


class BladeError(ValueError):
    """Something asked for cannot be: the message says what, where, and what would be right."""
