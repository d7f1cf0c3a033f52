"""The one error that the rooms raise for bad input."""


class DawnbeatError(Exception):
    """Something the user can put right.

    The message is one line: what is wrong, then what to do about it. The command line prints it without a
    traceback and ends with exit code 2.
    """


def one_line(text: object) -> str:
    """Fold any text, such as a library's own message, into one printable line."""
    folded = " ".join(str(text).split())
    return "".join(letter if letter.isprintable() else "?" for letter in folded)
