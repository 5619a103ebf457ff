"""What ``rules/sensing.py`` asks: each channel by itself, then the channels against each other."""
