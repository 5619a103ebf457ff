"""What tripped, for people: a rule by its key; what came from outside the rules, in words."""

# As the page has it: status/assets/words.js.
NAMES = {"external": "stop button, power cut or kill"}


def trip_name(key: str) -> str:
    """``key`` is that of a lockout or of a trip in the record."""
    return NAMES.get(key, key)
