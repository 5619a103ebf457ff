"""A build to commission that is simulated: its parts, the person at it, and planted defects."""
