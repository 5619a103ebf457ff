"""The steps, in the order in which a build is tried."""
