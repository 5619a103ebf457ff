"""holdwatch: protects a bank of lithium cells during its first full charge."""

__version__ = "0.1.0"
