"""What core raises when it cannot do what it is asked, and when it is asked to stop."""


class InputProblem(ValueError):
    """The input cannot give an answer; the message says what disagrees and how to mend it."""


class Stopped(Exception):  # noqa: N818 - the user's wish, not an error
    """Raised by a `tick` when the user cancels; core lets it travel up untouched."""
