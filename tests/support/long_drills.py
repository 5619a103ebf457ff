"""The scenarios whose drill takes a minute or more, and is of guidance more than of protection."""

LONG = (
    "operator-asleep-guided",
    "operator-careful",
    "operator-careful-guided",
    "operator-hasty",
    "operator-hasty-guided",
    "pulsed-hold",
)
