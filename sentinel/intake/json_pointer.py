"""RFC 6901, JSON Pointer: ``/rx/0/text`` names one value in a JSON document."""

from sentinel.errors import ConfigError


class _Missing:
    """The pointer leads nowhere; a JSON null is something else."""


MISSING = _Missing()


def parse_pointer(text: str) -> tuple[str, ...]:
    """The reference tokens of ``text``; raises ConfigError with one sentence if it is no pointer."""
    if text and not text.startswith("/"):
        raise ConfigError(f'"{text}" is no JSON pointer; did you mean "/{text}"?')
    tokens = text.split("/")[1:]
    for token in tokens:
        if "~" in token.replace("~0", "").replace("~1", ""):
            raise ConfigError(f'"{text}": in a JSON pointer a tilde is written ~0 and a slash ~1')
    # "~1" before "~0", so that "~01" becomes "~1" and not "/" (RFC 6901, section 4)
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in tokens)


def escape_token(name: str) -> str:
    """A member name as one reference token."""
    return name.replace("~", "~0").replace("/", "~1")


def resolve(document: object, tokens: tuple[str, ...]) -> object:
    """The value that the tokens lead to, or MISSING."""
    for token in tokens:
        if isinstance(document, dict):
            document = document.get(token, MISSING)
        elif isinstance(document, list) and _is_index(token) and int(token) < len(document):
            document = document[int(token)]
        else:
            return MISSING
    return document


def _is_index(token: str) -> bool:
    # RFC 6901: digits without a leading zero; nine of them are beyond any line we read
    return token.isascii() and token.isdigit() and len(token) < 10 and (token == "0" or token[0] != "0")
