"""A reason that somebody gives for a risk must say something."""

FEWEST_LETTERS = 8  # letters or digits; blanks, dots and invisible characters are none


def says_nothing(reason: str) -> bool:
    return sum(character.isalnum() for character in reason) < FEWEST_LETTERS
