"""What the loop's process does without: ``run`` imports this before everything else.

OpenSSL, which Python's ``hashlib`` loads for the sake of speed, takes 3.5 MB: the few digests here
are made by Python's own.
"""

import sys

sys.modules.setdefault("_hashlib", None)  # type: ignore[arg-type]  # None: not to be had
